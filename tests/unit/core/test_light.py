"""Values: as a frozen dataclass has it, but for what it costs."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field, fields, is_dataclass, replace
from importlib import import_module
from pkgutil import iter_modules
from threading import Barrier
from typing import Any, ClassVar

import pytest

import monitor.core
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


@light(frozen=False)
class Running:
    """It is changed as it goes."""

    KINDS: ClassVar[tuple[str, ...]] = ("a", "b")
    turns: list[int] = field(default_factory=list)
    left: int = 3

    def __post_init__(self) -> None:
        self.turns.append(self.left)


@light(eq=False)
class Asked:
    what: str


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


def test_what_may_change_has_no_hash() -> None:
    """And is equal by its fields; each has its own of what is made for it."""
    one, other = Running(), Running()
    assert one == other
    one.left = 2
    one.turns.append(2)
    assert one != other
    assert (one.turns, other.turns, Running.KINDS) == ([3, 2], [3], ("a", "b"))
    with pytest.raises(TypeError):
        hash(one)


def test_what_equals_itself_alone() -> None:
    """As two questions in the same words are two."""
    one, other = Asked("how many"), Asked("how many")
    assert one != other
    assert len({one, other, one}) == 2
    assert repr(one) == "Asked(what='how many')"


def test_a_class_is_whole_whatever_is_asked_of_it_first() -> None:
    """The first need not be a call: an object may come out of a file, and a class may be looked at."""

    def young() -> Any:
        @light
        class Cup(One):
            holes: list[str] = field(default_factory=list)
            of: str = "glass"

        return Cup

    def given(cup: type) -> Any:
        """Filled without a call, as pickle does."""
        empty: Any = object.__new__(cup)
        for name, value in {"celsius": 20.0, "holes": ["a"], "of": "tin"}.items():
            setattr(empty, name, value)
        return empty

    assert [one.name for one in fields(young())] == ["celsius", "holes", "of"]
    assert is_dataclass(young())
    assert young().__match_args__ == ("celsius", "holes", "of")
    assert repr(given(young())).endswith("Cup(celsius=20.0, holes=['a'], of='tin')")
    cup = young()
    assert given(cup) == given(cup)
    assert given(cup) == cup(20.0, ["a"], "tin")
    cup = young()
    assert replace(given(cup), of="clay").of == "clay"
    with pytest.raises(TypeError, match="unhashable"):
        hash(given(young()))


def test_it_is_made_as_a_dataclass_is() -> None:
    """Whatever a field says of itself: the same arguments in the same order, and the same complaint without them."""

    class Tank:
        litres: float
        taps: list[str] = field(default_factory=list)
        name: str = field(default="", kw_only=False)
        marks: dict[str, int] = field(init=False, default_factory=dict)
        state: str = field(init=False, default="dry")
        full: bool = field(init=False)

        def __post_init__(self) -> None:
            self.full = self.litres > 100

    told: Any = dataclass(slots=True)(type("Tank", (), dict(Tank.__dict__)))
    ours: Any = light(frozen=False)(type("Tank", (), dict(Tank.__dict__)))
    for given in ((200.0,), (20.0, ["a"]), (20.0, ["a"], "ash")):
        assert asdict(ours(*given)) == asdict(told(*given))
    assert asdict(ours(litres=2.0, name="b")) == asdict(told(litres=2.0, name="b"))
    assert ours(1.0).taps is not ours(1.0).taps
    for wrong in ({}, {"litres": 1.0, "state": "wet"}, {"litre": 1.0}):
        with pytest.raises(TypeError) as its:
            told(**wrong)
        with pytest.raises(TypeError) as our:
            ours(**wrong)
        assert str(our.value) == str(its.value)


def test_threads_that_ask_together_make_the_same_class() -> None:
    """The page, the planner and the decisions begin at once."""
    for _ in range(50):

        @light
        class Cup:
            holes: list[str] = field(default_factory=list)
            of: str = "glass"

        together = Barrier(8)

        def make(cup: Any = Cup, together: Barrier = together) -> Any:
            together.wait()
            return cup(of="tin")

        with ThreadPoolExecutor(8) as threads:
            made = [one.result() for one in [threads.submit(make) for _ in range(8)]]
        assert all(one == made[0] for one in made)
        assert [(one.holes, one.of) for one in made] == [([], "tin")] * 8


def test_every_class_of_ours_can_be_made_whole() -> None:
    """What is wrong in one, as a field without a default behind one with, would only come to light where it is used."""
    modules = [import_module(found.name) for found in iter_modules(monitor.core.__path__, "monitor.core.")]
    found = {one for module in modules for one in vars(module).values() if isinstance(one, type) and is_dataclass(one)}
    assert len(found) > 100
    assert all(fields(one) is not None for one in found)
