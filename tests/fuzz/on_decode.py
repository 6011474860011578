"""Payload decoders: every decoder with every option, and the strict reading of JSON beneath them."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from monitor.core.model import Measures
from monitor.intake import document
from monitor.intake.binding import Binding, Line
from monitor.intake.decode import decode
from monitor.intake.unreadable import Unreadable
from tests.fuzz.target import Target
from tests.unit.intake.outcomes import has_reason, sound

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator


ARRIVED: Final = 1_772_434_800_000  # 2026-03-02T07:00:00Z

WATER: Final = Binding("t", "p", "number", Measures.WATER)
FAHRENHEIT: Final = {"scale": 0.555555555556, "offset": -17.7777777778}
LINE: Final = {"calibration": Line(1.02, -0.3)}
AIR: Final[dict[str, Any]] = {"measures": Measures.AIR}
WORD: Final[dict[str, Any]] = {"measures": Measures.AIR, "is_word": True}
OWN: Final = {
    "words_on": frozenset({"läuft", "2"}),
    "words_off": frozenset({"steht", "0"}),
    "words_weak": frozenset({"1"}),
}

NUMBERS: Final = tuple(
    replace(WATER, **options)
    for options in ({}, FAHRENHEIT, LINE, FAHRENHEIT | LINE, {"scale": 1e308}, AIR, WORD, WORD | OWN)
)
JSONS: Final = tuple(
    replace(WATER, decoder="json", **options)
    for options in (
        {},
        {"pointer": "/v"},
        {"pointer": "/a~1b/~0c", **FAHRENHEIT},
        {"pointer": "/0/v", "time_pointer": "/0/t"},
        {"pointer": "/-"},
        {"pointer": "/v", "time_pointer": "/t", "sequence_pointer": "/n", **LINE},
        {"pointer": "/v", "sequence_pointer": ""},
        {"pointer": "/pump", "time_pointer": "/at", **WORD},
        {"pointer": "", **WORD, **OWN},
        {"pointer": "/power/w", "time_pointer": "/t", **AIR, "unit": "W"},
        {"pointer": "no pointer"},
    )
)
SENMLS: Final = tuple(
    replace(WATER, decoder="senml", **options)
    for options in (
        {},
        {"name": "a"},
        {"name": "", **LINE},
        {"name": "urn:dev:ow:10", **FAHRENHEIT},
        AIR,
        {**AIR, "unit": "W", "name": "a"},
        WORD,
        {**WORD, **OWN, "name": "a"},
    )
)


def refused(why: Unreadable) -> bool:
    """False, when the reason is one for a keeper."""
    has_reason(why)
    return False


def _with(bindings: tuple[Binding, ...]) -> Callable[[bytes], bool]:
    """The first byte says which binding, and whether the time of arrival counts; the rest is the message."""

    def one(data: bytes) -> bool:
        head = data[0] if data else 0
        binding, arrived = bindings[(head >> 1) % len(bindings)], ARRIVED if head & 1 else None
        try:
            sound(decode(data[1:], binding, arrived), arrived)
        except Unreadable as why:
            return refused(why)
        return True

    return one


def _seeds(bindings: tuple[Binding, ...], messages: tuple[bytes, ...]) -> Callable[[], Iterator[bytes]]:
    def made() -> Iterator[bytes]:
        for number in range(len(bindings)):
            for message in messages:
                yield bytes([number << 1 | number & 1]) + message

    return made


def _twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    assert len(made) == len(pairs), "a name stands twice in one object and was taken"
    return made


def _no_number(name: str) -> Any:
    raise AssertionError(f"{name} was taken for a number")


def read_strictly(data: bytes) -> bool:
    """What is taken for JSON is what the standard library's slower parser reads too, each name once."""
    try:
        found = document.parse(data)
    except Unreadable as why:
        return refused(why)
    assert found == json.loads(data.decode(), object_pairs_hook=_twice, parse_constant=_no_number)
    return True


TEXTS: Final = (
    b"21.4",
    b" -0.5e1\r\n",
    b"69,8",
    b"ON",
    b"weak",
    "läuft".encode(),
    b"85",
    b"-127",
    b"1e999",
    b"",
    b"\xff",
)
OBJECTS: Final = (
    b'{"v": 21.4, "t": "2026-03-02T06:59:58.5+01:00", "n": 7}',
    b'{"v":"21.4","t":1772434798,"n":"7"}',
    b'[{"v": 21.4, "t": 1772434798000}]',
    b'{"a/b": {"~c": 70.1}}',
    b'{"pump": "running", "at": null}',
    b'{"power": {"w": 3.25}, "t": 0}',
    b'{"v": 1, "v": 2}',
    b'{"x:y": "\\u003a:", "v": 1}',
    b"true",
    b'"steht"',
    b"[" * 30 + b"]" * 30,
)
PACKS: Final = (
    b'[{"bn":"a","bt":1772434798,"bu":"Cel","v":21.4},{"t":-60,"v":21.3}]',
    b'[{"n":"a","u":"K","v":294.5,"t":-5},{"n":"b","vs":"on"},{"n":"a","vb":true}]',
    b'[{"bn":"urn:dev:ow:10","bver":10,"bv":20,"v":1.4,"ut":1}]',
    b'[{"n":"a","u":"W","v":3.1,"s":2}]',
    b'[{"bver":11,"n":"a","v":1}]',
    b'[{"n":"a","vd":"aGk","x_":1}]',
)
IN_JSON: Final = (
    b"{",
    b"}",
    b"[",
    b"]",
    b":",
    b",",
    b'"',
    b"null",
    b"true",
    b"1e308",
    b"-0",
    b"\\u003a",
    b"\\ud83d",
    b"1E400",
)
FIELDS: Final = ("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_")
IN_SENML: Final = (*(f'"{name}":'.encode() for name in FIELDS), b'"Cel"', b'"K"', b"268435456")
IN_TEXT: Final = (
    b"21.4",
    b"e5",
    b"on",
    b"off",
    b"weak",
    b"2026-03-02T06:59:60Z",
    b"+23:59",
    b"0001-01-01",
    b"9999-12-31",
)

ALL: Final = NUMBERS + JSONS + SENMLS
TARGETS: Final = (
    Target(
        "decode", _with(ALL), _seeds(ALL, TEXTS[:2] + OBJECTS[:4] + PACKS[:3]), (*IN_JSON, *IN_SENML, *IN_TEXT), 512
    ),
    Target("number", _with(NUMBERS), _seeds(NUMBERS, TEXTS), IN_TEXT, 96),
    Target("json", _with(JSONS), _seeds(JSONS, OBJECTS), (*IN_JSON, *IN_TEXT, b'"v"', b'"t"', b'"n"'), 512),
    Target("senml", _with(SENMLS), _seeds(SENMLS, PACKS), (*IN_JSON, *IN_SENML, *IN_TEXT), 1024),
    Target("document", read_strictly, lambda: OBJECTS + PACKS, IN_JSON, 1024),
)
