"""Values: each is what its fields say, and nobody may change one. They cost little to define and to make."""

from __future__ import annotations

from dataclasses import dataclass, fields
from operator import attrgetter
from typing import TYPE_CHECKING, Any, TypeVar, dataclass_transform

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def light(cls: type[T]) -> type[T]:
    """A dataclass that is frozen to the type checker only: one that looks after itself takes five times as long to make.

    ``dataclass`` compiles seven methods for each class, which with three hundred classes was a fifth of a start. Of these only
    ``__init__`` is compiled here; the others are the same for all but for the names of the fields.
    """
    cls.__doc__ = cls.__doc__ or cls.__name__  # or it would look for a signature to put there
    made = dataclass(slots=True, repr=False, eq=False)(cls)
    told = fields(made)  # type: ignore[arg-type]  # it has just become one
    compared = _values([one.name for one in told if one.compare])
    hashed = _values([one.name for one in told if (one.compare if one.hash is None else one.hash)])
    shown = [one.name for one in told if one.repr]

    def equal(self: T, other: object) -> bool:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hash_of(self: T) -> int:
        return hash(hashed(self))

    def text(self: T) -> str:
        return f"{type(self).__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in shown)})"

    for name, method in {"__eq__": equal, "__hash__": hash_of, "__repr__": text}.items():
        if cls.__dict__.get(name) is None:  # a class with an equality of its own has no hash
            setattr(made, name, method)
    return made


def _values(names: Sequence[str]) -> Callable[[Any], Any]:
    """What gives the fields of an object as one tuple."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda value: tuple(getattr(value, name) for name in names)
