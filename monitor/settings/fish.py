"""The table of fish: what their larvae eat and when, each figure with its source.

The table ships inside the package (``data/fish.toml``): it is part of the program, tested with it and the same for all. What a
keeper knows better is told with each brood.
"""

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from monitor.core.food import FishSpec, StrainSpec
from monitor.settings.errors import nearest
from monitor.settings.strains import strains

if TYPE_CHECKING:
    from collections.abc import Mapping

Basis = Literal["read", "restated", "memory", "practice"]
_CONFIG: Final = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
SAID: Final[dict[str, str]] = {"memory": "from memory", "practice": "common practice, no source"}


class Figure(BaseModel):
    """One number and how far it can be trusted. What was read or restated names where."""

    model_config = _CONFIG

    value: float
    basis: Basis
    source: str = ""

    @model_validator(mode="after")
    def _names_its_source(self) -> Self:
        if self.basis in SAID and not self.source:
            return self
        if not self.source:
            raise ValueError(f"a figure that was {self.basis} names its source")
        return self

    @property
    def told(self) -> str:
        """How well it is known, as a page says it."""
        word = SAID.get(self.basis)
        if word is not None:
            return f"{word}: {self.source}" if self.source else word
        return self.source if self.basis == "read" else f"{self.source}, restated"


class Fish(BaseModel):
    """One kind of fish. Units are those of ``FishSpec``; None where there is no limit."""

    model_config = _CONFIG

    id: str = Field(pattern=r"^[a-z0-9-]{1,40}$")
    name: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    note: str = ""
    ration: Figure
    growth_per_day: Figure
    meals: Figure | None = None
    largest_um: Figure | None = None
    largest_growth_um: Figure | None = None
    swim_up_days: Figure
    swim_up_c: Figure
    swim_up_base_c: Figure
    swim_up_log_sd: Figure
    finer_days: Figure
    wean_days: Figure

    def spec(self) -> FishSpec:
        """What the core is told of it."""
        return FishSpec(
            id=self.id,
            name=self.name,
            ration=self.ration.value,
            growth_per_day=self.growth_per_day.value,
            meals=None if self.meals is None else round(self.meals.value),
            largest_um=None if self.largest_um is None else self.largest_um.value,
            largest_growth_um=0.0 if self.largest_growth_um is None else self.largest_growth_um.value,
            swim_up_days=self.swim_up_days.value,
            swim_up_c=self.swim_up_c.value,
            swim_up_base_c=self.swim_up_base_c.value,
            swim_up_log_sd=self.swim_up_log_sd.value,
            finer_days=self.finer_days.value,
            wean_days=self.wean_days.value,
        )

    def figures(self) -> dict[str, Figure]:
        """All figures that there are, by name."""
        found = {name: getattr(self, name) for name in type(self).model_fields}
        return {name: one for name, one in found.items() if isinstance(one, Figure)}


class _Table(BaseModel):
    model_config = _CONFIG

    usual: dict[str, Figure]
    fish: tuple[Fish, ...] = Field(min_length=1)

    @model_validator(mode="before")
    @classmethod
    def _fill(cls, raw: dict[str, object]) -> dict[str, object]:
        """A figure that a fish does not have is the usual one."""
        usual, fish = raw.get("usual"), raw.get("fish")
        if not isinstance(usual, dict) or not isinstance(fish, list):
            return raw
        return {**raw, "fish": [{**usual, **one} for one in fish]}


@lru_cache(maxsize=1)
def fish() -> "Mapping[str, Fish]":
    """All fish by id, in the order of the table."""
    text = (Path(__file__).parent / "data/fish.toml").read_text(encoding="utf-8")
    return {one.id: one for one in _Table.model_validate(tomllib.loads(text)).fish}


def find_fish(text: str) -> Fish | None:
    """The fish that a text names: by id, name or another name, whatever the case."""
    word = " ".join(text.split()).casefold()
    for one in fish().values():
        if word in (one.id, one.name.casefold(), *one.also):
            return one
    return None


def nearest_fish(text: str) -> str:
    """'Did you mean ...?' for a fish that is not in the table, or nothing."""
    return nearest(
        text, [*fish(), *(one.name for one in fish().values()), *(w for one in fish().values() for w in one.also)]
    )


def fish_specs() -> dict[str, FishSpec]:
    """What the core is told of all fish."""
    return {name: one.spec() for name, one in fish().items()}


def strain_specs() -> dict[str, StrainSpec]:
    """What the core is told of all strains, under each word by which a keeper may have named one of a tin."""
    found: dict[str, StrainSpec] = {}
    for name, one in strains().items():
        spec = StrainSpec(id=name, length_um=one.length_um, cysts_per_g=one.cysts_per_g)
        short = [form for word in one.also for form in (word, word.upper())]
        found |= dict.fromkeys((name, one.name, one.name.casefold(), *short), spec)
    return found
