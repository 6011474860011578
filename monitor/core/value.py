"""``dataclass`` of the standard library, but several times as fast to make: hundreds of them are made at each start.

The library compiles up to seven methods for each class. Here only ``__init__`` is compiled; the others are the same for all
and go by the fields, with the same outcome. What is asked for beyond ``frozen``, ``slots`` and ``eq`` is left to the library.
"""

from __future__ import annotations

import dataclasses
from dataclasses import MISSING, FrozenInstanceError, fields
from operator import attrgetter
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


def _dataclass(cls: Any = None, /, *, frozen: bool = False, slots: bool = False, eq: bool = True, **more: Any) -> Any:
    def made(cls: Any) -> Any:
        if more or not slots:
            return dataclasses.dataclass(cls, frozen=frozen, slots=slots, eq=eq, **more)
        cls.__doc__ = cls.__doc__ or cls.__name__  # else the library works out a signature for it
        cls = dataclasses.dataclass(cls, init=not frozen, repr=False, eq=False, slots=True)
        if "__repr__" not in vars(cls):
            cls.__repr__ = _repr
        if eq:
            _compare(cls, hashed=frozen)
        if frozen:
            cls.__init__ = _init(cls)
            cls.__setattr__ = cls.__delattr__ = _refuse
            cls.__getstate__, cls.__setstate__ = _state, _restore
        return cls

    return made if cls is None else made(cls)


if TYPE_CHECKING:
    from dataclasses import dataclass
else:
    dataclass = _dataclass


def _init(cls: Any) -> Any:
    """Fills each slot past ``__setattr__``, which refuses."""
    scope: dict[str, Any] = {"_absent": MISSING}
    head, body = ["self"], []
    for one in fields(cls):
        name = one.name
        scope[f"_set_{name}"] = getattr(cls, name).__set__
        if one.default_factory is not MISSING:
            scope[f"_make_{name}"] = one.default_factory
            given, value = f"{name}=_absent", f"_make_{name}() if {name} is _absent else {name}"
        elif one.default is not MISSING:
            scope[f"_usual_{name}"] = one.default
            given, value = f"{name}=_usual_{name}", name
        else:
            given = value = name
        if one.init:
            head.append(given)
            body.append(f"_set_{name}(self, {value})")
        elif given != name:
            raise TypeError(f"{cls.__name__}.{name}: a usual value, and no way to give another, is not needed so far")
    if hasattr(cls, "__post_init__"):
        body.append("self.__post_init__()")
    exec(f"def __init__({', '.join(head)}):\n " + "\n ".join(body or ["pass"]), scope)  # noqa: S102  (as the library does)
    scope["__init__"].__qualname__ = f"{cls.__qualname__}.__init__"
    return scope["__init__"]


def _compare(cls: Any, *, hashed: bool) -> None:
    """By the tuple of the fields; what a class defines itself stays."""
    whole = _tuple_of([one.name for one in fields(cls) if one.compare])

    def equal(self: object, other: object) -> Any:
        return whole(self) == whole(other) if other.__class__ is self.__class__ else NotImplemented

    own = vars(cls)
    if "__eq__" not in own:
        cls.__eq__ = equal
    if not hashed:
        cls.__hash__ = None
    elif own.get("__hash__") is None:
        part = _tuple_of([one.name for one in fields(cls) if (one.compare if one.hash is None else one.hash)])
        cls.__hash__ = lambda self: hash(part(self))


def _tuple_of(names: Sequence[str]) -> Callable[[Any], tuple[Any, ...]]:
    if len(names) > 1:
        return attrgetter(*names)
    return lambda one: tuple(getattr(one, name) for name in names)


def _repr(self: Any) -> str:
    told = ", ".join(f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{type(self).__qualname__}({told})"


def _refuse(_self: object, name: str, *_value: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, one.name) for one in fields(self)]


def _restore(self: Any, state: Sequence[Any]) -> None:
    for one, value in zip(fields(self), state, strict=True):
        object.__setattr__(self, one.name, value)
