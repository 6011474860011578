"""A pantry, and what was found of it, as JSON and back, exactly: for a process of its own, and to be kept.

Instants that never come are written as ``Infinity``, which JSON itself lacks: only this program reads it.
"""

from __future__ import annotations

import json
from dataclasses import fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, Final, Literal, Union, cast, get_args, get_origin, get_type_hints

import numpy as np

from monitor.core import food
from monitor.core.food import FoodAhead, Pantry
from monitor.core.model import Ms, Span

_NAMES: Final = {"Ms": Ms, "Span": Span, "Array": Any}
"""What ``food`` imports for the type checker alone."""


class NotReadable(ValueError):  # noqa: N818  (as the house names them)
    """It is no such document."""


def to_json(pantry: Pantry) -> bytes:
    return json.dumps(document(pantry), separators=(",", ":")).encode()


def from_json(text: bytes) -> Pantry:
    """Raises ``NotReadable``."""
    return cast("Pantry", _read(text, Pantry))


def ahead_to_json(ahead: FoodAhead) -> bytes:
    return json.dumps(document(ahead), separators=(",", ":")).encode()


def ahead_from_json(text: bytes) -> FoodAhead:
    """Raises ``NotReadable``."""
    return cast("FoodAhead", _read(text, FoodAhead))


def document(value: Any) -> Any:
    """Dataclasses as tables by name, tuples as lists."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: document(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {key: document(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [document(one) for one in value]
    return value.item() if isinstance(value, np.generic) else value


def _read(text: bytes, kind: type) -> Any:
    try:
        return _made(json.loads(text), kind)
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError) as error:
        raise NotReadable(f"no {kind.__name__}: {error}") from error


def _made(value: Any, hint: Any) -> Any:
    """What ``document`` wrote, as the type that stands in ``hint``."""
    origin, arguments = get_origin(hint), get_args(hint)
    if hint is Any or origin is dict:
        return value
    if origin is Literal:
        return _one_of(value, arguments)
    if origin in {Union, UnionType}:
        if value is None and NoneType in arguments:
            return None
        return _made(value, next(kind for kind in arguments if kind is not NoneType))
    if origin is tuple:
        return _tuple(value, arguments)
    if is_dataclass(hint) and isinstance(hint, type):
        return _table(value, hint)
    return _plain(value, hint)


def _one_of(value: Any, allowed: tuple[Any, ...]) -> Any:
    if value not in allowed:
        raise ValueError(f"{value!r} is none of {allowed}")
    return value


def _tuple(value: Any, kinds: tuple[Any, ...]) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise TypeError("a list was expected")
    if kinds[1:] == (...,):
        return tuple(_made(one, kinds[0]) for one in value)
    if len(value) != len(kinds):
        raise ValueError(f"{len(kinds)} values were expected, not {len(value)}")
    return tuple(_made(one, kind) for one, kind in zip(value, kinds, strict=True))


def _table(value: Any, hint: type) -> Any:
    if not isinstance(value, dict):
        raise TypeError(f"a table was expected for {hint.__name__}")
    hints = _hints(hint)
    unknown = value.keys() - hints.keys()
    if unknown:
        raise ValueError(f"{hint.__name__} has no {', '.join(sorted(unknown))}")
    return hint(**{name: _made(one, hints[name]) for name, one in value.items()})


def _plain(value: Any, hint: Any) -> Any:
    """Text, numbers, yes and no. A whole number stands for a fraction too; nothing else is put right."""
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        return float(value)
    if not isinstance(value, hint) or (isinstance(value, bool) and hint is not bool):
        raise TypeError(f"{value!r} is not of the kind {getattr(hint, '__name__', hint)}")
    return value


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind, globalns={**vars(food), **_NAMES})
