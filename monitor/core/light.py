"""Values: each is what its fields say, and nobody may change one. They cost little to define and to make."""

from __future__ import annotations

from dataclasses import dataclass, fields
from operator import attrgetter
from typing import TYPE_CHECKING, Any, TypeVar, dataclass_transform, overload

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

T = TypeVar("T")


@overload
def light(cls: type[T], /) -> type[T]: ...


@overload
def light(*, frozen: bool = ..., eq: bool = ...) -> Callable[[type[T]], type[T]]: ...


@dataclass_transform(frozen_default=True)
def light(
    cls: type[T] | None = None, /, *, frozen: bool = True, eq: bool = True
) -> type[T] | Callable[[type[T]], type[T]]:
    """A dataclass with slots that is put together when its first object is made: at a start most of them have none.

    It is frozen to the type checker only: one that looks after itself takes five times as long to make an object. Without
    ``frozen`` it has no hash and without ``eq`` it equals itself alone, as ``dataclass`` has it. Of the seven methods that
    ``dataclass`` would compile only ``__init__`` is; the others are the same for all but for the names of the fields.
    """
    if cls is None:
        return lambda named: _light(named, frozen=frozen, eq=eq)
    return _light(cls, frozen=frozen, eq=eq)


def _light(cls: type[T], *, frozen: bool, eq: bool) -> type[T]:
    own = [name for name, told in cls.__annotations__.items() if not str(told).startswith("ClassVar")]
    taken = {name for base in cls.__mro__[1:] for name in getattr(base, "__slots__", ())}
    body = {name: value for name, value in cls.__dict__.items() if name not in {"__dict__", "__weakref__"}}
    inside = {name: value for name, value in body.items() if name not in own}
    inside |= {"__slots__": tuple(name for name in own if name not in taken), "__doc__": cls.__doc__ or cls.__name__}
    written = {
        name for name, value in inside.items() if value is not None
    }  # an equality of its own alone leaves no hash
    methods = {"__init__", "__repr__"} | ({"__eq__"} if eq else set()) | ({"__hash__"} if eq and frozen else set())
    kind: Any = type(cls)
    complete = False

    def whole(name: str) -> Any:
        """What the class has by this name once it is complete. Threads that ask together get the same, each its own."""
        nonlocal complete
        if not complete:
            for part, value in _parts(kind(cls.__name__, cls.__bases__, dict(body))).items():
                if part in later:
                    setattr(made, part, value)
            complete = True
        return made.__dict__[name]

    later = {name: _called_first(name, whole) for name in methods - (written - {"__init__"})}
    later |= {
        name: _AskedFirst(name, whole) for name in ("__dataclass_fields__", "__dataclass_params__", "__match_args__")
    }
    made: type[T] = kind(cls.__name__, cls.__bases__, inside | later)
    made.__qualname__ = cls.__qualname__
    return made


def _called_first(name: str, whole: Callable[[str], Any]) -> Any:
    """Stands in for a method until it is called."""

    def method(*args: Any, **kwargs: Any) -> Any:
        return whole(name)(*args, **kwargs)

    return method


class _AskedFirst:
    """Stands in for what a class has beside its methods until it is asked for."""

    def __init__(self, name: str, whole: Callable[[str], Any]) -> None:
        self._name, self._whole = name, whole

    def __get__(self, value: object, owner: type) -> Any:
        return self._whole(self._name)


def _parts(cls: type) -> Mapping[str, Any]:
    """What ``dataclass`` and this module give a class, by name."""
    cls.__doc__ = cls.__doc__ or cls.__name__  # or it would look for a signature to put there
    parts = dict(dataclass(repr=False, eq=False)(cls).__dict__)
    told = fields(cls)
    compared = _values([one.name for one in told if one.compare])
    hashed = _values([one.name for one in told if (one.compare if one.hash is None else one.hash)])
    shown = [one.name for one in told if one.repr]

    def equal(self: object, other: object) -> bool:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hash_of(self: object) -> int:
        return hash(hashed(self))

    def text(self: object) -> str:
        return f"{type(self).__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in shown)})"

    return parts | {"__eq__": equal, "__hash__": hash_of, "__repr__": text}


def _values(names: Sequence[str]) -> Callable[[Any], Any]:
    """What gives the fields of an object as one tuple."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda value: tuple(getattr(value, name) for name in names)
