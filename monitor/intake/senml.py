"""SenML in JSON (RFC 8428): base fields are applied, relative times are resolved, units are checked.

A pack often carries several quantities. Records of another name (when one is configured), of another unit, or without
a usable value are passed over; a pack in which nothing is left is unreadable, with the reason of the first one passed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from monitor.core.model import Measures, Sample
from monitor.intake.document import parse
from monitor.intake.unreadable import Unreadable, shown
from monitor.intake.values import air, internal, known, number, seconds_to_ms, within_limit

if TYPE_CHECKING:
    from monitor.core.model import Ms
    from monitor.intake.binding import Binding

VERSION = 10  # RFC 8428 section 4.1
RELATIVE_BELOW = 2.0**28  # s, RFC 8428 section 4.5.3
KELVIN_AT_0_C = 273.15

_AIR = Measures.AIR
_TEXTS = frozenset({"bn", "bu", "n", "u", "vs", "vd"})
_NUMBERS = frozenset({"bt", "bv", "bs", "bver", "v", "s", "t", "ut"})
_BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})


class _Base:
    """The base fields in force; each holds from its record on until it is given anew (section 4.1)."""

    __slots__ = ("name", "time", "unit", "value")

    def __init__(self) -> None:
        self.name = ""
        self.time: float = 0
        self.unit = ""
        self.value: float | None = None

    def take(self, record: dict[str, Any]) -> None:
        if _BASE.isdisjoint(record):
            return  # as nearly always in a pack of one record
        self.name = record.get("bn", self.name)
        self.time = record.get("bt", self.time)
        self.unit = record.get("bu", self.unit)
        self.value = record.get("bv", self.value)
        if (version := record.get("bver", VERSION)) > VERSION:
            raise Unreadable(f"SenML version {shown(version)} is newer than {VERSION}, which is understood", "version")


def read(payload: bytes, binding: Binding, arrived: Ms | None) -> list[Sample]:
    """The samples of a pack for one binding, in the order of the pack."""
    pack = parse(payload)
    if pack.__class__ is not list or not pack:
        raise Unreadable("a SenML pack is an array of at least one record", "syntax")
    base = _Base()
    samples: list[Sample] = []
    passed: Unreadable | None = None
    for record in pack:
        _check(record)
        base.take(record)
        if binding.name is not None and base.name + record.get("n", "") != binding.name:
            continue
        try:
            sample = _sample(record, base, binding, arrived)
        except Unreadable as reason:
            passed = passed or reason
            continue
        if sample is not None:
            samples.append(sample)
    if samples:
        return samples
    if passed is not None:
        raise passed
    wanted = f" named {shown(binding.name)}" if binding.name is not None else ""
    raise Unreadable(f"no record{wanted} with a value in the pack", "empty")


class Resolved(NamedTuple):
    """One record as it stands in its pack: its whole name, its unit, and its value, if it has one of a kind that is read."""

    name: str
    unit: str
    value: float | bool | str | None


def resolved(payload: bytes) -> list[Resolved]:
    """The records of a pack, for whoever does not know yet which of them to read; :class:`Unreadable` when it is none."""
    pack = parse(payload)
    if pack.__class__ is not list or not pack:
        raise Unreadable("a SenML pack is an array of at least one record", "syntax")
    base = _Base()
    found = []
    for record in pack:
        _check(record)
        base.take(record)
        try:
            value = record.get("vb", record.get("vs"))
            value = _value(record, base) if value is None else value
        except Unreadable:
            value = None
        found.append(Resolved(base.name + record.get("n", ""), record.get("u", base.unit), value))
    return found


def _check(record: Any) -> None:
    """Types of the fields (section 5, table 4), and nothing inside that must be understood and is not (section 4.4)."""
    if record.__class__ is not dict:
        raise Unreadable(f"found {shown(record)} where a SenML record is expected", "syntax")
    for name, value in record.items():
        kind = value.__class__
        if name in _NUMBERS:
            if kind is not float and kind is not int:
                raise Unreadable(f"SenML field {name} is {shown(value)}, a number is expected", "type")
        elif name in _TEXTS:
            if kind is not str:
                raise Unreadable(f"SenML field {name} is {shown(value)}, a text is expected", "type")
        elif name == "vb":
            if kind is not bool:
                raise Unreadable(f"SenML field vb is {shown(value)}, true or false is expected", "type")
        elif name.endswith("_"):
            raise Unreadable(f"SenML field {shown(name)} must be understood and is not known here", "version")
    if ("v" in record) + ("vs" in record) + ("vb" in record) + ("vd" in record) > 1:
        raise Unreadable("a SenML record with more than one value", "syntax")


def _sample(record: dict[str, Any], base: _Base, binding: Binding, arrived: Ms | None) -> Sample | None:
    """One record resolved (section 4.6); None when it has no value of the kind this probe tells."""
    if binding.is_word:
        word = record.get("vb", record.get("vs", record.get("v")))
        if word is None:
            return None
        return Sample.of_air(air(word, binding), _time(record, base, arrived))
    value = _value(record, base)
    if value is None:
        return None
    unit = record.get("u", base.unit)
    return Sample(value=_converted(value, unit, binding), time=_time(record, base, arrived))


def _value(record: dict[str, Any], base: _Base) -> float | None:
    """Value and base value are added; a missing one counts as zero (section 4.5.4)."""
    value = record.get("v")
    if value is None:
        if base.value is None or any(name in record for name in ("vs", "vb", "vd", "s")) or _only_base(record):
            return None
        return number(base.value)
    return number(value) if base.value is None else number(value) + number(base.value)


def _only_base(record: dict[str, Any]) -> bool:
    return not any(name in record for name in ("n", "u", "t", "ut"))


def _converted(value: float, unit: str, binding: Binding) -> float:
    """The unit in the message wins over the configured one; where it tells none, the configured one holds."""
    if not unit:
        return internal(value, binding)
    if unit == "Cel" and binding.measures is not _AIR:
        return within_limit(value)
    if binding.measures is _AIR:
        if binding.unit and unit != binding.unit:
            raise Unreadable(f"unit {shown(unit)} in the message, {shown(binding.unit)} is configured", "unit")
        return internal(value, binding)
    if unit == "K":
        return within_limit(value - KELVIN_AT_0_C)
    raise Unreadable(f"unit {shown(unit)} measures no temperature; Cel and K are understood", "unit")


def _time(record: dict[str, Any], base: _Base, arrived: Ms | None) -> Ms | None:
    """Base time and time are added; small sums count from the arrival, zero means "about now" (section 4.5.3).

    None when the record has no time of its own, or one relative to an arrival that says nothing.
    """
    told = record.get("t", 0)
    if not told and not base.time:
        return None
    seconds = _bounded(base.time) + _bounded(told)
    if seconds >= RELATIVE_BELOW:
        return known(seconds_to_ms(seconds))
    if seconds == 0 or arrived is None:
        return None
    return known(arrived + seconds_to_ms(seconds))


def _bounded(seconds: float) -> float:
    """Refused early when too large to be added to another number."""
    seconds_to_ms(seconds)
    return seconds
