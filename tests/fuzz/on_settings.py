"""The configuration as text, and quantities with units as a keeper types them."""

from __future__ import annotations

import math
import re
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.settings import ConfigError, from_document
from monitor.settings.errors import Unfit
from monitor.settings.settings import LISTS, TABLES
from monitor.settings.show import as_toml
from monitor.settings.tomlfile import parse_toml
from monitor.settings.units import Kind, convert, read, told, write
from monitor.settings.units import temperature_unit as unit_of_temperature
from tests.fuzz.target import Target

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT: Final = Path(__file__).resolve().parents[2]
PLACE: Final = re.compile(r"(?:/(?:[^~/]|~[01])*)*")
"""An RFC 6901 pointer."""
LONGEST: Final = 1200


def config(data: bytes) -> bool:
    """A text is a configuration that serves, or is refused with places and what is allowed there."""
    try:
        document = parse_toml(data.decode("utf-8", "replace"), "x.toml")
        loaded = from_document(document, file="x.toml", base=Path("/srv"))
    except ConfigError as error:
        for problem in error.problems:
            assert problem.allowed
            assert PLACE.fullmatch(problem.pointer)
            assert "\n" not in str(problem)
            assert len(str(problem)) < LONGEST + len(problem.pointer)
        assert error.problems
        return False
    spec = loaded.settings.site_spec()
    assert spec.vessels
    finite(spec)
    finite(loaded.settings.bindings())
    again = parse_toml(as_toml(loaded), "again.toml")
    assert again["site"]["id"] == loaded.settings.site.id
    return True


def finite(value: Any) -> None:
    """No number in it is endless but the limits of what a probe may tell, which may be open."""
    if isinstance(value, float):
        assert not math.isnan(value)
    elif is_dataclass(value) and not isinstance(value, type):
        for one in fields(value):
            held = getattr(value, one.name)
            assert not isinstance(held, float) or math.isfinite(held) or one.name in OPEN, one.name
            finite(held)
    elif isinstance(value, dict):
        finite(tuple(value.values()))
    elif isinstance(value, tuple | list | frozenset):
        for held in value:
            finite(held)


OPEN: Final = frozenset({"low", "high", "max_rate"})


def units(data: bytes) -> bool:
    """The first byte says what is wanted; the rest is what was typed. What is read is finite and reads back as it is."""
    head, text = data[0] if data else 0, data[1:].decode("utf-8", "replace")
    kinds = tuple(Kind)
    try:
        if head % 16 < len(kinds):
            kind = kinds[head % 16]
            value = read(text, kind)
            assert math.isfinite(value)
            assert read(write(value, kind), kind) == value
            assert told(value, kind)
        elif head % 16 == len(kinds):
            affine = unit_of_temperature(text)
            assert affine.scale > 0
            assert math.isfinite(affine.offset)
        else:
            unit, _, into = text.partition(">")
            assert math.isfinite(convert(2.5, unit, into))
    except Unfit as unfit:
        assert unfit.allowed
        return False
    return True


def _configs() -> Iterator[bytes]:
    yield (ROOT / "config" / "minimal.toml").read_bytes()
    shed = (ROOT / "config" / "shed.toml").read_text()
    yield shed.encode()
    yield from (f"{SMALL}\n{one}".encode() for one in re.split(r"\n(?=\[)", shed))
    for name in (*TABLES, *LISTS):
        kind = (TABLES | LISTS)[name]
        head = f"[{name}]" if name in TABLES else f"[[{name}]]"
        for key in kind.model_fields:
            yield f"{head}\n{key} = 1".encode()


SMALL: Final = """[[vessel]]
id = "ash"
litres = 1.5
[[probe]]
id = "a"
topic = "t"
measures = "air"
vessel = "ash"
threshold = "2 W"
unit = "W"
"""


def _quantities() -> Iterator[bytes]:
    texts = (
        "25 C",
        "78 °F",
        "0.5 delta_degC",
        "2 C/min",
        "1.5 imp gal",
        "500 mg",
        "25 ppt",
        "15 min",
        "1e308 d",
        "2 tsp",
    )
    for number in range(len(Kind)):
        for text in texts:
            yield bytes([number]) + text.encode()
    for unit in ("C", "degF", "K", "W"):
        yield bytes([len(Kind)]) + unit.encode()
    for pair in ("L/min>mL/s", "W>", "1/min>Hz", "kPa>mmHg"):
        yield bytes([len(Kind) + 1]) + pair.encode()


WORDS: Final = (
    *(f"[{name}]".encode() for name in TABLES),
    *(f"[[{name}]]".encode() for name in LISTS),
    *sorted({key.encode() + b" = " for kind in (TABLES | LISTS).values() for key in kind.model_fields}),
    b'"""',
    b"1979-05-27T07:32:00Z",
    b"0x7fffffffffffffffffff",
    b"inf",
    b"\\u0000",
    b"mqtts://",
    b"{a.b = 1}",
)

TARGETS: Final = (
    Target("config", config, _configs, WORDS, 4096),
    Target("units", units, _quantities, (b"degF", b"delta_", b"1e308", b"kilo", b"/min", b"imp_gal", b"**", b"%"), 64),
)
