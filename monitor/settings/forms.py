"""How a keeper writes each sort of value: one small class per form, used as ``Annotated[type, Form()]`` in the models.

A form reads what TOML gave and raises Unfit with what is allowed; it writes a value back as TOML for the effective
configuration and the example. Names, files and addresses have a module of their own.

When the validation context holds a dict "kept", each field that is right goes into it, so that the cross-checks can look at
the sound part of a table that has other faults: all problems are told at once.
"""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING, Any

from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from monitor.core.light import light
from monitor.settings import units
from monitor.settings.errors import Unfit, nearest, quoted
from monitor.settings.units import Kind

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pydantic import GetCoreSchemaHandler, ValidationInfo

MASK = "(not shown)"


class Form:
    """A form of value. ``secret`` forms never have what was found in a message."""

    secret: bool = False

    @property
    def allowed(self) -> str:
        """What may stand here, told to a person."""
        raise NotImplementedError

    def read(self, value: object, info: ValidationInfo) -> Any:
        """The value in its internal form; raises Unfit."""
        raise NotImplementedError

    def write(self, value: Any) -> str:
        """The value as TOML."""
        return toml(value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def validate(value: object, info: ValidationInfo) -> Any:
            try:
                read = self.read(value, info)
            except Unfit as unfit:
                context = {"allowed": unfit.allowed or self.allowed, "hint": unfit.hint, "found": unfit.found or ""}
                # The values go in by the context, so that no brace in them is taken for a field of the template.
                raise PydanticCustomError("unfit", "not allowed", context) from None
            kept: dict[str, Any] | None = (info.context or {}).get("kept")
            if kept is not None and info.field_name is not None:
                kept[info.field_name] = read
            return read

        return core_schema.with_info_plain_validator_function(validate)


def toml(value: object) -> str:
    """A plain value as TOML. Strings as JSON, whose escapes are all valid in TOML's basic strings."""
    match value:
        case bool():
            return "true" if value else "false"
        case float():
            return units.plain(value) if math.isfinite(value) else str(value)
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case int():
            return str(value)
        case dict():
            return "{ " + ", ".join(f"{key} = {toml(item)}" for key, item in value.items()) + " }"
        case list() | tuple() | frozenset():
            items: Iterable[object] = sorted(value) if isinstance(value, frozenset) else value
            return "[" + ", ".join(toml(item) for item in items) + "]"
        case _:
            return toml(str(value))


def text_of(value: object, allowed: str) -> str:
    """The value, when it is a text; raises Unfit otherwise."""
    if not isinstance(value, str):
        raise Unfit(allowed)
    return value


@light
class Quantity(Form):
    """A number with a unit, within ``low`` to ``high`` in the internal unit of its kind."""

    kind: Kind
    low: float
    high: float

    @property
    def allowed(self) -> str:
        return f"{self.kind.allowed}; from {self._in_words(self.low)} to {self._in_words(self.high)}"

    def _in_words(self, value: float) -> str:
        return units.told(value, self.kind)

    def read(self, value: object, info: ValidationInfo) -> float:  # noqa: ARG002
        number = units.read(value, self.kind)
        if not self.low <= number <= self.high:
            told = f'"{self._in_words(number)}"' if isinstance(value, str) else None
            raise Unfit(f"from {self._in_words(self.low)} to {self._in_words(self.high)}", found=told)
        return number

    def write(self, value: float) -> str:
        return toml(units.write(value, self.kind))


@light
class Duration(Form):
    """A length of time; inside, whole milliseconds. ``low`` and ``high`` are in milliseconds too."""

    low: int
    high: int

    @property
    def allowed(self) -> str:
        return f"{Kind.DURATION.allowed}; {self._range}"

    @property
    def _range(self) -> str:
        return f"from {units.write_duration(self.low)} to {units.write_duration(self.high)}"

    def read(self, value: object, info: ValidationInfo) -> int:  # noqa: ARG002
        milliseconds = units.read(value, Kind.DURATION) * 1000
        if not self.low <= milliseconds <= self.high:
            raise Unfit(self._range)
        return round(milliseconds)

    def write(self, value: int) -> str:
        return toml(units.write_duration(value))


@light
class Number(Form):
    """A bare number within limits, both allowed."""

    low: float
    high: float
    whole: bool = False

    @property
    def allowed(self) -> str:
        sort = "a whole number" if self.whole else "a number"
        return f"{sort} from {units.plain(self.low)} to {units.plain(self.high)}"

    def read(self, value: object, info: ValidationInfo) -> float | int:  # noqa: ARG002
        if isinstance(value, bool) or not isinstance(value, int if self.whole else int | float):
            raise Unfit(self.allowed)
        if not self.low <= value <= self.high:
            raise Unfit(self.allowed)
        return value if self.whole else float(value)


class Flag(Form):
    allowed = "true or false"

    def read(self, value: object, info: ValidationInfo) -> bool:  # noqa: ARG002
        if not isinstance(value, bool):
            raise Unfit(self.allowed)
        return value


@light
class Text(Form):
    """A line of text of limited length; ``pattern`` says what it may hold, ``sort`` says the same to a person."""

    sort: str
    pattern: str = r"[^\x00-\x1f\x7f]*"
    longest: int = 200
    secret: bool = False

    @property
    def allowed(self) -> str:
        return self.sort

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        text = text_of(value, self.allowed)
        if len(text) > self.longest:
            raise Unfit(f"{self.allowed}, at most {self.longest} characters")
        if re.fullmatch(self.pattern, text) is None:
            raise Unfit(self.allowed)
        return text


@light
class Choice(Form):
    """One word of a few. ``make`` turns the word into the type of the field."""

    words: tuple[str, ...]
    make: type[str] = str

    @property
    def allowed(self) -> str:
        return ", ".join(f'"{word}"' for word in self.words)

    def read(self, value: object, info: ValidationInfo) -> str:  # noqa: ARG002
        # version = 5 is plain enough; refusing it would only teach quoting.
        word = str(value) if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 1000 else value
        if not isinstance(word, str) or word not in self.words:
            raise Unfit(self.allowed, nearest(word, self.words) if isinstance(word, str) else "")
        return self.make(word)


@light
class ListOf(Form):
    """A list whose items all have one form, none twice; a tuple inside, or a frozen set."""

    item: Form
    least: int = 0
    as_set: bool = False

    @property
    def allowed(self) -> str:
        return f"a list of {self.item.allowed}"

    def read(self, value: object, info: ValidationInfo) -> tuple[Any, ...] | frozenset[Any]:
        if not isinstance(value, list | tuple):
            raise Unfit(self.allowed, "Put it in square brackets." if isinstance(value, str) else "")
        if len(value) < self.least:
            raise Unfit(f"{self.allowed}, at least {self.least}", found="an empty list")
        items: list[Any] = []
        for entry in value:
            try:
                item = self.item.read(entry, info)
            except Unfit as unfit:
                raise Unfit(self.allowed, unfit.hint, f"{_entry(entry)} in the list") from None
            if item in items:
                raise Unfit("each entry once", found=f"{_entry(entry)} twice")
            items.append(item)
        return frozenset(items) if self.as_set else tuple(items)

    def write(self, value: Iterable[Any]) -> str:
        items = sorted(value) if self.as_set else value
        return "[" + ", ".join(self.item.write(item) for item in items) + "]"


def _entry(entry: object) -> str:
    return quoted(entry) if isinstance(entry, str) else type(entry).__name__


@light
class ProbeValue(Form):
    """A value in what the probe measures: a temperature for water, room and store; in the probe's own unit for air.
    Without a kind it is for air only; that another probe has it is told by the cross-checks.

    Needs ``measures`` and ``unit`` to be read before it. Where they were not right, there is nothing to judge against.
    """

    kind: Kind | None = None

    @property
    def allowed(self) -> str:
        if self.kind is None:
            return "a number in the probe's unit, or one with a unit that goes with it"
        return f"{self.kind.allowed}; for air, a number in the probe's unit"

    def read(self, value: object, info: ValidationInfo) -> float | None:
        if "measures" not in info.data or "unit" not in info.data:
            return None
        if info.data["measures"] != "air":
            return None if self.kind is None else units.read(value, self.kind)
        unit: str = info.data["unit"]
        allowed = f'a number, or a text such as "2 {unit}"' if unit else "a number"
        if isinstance(value, str):
            number, text = units.split(value)
            try:
                return number if text in ("", unit) else units.convert(number, text, unit)
            except Unfit as unfit:
                raise Unfit(allowed, unfit.hint, unfit.found) from None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e15:
            raise Unfit(allowed)
        return float(value)


class ProbeUnit(Form):
    """The unit a probe tells its values in: one of temperature, or for air any short text."""

    allowed = '"C", "F" or "K"; for air the unit of its number, such as "W", "L/min" or "kPa"'

    def read(self, value: object, info: ValidationInfo) -> str:
        text = text_of(value, self.allowed).strip()
        if not text.isprintable() or len(text) > 20:
            raise Unfit(self.allowed)
        if info.data.get("measures", "air") != "air":
            units.temperature_unit(text)
        return text
