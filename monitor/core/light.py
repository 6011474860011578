"""Classes of fields: values, which nobody may change, and a few that change as they go. They cost little to define and make."""

from __future__ import annotations

from dataclasses import MISSING, Field, dataclass, field
from operator import attrgetter
from typing import TYPE_CHECKING, Any, Final, TypeVar, dataclass_transform, overload

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

T = TypeVar("T")

_DEFAULTS: Final = "__defaults_by_field__"
_ABOUT: Final = ("__dataclass_fields__", "__dataclass_params__", "__match_args__")


@overload
def light(cls: type[T], /) -> type[T]: ...


@overload
def light(*, frozen: bool = ..., eq: bool = ...) -> Callable[[type[T]], type[T]]: ...


@dataclass_transform(frozen_default=True)
def light(
    cls: type[T] | None = None, /, *, frozen: bool = True, eq: bool = True
) -> type[T] | Callable[[type[T]], type[T]]:
    """A dataclass with slots whose methods are made when they are first called: at a start most classes have no object yet.

    It is frozen to the type checker only: one that looks after itself takes five times as long to make an object. Without
    ``frozen`` it has no hash and without ``eq`` it equals itself alone, as ``dataclass`` has it. Of the seven methods that
    ``dataclass`` would compile only ``__init__`` is; the others are the same for all but for the names of the fields. For
    ``fields``, ``replace`` and patterns ``dataclass`` itself describes the class, once somebody asks.
    """
    if cls is None:
        return lambda named: _light(named, frozen=frozen, eq=eq)
    return _light(cls, frozen=frozen, eq=eq)


def _light(cls: type[T], *, frozen: bool, eq: bool) -> type[T]:
    own = [name for name, told in cls.__annotations__.items() if not str(told).startswith("ClassVar")]
    body = {name: value for name, value in cls.__dict__.items() if name not in {"__dict__", "__weakref__"}}
    body["__doc__"] = cls.__doc__ or cls.__name__  # or dataclass would look for a signature to put there
    defaults: dict[str, Any] = {}
    for base in reversed(cls.__mro__[1:]):
        defaults |= base.__dict__.get(_DEFAULTS, {})
    slots = tuple(name for name in own if name not in defaults)
    defaults |= {name: body.get(name, MISSING) for name in own}
    inside = {name: value for name, value in body.items() if name not in own} | {
        "__slots__": slots,
        _DEFAULTS: defaults,
    }
    written = {
        name for name, value in inside.items() if value is not None
    }  # an equality of its own alone leaves no hash
    methods = {"__repr__"} | ({"__eq__"} if eq else set()) | ({"__hash__"} if eq and frozen else set())
    methods = methods - written | {"__init__"}
    kind: Any = type(cls)

    def made_now(name: str) -> Any:
        for method, value in _methods(made, defaults).items():
            if method in methods:
                setattr(made, method, value)  # threads that ask together make the same, each its own
        return made.__dict__[name]

    def described_now(name: str) -> Any:
        described = dataclass(repr=False, eq=False)(kind(cls.__name__, cls.__bases__, dict(body)))
        for part in _ABOUT:
            setattr(made, part, described.__dict__[part])
        return made.__dict__[name]

    later = {name: _called_first(name, made_now) for name in methods}
    later |= {name: _AskedFirst(name, described_now) for name in _ABOUT}
    made: type[T] = kind(cls.__name__, cls.__bases__, inside | later)
    made.__qualname__ = cls.__qualname__
    return made


def _called_first(name: str, made_now: Callable[[str], Any]) -> Any:
    """Stands in for a method until it is called."""

    def method(*args: Any, **kwargs: Any) -> Any:
        return made_now(name)(*args, **kwargs)

    return method


class _AskedFirst:
    """Stands in for what a class has beside its methods until it is asked for."""

    def __init__(self, name: str, described_now: Callable[[str], Any]) -> None:
        self._name, self._described_now = name, described_now

    def __get__(self, value: object, owner: type) -> Any:
        return self._described_now(self._name)


def _methods(made: type, defaults: Mapping[str, Any]) -> Mapping[str, Any]:
    """The methods of a class, by name."""
    options = {name: one if isinstance(one, Field) else field(default=one) for name, one in defaults.items()}
    compared = _values([name for name, one in options.items() if one.compare])
    hashed = _values([name for name, one in options.items() if (one.compare if one.hash is None else one.hash)])
    shown = [name for name, one in options.items() if one.repr]

    def equal(self: object, other: object) -> bool:
        return compared(self) == compared(other) if other.__class__ is self.__class__ else NotImplemented

    def hash_of(self: object) -> int:
        return hash(hashed(self))

    def text(self: object) -> str:
        return f"{type(self).__qualname__}({', '.join(f'{name}={getattr(self, name)!r}' for name in shown)})"

    return {"__init__": _init(made, options), "__eq__": equal, "__hash__": hash_of, "__repr__": text}


def _init(made: type, options: Mapping[str, Field[Any]]) -> Any:
    """What sets every field. It is compiled: a reading is made for every message."""
    told: dict[str, Any] = {"_absent": MISSING}
    asked, lines = ["self"], []
    for name, one in options.items():
        default = f"_default_{name}"
        if one.default_factory is not MISSING:
            told[default] = one.default_factory
            asked += [f"{name}=_absent"] if one.init else []
            lines.append(
                f"self.{name} = " + (f"{default}() if {name} is _absent else {name}" if one.init else f"{default}()")
            )
        elif one.default is not MISSING:
            told[default] = one.default
            asked += [f"{name}={default}"] if one.init else []
            lines.append(f"self.{name} = {name if one.init else default}")
        elif one.init:
            asked.append(name)
            lines.append(f"self.{name} = {name}")
    if hasattr(made, "__post_init__"):
        lines.append("self.__post_init__()")
    exec(f"def __init__({', '.join(asked)}):\n " + "\n ".join(lines or ["pass"]), told)  # noqa: S102  (names of our own)
    told["__init__"].__qualname__ = f"{made.__qualname__}.__init__"
    return told["__init__"]


def _values(names: Sequence[str]) -> Callable[[Any], Any]:
    """What gives the fields of an object as one tuple."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda value: tuple(getattr(value, name) for name in names)
