"""Quickly made data classes: in all that counts as the standard library makes them."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from dataclasses import FrozenInstanceError, field, replace
from typing import Any

import pytest

from monitor.core.value import _dataclass, dataclass

NAN = float("nan")


class Plain:
    a: int
    b: str = "b"
    c: list[int] = field(default_factory=list, hash=False)
    d: float | None = field(default=None, repr=False, compare=False)

    def twice(self) -> int:
        return 2 * self.a


class Checked:
    """It looks at what it was given."""

    a: float

    def __post_init__(self) -> None:
        if self.a < 0:
            raise ValueError("below 0")


class Worded:
    a: int
    b: int = 0

    def __repr__(self) -> str:
        return "hidden"


class Empty:
    pass


def both(cls: type, **how: bool) -> tuple[Any, Any]:
    """The same class as the library makes it, and as we do."""
    copies = [type(cls.__name__, (), dict(vars(cls))) for _ in range(2)]
    return dataclasses.dataclass(slots=True, **how)(copies[0]), _dataclass(slots=True, **how)(copies[1])


CASES = [
    (Plain, [(1,), (1, "b"), (1, "x"), (1, "b", [1]), (1, "b", [], 3.0)]),
    (Checked, [(1.0,), (2.0,), (NAN,)]),
    (Worded, [(1,), (1, 0), (1, 2)]),
    (Empty, [()]),
]


@pytest.mark.parametrize(("cls", "given"), CASES, ids=lambda one: getattr(one, "__name__", ""))
@pytest.mark.parametrize("how", [{"frozen": True}, {"frozen": False}, {"frozen": True, "eq": False}])
def test_values_are_shown_compared_and_counted_alike(cls: type, given: list[Any], how: dict[str, bool]) -> None:
    """What is equal, what may be a key, and how it is shown does not depend on who made the class."""
    theirs, ours = both(cls, **how)
    makes = [(theirs(*values), ours(*values)) for values in given]
    for their, our in makes:
        assert repr(our) == repr(their).replace(theirs.__qualname__, ours.__qualname__)
        assert dataclasses.asdict(our) == dataclasses.asdict(their) or cls is Checked
        for its, other in makes:
            assert (our == other) == (their == its)
        assert our != their
        if how.get("eq", True) and how["frozen"]:
            assert hash(our) == hash(their)
        assert (ours.__hash__ is None) == (theirs.__hash__ is None)
        assert (ours.__hash__ is object.__hash__) == (theirs.__hash__ is object.__hash__)
    assert ours.__match_args__ == theirs.__match_args__
    assert ours.__slots__ == theirs.__slots__


def test_what_is_made_by_default_is_made_for_each() -> None:
    """Two values share no list, and a field may be given by its name."""
    _, ours = both(Plain, frozen=True)
    one, other = ours(a=1), ours(1)
    assert (one, one.c is other.c, one.twice()) == (other, False, 2)
    assert replace(one, b="x", d=2.0) == ours(1, "x")
    for wrong in ({}, {"a": 1, "e": 2}):
        with pytest.raises(TypeError):
            ours(**wrong)


def test_what_is_frozen_refuses_and_what_it_checks_is_checked() -> None:
    """Nobody changes a value, and none is made that its class refuses."""
    one = both(Plain, frozen=True)[1](1)
    with pytest.raises(FrozenInstanceError):
        one.a = 2
    with pytest.raises(FrozenInstanceError):
        del one.a
    with pytest.raises(FrozenInstanceError):
        one.e = 2
    assert one.a == 1
    with pytest.raises(ValueError, match="below 0"):
        both(Checked, frozen=True)[1](-1.0)


@dataclass(frozen=True, slots=True)
class Kept:
    a: int
    b: str = "b"


@dataclass(frozen=True, slots=True)
class Longer(Kept):
    c: tuple[int, ...] = ()


@pytest.mark.parametrize("one", [Kept(1), Longer(1, "x", (1, 2))])
def test_a_value_is_copied_and_kept_whole(one: Kept) -> None:
    """Copies, and what was written down and read again, are equal to it and of its kind."""
    for again in (copy.copy(one), copy.deepcopy(one), pickle.loads(pickle.dumps(one))):  # noqa: S301  (just made)
        assert again == one
        assert type(again) is type(one)
    assert Longer(1) != Kept(1)


def test_what_is_not_known_here_is_left_to_the_library() -> None:
    """An order, and a class without slots, are as the library makes them; what neither makes is told at once."""
    ordered = _dataclass(frozen=True, slots=True, order=True)(type("Rank", (), {"__annotations__": {"a": "int"}}))
    assert sorted([ordered(2), ordered(1)]) == [ordered(1), ordered(2)]
    loose = _dataclass(frozen=True)(type("Loose", (), {"__annotations__": {"a": "int"}}))
    assert vars(loose(1)) == {"a": 1}
    with pytest.raises(TypeError, match="no way to give another"):
        _dataclass(frozen=True, slots=True)(
            type("Set", (), {"__annotations__": {"a": "int"}, "a": field(init=False, default=1)})
        )
