"""Whether an entry read from a file has in each of its fields what belongs there: it is reckoned with for ever."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from math import isfinite
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from monitor.archive.forms import LARGEST, Unfit

if TYPE_CHECKING:
    from monitor.core.log import LogEntry


def check_fit(entry: LogEntry) -> None:
    """Raises Unfit for a number that is none, or endless, or a text where a number belongs. Of amounts it judges nothing."""
    hints = _hints(cast("type", type(entry)))
    for field in fields(entry):
        value = getattr(entry, field.name)
        if not _fits(value, hints[field.name]):
            raise Unfit(f"{field.name} {str(value)[:60]!r}, which it cannot be")


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind, localns={"Ms": int})  # which the core imports for the type checker alone


def _fits(value: Any, hint: Any) -> bool:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        return any(_fits(value, one) for one in arguments)
    if origin is Literal:
        return value in arguments
    if origin is dict:
        return isinstance(value, dict) and all(
            isinstance(one, str | bool | NoneType) or _number(one) for one in value.values()
        )
    if hint in (int, float):
        return _number(value) and isinstance(value, (int, hint))
    return isinstance(value, hint)


def _number(value: Any) -> bool:
    if isinstance(value, float):
        return isfinite(value)
    return isinstance(value, int) and not isinstance(value, bool) and -LARGEST <= value <= LARGEST
