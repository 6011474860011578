"""The decoder for JSON with pointers."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import Measures, Sample
from monitor.intake.binding import Binding
from monitor.intake.decode import Unreadable, decode

AT_VALUE = Binding("t", "p", "json", Measures.WATER, pointer="/v", time_pointer="/t", sequence_pointer="/n")


def bound(pointer: str, **more: Any) -> Binding:
    return Binding("t", "p", "json", Measures.WATER, pointer=pointer, **more)


def kind_of(payload: bytes, binding: Binding) -> str:
    with pytest.raises(Unreadable) as refused:
        decode(payload, binding, 0)
    return refused.value.kind


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo/0", 11),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_pointers_of_the_standard_find_their_values(pointer: str, value: float) -> None:
    """Each pointer of RFC 6901 section 5 finds its value (its array of texts holds numbers here)."""
    document = {"foo": [11, 12], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6, " ": 7, "m~n": 8}
    assert decode(json.dumps(document).encode(), bound(pointer), 0) == [Sample(value=value)]


def test_the_empty_pointer_is_the_whole_document() -> None:
    """A bare JSON number is read by the empty pointer."""
    assert decode(b" 21.4 ", bound(""), 0) == [Sample(value=21.4)]


@pytest.mark.parametrize("pointer", ["/t/c/x", "/t/d", "/list/-", "/list/2", "/list/01", "/list/x", "v", "/v~2"])
def test_a_pointer_to_nothing_is_refused(pointer: str) -> None:
    """A pointer that finds nothing, also "-" behind a list and a leading zero, is refused as such."""
    assert kind_of(b'{"t":{"c":21.4},"list":[1,2],"v":1}', bound(pointer)) == "pointer"


def test_a_pointer_to_nothing_shows_what_is_there() -> None:
    """The refusal names the members the message has, so that the keeper sees the slip."""
    with pytest.raises(Unreadable, match=r"nothing at '/temp'; the message has '/temperature', '/unit'"):
        decode(b'{"temperature":21.4,"unit":"C"}', bound("/temp"), 0)


@pytest.mark.parametrize(("found", "value"), [("21.4", 21.4), ("21", 21.0), ("-2.5e1", -25.0), ('" 21.4 "', 21.4)])
def test_numbers_may_stand_in_a_text(found: str, value: float) -> None:
    """A number and a text that writes one give the same sample."""
    assert decode(f'{{"v":{found}}}'.encode(), bound("/v"), 0) == [Sample(value=value)]


@pytest.mark.parametrize(
    ("found", "kind"),
    [
        ("true", "type"),
        ("false", "type"),
        ("null", "empty"),
        ("[21.4]", "type"),
        ("{}", "type"),
        ('"warm"', "syntax"),
        ('"nan"', "syntax"),
        ('"0x10"', "syntax"),
        ("1e999", "range"),
        ("1e308", "range"),
        ("1" + "0" * 4000, "range"),
    ],
)
def test_what_is_no_number_is_refused(found: str, kind: str) -> None:
    """Booleans, null, containers, words and numbers beyond the limit are refused where a number is expected."""
    assert kind_of(f'{{"v":{found}}}'.encode(), bound("/v")) == kind


@pytest.mark.parametrize(
    ("payload", "kind"),
    [
        (b"", "syntax"),
        (b'{"v":NaN}', "syntax"),
        (b'{"v":-Infinity}', "syntax"),
        (b'{"v":01}', "syntax"),
        (b'{"v":1,}', "syntax"),
        (b'{"v":1} 2', "syntax"),
        (b"{'v':1}", "syntax"),
        (b'\xef\xbb\xbf{"v":1}', "syntax"),
        (b'{"v":"\xff"}', "encoding"),
        ('{"v":1}'.encode("utf-16"), "encoding"),
        (b'{"v":' + b"[" * 30_000 + b"]" * 30_000 + b"}", "syntax"),
        (b"[" * 60_000, "syntax"),
        (b'{"v":1' + b"0" * 60_000 + b"}", "syntax"),
        (b'{"v":' + b" " * 70_000 + b"1}", "oversize"),
    ],
)
def test_broken_documents_are_refused(payload: bytes, kind: str) -> None:
    """Bad JSON, bad UTF-8, deep nesting, endless digits and large messages are refused, and none raises otherwise."""
    assert kind_of(payload, bound("/v")) == kind


@pytest.mark.parametrize(
    "payload",
    [
        b'{"v":1,"v":2}',
        b'{"v":1,"x":{"a":1,"a":1}}',
        b'[{"a":"u:v","a":"u:v"}]',
        b'{"v" : 1, "w:x":2, "w:x" : "a:b"}',
        b'{"v":1,"\\u0076":2}',
        b'{"v":1,"x\\u003Ay":2}',
    ],
)
def test_a_name_that_occurs_twice_is_refused(payload: bytes) -> None:
    """An object with a name twice is refused, however the name is written, since it is unclear which one counts."""
    assert kind_of(payload, bound("/v")) == "syntax"


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(rest=JSON_VALUES, compact=st.booleans(), plain=st.booleans())
def test_sound_documents_are_never_taken_for_doubled_ones(rest: Any, compact: bool, plain: bool) -> None:
    """Whatever else a sound document holds, colons in texts and names included, its value is read."""
    document = {"v": 21.4, "rest": rest}
    text = json.dumps(document, separators=(",", ":") if compact else None, ensure_ascii=not plain)
    if "\\ud" in text or any("\ud800" <= character <= "\udfff" for character in text):
        return  # half of a surrogate pair: not Unicode text
    assert decode(text.encode(), bound("/v"), 0) == [Sample(value=21.4)]


def at(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("told", "time"),
    [
        ('"2026-03-02T05:10:00Z"', at("2026-03-02T05:10:00+00:00")),
        ('"2026-03-02t05:10:00.25z"', at("2026-03-02T05:10:00.250+00:00")),
        ('"2026-03-02 06:10:00.123456+01:00"', at("2026-03-02T05:10:00.123+00:00")),
        # Two kinds of RFC 3339 section 5.8: a zone behind UTC (of 1996, so told by no set clock), and a leap second.
        ('"1996-12-19T16:39:57-08:00"', None),
        ('"2016-12-31T23:59:60Z"', at("2017-01-01T00:00:00+00:00")),
        ("1772428200", at("2026-03-02T05:10:00+00:00")),
        ("1772428200.5", at("2026-03-02T05:10:00.500+00:00")),
        ("1772428200123", at("2026-03-02T05:10:00.123+00:00")),
        ("null", None),
        ("0", None),
        ("12345", None),
        ('"1970-01-01T00:00:12Z"', None),
    ],
)
def test_own_times_are_read(told: str, time: int | None) -> None:
    """RFC 3339 with a zone and seconds or milliseconds since 1970 are read; a clock that was never set tells none."""
    payload = f'{{"v":1,"t":{told},"n":7}}'.encode()
    assert decode(payload, AT_VALUE, 0) == [Sample(value=1.0, time=time, seq=7)]


@pytest.mark.parametrize(
    "told",
    [
        '"2026-03-02T05:10:00"',
        '"2026-03-02"',
        '"2026-02-30T05:10:00Z"',
        '"2026-03-02T25:10:00Z"',
        '"2026-03-02T05:10:61Z"',
        '"2026-03-02T05:10:00+24:00"',
        '"2026-W10-1T05:10:00Z"',
        '"0000-01-01T00:00:00Z"',
        '"1772428200"',
        '"yesterday"',
        "true",
        "[]",
        "1e300",
        "1" + "0" * 400,
    ],
)
def test_what_is_no_time_is_refused(told: str) -> None:
    """A time without a zone, an impossible one and anything else is refused rather than guessed."""
    assert kind_of(f'{{"v":1,"t":{told},"n":7}}'.encode(), AT_VALUE) == "time"


@pytest.mark.parametrize(
    ("told", "seq"), [("0", 0), ("41.0", 41), ('"42"', 42), ("9223372036854775807", 2**63 - 1), ("null", None)]
)
def test_running_numbers_are_read(told: str, seq: int | None) -> None:
    """A whole number from zero up, also in a text, is the running number; null is none."""
    (sample,) = decode(f'{{"v":1,"t":null,"n":{told}}}'.encode(), AT_VALUE, 0)
    assert sample.seq == seq


@pytest.mark.parametrize("told", ["-1", "1.5", "true", '"x"', '"²"', "9223372036854775808", "1e30", "[]"])
def test_what_is_no_running_number_is_refused(told: str) -> None:
    """A negative, broken or endless running number is refused."""
    assert kind_of(f'{{"v":1,"t":null,"n":{told}}}'.encode(), AT_VALUE) == "sequence"


def test_a_configured_time_that_is_missing_is_refused() -> None:
    """A time pointer that finds nothing is told, not passed over: it is a slip in the configuration."""
    assert kind_of(b'{"v":1,"n":1}', AT_VALUE) == "pointer"


@pytest.mark.parametrize(
    ("found", "running"), [("true", True), ("false", False), ('"ON"', True), ("0", False), ("1.0", True)]
)
def test_air_may_be_true_or_a_word(found: str, running: bool) -> None:
    """For a probe that tells words, true, a known word and a whole number that is one are running or stopped."""
    air = Binding("t", "p", "json", Measures.AIR, pointer="/v", is_word=True)
    assert decode(f'{{"v":{found}}}'.encode(), air, 0) == [Sample(running=running)]


@pytest.mark.parametrize(("found", "kind"), [("2", "word"), ("0.5", "type"), ("null", "empty"), ("1e400", "type")])
def test_air_that_is_neither_is_refused(found: str, kind: str) -> None:
    """A value that is no known word does not pass for running or stopped."""
    assert (
        kind_of(f'{{"v":{found}}}'.encode(), Binding("t", "p", "json", Measures.AIR, pointer="/v", is_word=True))
        == kind
    )
