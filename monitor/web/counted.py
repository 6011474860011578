"""A count of drops as the API takes and answers it; page, command line and harvest use the same."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field

from monitor.core.counting import (
    CYSTS_PER_G,
    GENERAL,
    LARGEST,
    LARGEST_DROP_ML,
    MOST_DROPS,
    MOST_IN_A_DROP,
    SMALLEST,
    STRAIN_LOG_SD,
    STRONGEST_DILUTION,
    Amount,
    Count,
    Cysts,
    Drops,
    Sample,
    Uncountable,
    reckon,
)
from monitor.settings.strains import find
from monitor.web.bodies import Name
from monitor.web.count_words import notes, sentence
from monitor.web.problems import field_trouble

if TYPE_CHECKING:
    from collections.abc import Mapping

_MOST: Final = {"minimum": SMALLEST, "maximum": LARGEST}


def _told(text: str, **limits: Any) -> Any:
    """Limits that stand in the description; the core says them to a keeper in words."""
    return Field(description=text, json_schema_extra=limits)


class CountBody(BaseModel):
    """``drops``, or ``total`` and ``number``. What is left out is not reckoned: without ``litres`` all is for a mL only."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    drops: Annotated[
        list[int] | None,
        _told(f"Counted in each drop, at most {MOST_IN_A_DROP}.", minItems=1, maxItems=MOST_DROPS),
    ] = None
    total: Annotated[int | None, _told("Counted in all drops together.", minimum=0)] = None
    number: Annotated[int | None, _told("How many drops.", minimum=1, maximum=MOST_DROPS)] = None
    drop_ml: Annotated[float, _told("mL, of one drop.", minimum=SMALLEST, maximum=LARGEST_DROP_ML)]
    dilution: Annotated[
        float, _told("How many times the sample was thinned; 1 is not.", minimum=1, maximum=STRONGEST_DILUTION)
    ] = 1.0
    litres: Annotated[float | None, _told("L, in the vessel.", **_MOST)] = None
    cysts_g: Annotated[float | None, _told("g, that were put in.", **_MOST)] = None
    cysts_per_g: Annotated[
        float | None,
        _told("Cysts in a gram, hatching or not, where it is known.", minimum=CYSTS_PER_G[0], maximum=CYSTS_PER_G[1]),
    ] = None
    tin: Annotated[Name | None, Field(description="Whose strain says how many cysts are in a gram.")] = None

    def sample(self, bench: Mapping[str, Any]) -> Sample:
        """Raises Uncountable when it does not say what was counted."""
        return Sample(
            self._drops(),
            self.drop_ml,
            self.dilution,
            self.litres,
            self.cysts_g,
            cysts_of(bench, self.tin, self.cysts_per_g),
        )

    def _drops(self) -> Drops:
        if self.drops is not None and self.total is None and self.number is None:
            return Drops.of(tuple(self.drops))
        if self.drops is None and self.total is not None and self.number is not None:
            return Drops(self.total, self.number)
        raise Uncountable("drops", "Say what was counted in each drop (drops), or the total and the number of drops.")


def cysts_of(bench: Mapping[str, Any], tin: str | None, per_g: float | None) -> Cysts:
    """How many cysts are in a gram: as it is given, else as the tin or its strain has it, else of any cysts."""
    if per_g is not None:
        return Cysts(per_g, 0.0, "given", "as it was given")
    lot: Mapping[str, Any] = next((one for one in bench.get("lots") or () if tin and one["id"] == tin), {})
    if lot.get("cysts_per_g"):
        return Cysts(float(lot["cysts_per_g"]), 0.0, "tin", "as the configuration has it")
    strain = find(lot["strain"]) if lot.get("strain") else None
    if strain is None or strain.cysts_per_g is None:
        return GENERAL
    return Cysts(strain.cysts_per_g, STRAIN_LOG_SD, "strain", f"one lot of {strain.name}, from memory")


def reckoned(sample: Sample) -> Count:
    """Raises Trouble that names the field."""
    try:
        return reckon(sample)
    except Uncountable as problem:
        raise field_trouble(problem.field, str(problem)) from problem


def document(count: Count) -> dict[str, Any]:
    """Ready for JSON."""
    sample, scatter = count.sample, count.scatter
    cysts = sample.cysts
    return {
        "text": sentence(count),
        "notes": notes(count),
        "counted": sample.drops.total,
        "drops": sample.drops.number,
        "drop_ml": sample.drop_ml,
        "dilution": sample.dilution,
        "litres": sample.litres,
        "cysts_g": sample.cysts_g,
        "per_ml": _amount(count.per_ml, "/mL"),
        "in_all": _amount(count.in_all, "1"),
        "per_g": _amount(count.per_g, "/g"),
        "hatched": _amount(count.hatched, "1"),
        "cysts_per_g": {**_range(cysts.amount), "unit": "/g", "basis": cysts.basis, "source": cysts.source},
        "scatter": None
        if scatter is None
        else {"index": scatter.index, "chance": scatter.chance, "uneven": scatter.uneven},
        "more_drops": count.more_drops,
    }


def _amount(amount: Amount | None, unit: str) -> dict[str, Any] | None:
    return None if amount is None else {**_range(amount), "unit": unit}


def _range(amount: Amount) -> dict[str, Any]:
    return {"lo": amount.lo, "mid": amount.mid, "hi": amount.hi}
