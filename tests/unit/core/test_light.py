"""Values: as a frozen dataclass has it, but for what it costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

import pytest

from monitor.core.light import light


@light
class Tin:
    id: str
    grams: float = 250.0
    notes: dict[str, Any] = field(default_factory=dict, hash=False)
    seal: str = field(default="", repr=False)
    opened: int = field(default=0, compare=False)


@light
class Half(Tin):
    of: str = ""


@light
class One:
    celsius: float


@light
class Nothing:
    pass


@light
class Said:
    text: str

    def __repr__(self) -> str:
        return f"<{self.text}>"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Said) and self.text.lower() == other.text.lower()

    def __hash__(self) -> int:
        return hash(self.text.lower())


@dataclass(frozen=True, slots=True)
class One2:
    celsius: float


def test_values_are_equal_by_their_fields() -> None:
    """Those that count, and only of the same class; equal ones have the same hash."""
    assert Tin("a", 10.0, {"b": 1}, opened=1) == Tin("a", 10.0, {"b": 1}, opened=2)
    assert hash(Tin("a", 10.0, {"b": 1}, opened=1)) == hash(Tin("a", 10.0, {"b": 1}, opened=2))
    assert Tin("a") != Tin("b")
    assert Tin("a") != Tin("a", notes={"b": 1})
    assert Tin("a") != Half("a")
    others: list[object] = [One2(25.0), 25.0]
    assert One(25.0) not in others
    assert Nothing() == Nothing()
    assert {One(25.0), One(25.0), One(26.0)} == {One(25.0), One(26.0)}
    assert hash(One(25.0)) == hash(One2(25.0))


def test_what_is_not_a_number_is_itself() -> None:
    """As in any tuple."""
    unknown = float("nan")
    assert One(unknown) == One(unknown)


def test_a_value_tells_its_fields_but_the_secret_ones() -> None:
    """A token in a log would be in every copy of the log."""
    assert repr(Tin("a", 10.0, seal="secret")) == "Tin(id='a', grams=10.0, notes={}, opened=0)"
    assert repr(Half("a", of="b")) == "Half(id='a', grams=250.0, notes={}, opened=0, of='b')"
    assert repr(Nothing()) == "Nothing()"


def test_what_a_class_says_itself_stays() -> None:
    """Its own text, equality and hash are left alone."""
    assert repr(Said("Ash")) == "<Ash>"
    assert Said("Ash") == Said("ash")
    assert hash(Said("Ash")) == hash(Said("ash"))


def test_it_is_a_dataclass_with_slots() -> None:
    """What works on dataclasses works on it, and no other field can be set."""
    tin = replace(Tin("a"), grams=5.0)
    assert asdict(tin) == {"id": "a", "grams": 5.0, "notes": {}, "seal": "", "opened": 0}
    with pytest.raises(AttributeError):
        tin.colour = "blue"  # type: ignore[attr-defined]
    with pytest.raises(TypeError):
        Tin()  # type: ignore[call-arg]
    match tin:
        case Tin(name, grams):
            assert (name, grams) == ("a", 5.0)
