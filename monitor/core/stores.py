"""Nauplii kept cold: what a store holds, and how long that is good.

A store holds one content. What is added to an open vessel is mixed in, and the whole counts as old as its oldest part.
"""

from __future__ import annotations

from dataclasses import field
from math import inf, log
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from monitor.core.chill import UNCERTAIN, Bag, budget_mg, demand_mg_h
from monitor.core.history import KEEP_SLOTS, SlotSeries
from monitor.core.light import light
from monitor.core.model import DAY, HOUR, MINUTE, SLOT, Span
from monitor.core.oxygen import AIR_STONE_PER_H, CRITICAL_MG_L, Q10, saturation, surface_per_h
from monitor.core.quality import newest_of
from monitor.core.store_book import Content, fold, in_time
from monitor.core.window import BEST_ENERGY, energy_loss_per_h

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.core.hatch import Array
    from monitor.core.model import ColdStoreSpec, Ms, Reading
    from monitor.core.quality import ProbeState
    from monitor.core.store_book import AmountEntry

__all__ = ["ColdStore", "Content", "Life", "hours_in_the_open", "hours_kept", "minutes_of_air", "reckon"]

# How long they keep: below 10 C up to 24 h (Ghent course), 48 h at 2-4 C with over 90 % alive (KKT1, J. Biol. Res. 2005).
# Between the two the hours are laid along an exponential curve, above 10 C they shrink by the Q10 of what nauplii breathe,
# and other nauplii keep up to ``UNCERTAIN`` times as long or as short: assumptions.
KEPT_COLD_H: Final = 48.0
COLD_C: Final = 4.0
KEPT_COOL_H: Final = 24.0
COOL_C: Final = 10.0

UNKNOWN_C: Final = (10.0, 5.0, 2.0)
"""A store whose temperature nobody tells, warmest first: a refrigerator is within; common practice, no source."""
HARVESTED_C: Final = 25.0
COOLING_H: Final = (4.0, 2.0, 0.0)
"""Until half a litre from a warm vessel is as cold as the store, slowest first; common practice, no source."""
AHEAD_SLOTS: Final = round(max(COOLING_H) * HOUR / SLOT)  # by then it is as cold as it will be
SALINITY_G_L: Final = 25.0
FORGOTTEN: Final[Ms] = DAY  # this long past its last end nobody still keeps it; common practice, no source

Cause = Literal["age", "energy", "oxygen"]
ENDS: Final[dict[Cause, str]] = {
    "age": "kept longer at this temperature more and more of them die",
    "energy": "by then they have burnt much of their yolk",
    "oxygen": "by then they have used up their oxygen",
}
_GRID: Final = np.arange(-5.0, 41.0)  # C, at which rates are worked out; between them they are all but straight
_FACTORS: Final = (UNCERTAIN, 1.0, 1 / UNCERTAIN)  # of the three columns: soonest, likely, latest


@light
class Life:
    """Until when a content is good, ms: by whatever ends first, and by oxygen alone (``None``: it does not run out)."""

    until: Span
    cause: Cause
    oxygen: Span


@light(frozen=False)
class ColdStore:
    """One store and its probes."""

    spec: ColdStoreSpec
    probes: list[ProbeState] = field(default_factory=list)  # of its temperature
    air_probes: list[ProbeState] = field(default_factory=list)
    series: SlotSeries = field(default_factory=SlotSeries)
    entries: list[AmountEntry] = field(default_factory=list)  # what went in and out, in order of time
    before: Content | None = None  # what it held before the first of them
    _folded: tuple[Content | None] | None = None
    _life: tuple[int, Life] | None = None  # of which slot

    @property
    def content(self) -> Content | None:
        """What it holds; ``None`` while it is empty."""
        if self._folded is None:
            self._folded = (fold(self.entries, self.before),)
        return self._folded[0]

    def newest_probe(self) -> ProbeState | None:
        return newest_of(self.probes)

    def newest(self) -> Reading | None:
        """The newest usable temperature of all its probes."""
        probe = self.newest_probe()
        return None if probe is None else probe.newest

    def newest_air(self) -> ProbeState | None:
        return newest_of(self.air_probes)

    def life(self, now: Ms) -> Life | None:
        """How long its content is good; reckoned once a slot and after each entry. ``None`` while it holds nothing."""
        if self.content is None:
            return None
        slot = now // SLOT
        if self._life is None or self._life[0] != slot:
            self._life = slot, reckon(self.content, self.series, now)
        return self._life[1]

    def forgotten(self, now: Ms) -> bool:
        """Whether its content is so far past its end that surely nobody keeps it, though nobody said so."""
        life = self.life(now)
        return life is not None and life.until.hi is not None and now > life.until.hi + FORGOTTEN

    def tell(self, entries: Iterable[AmountEntry]) -> None:
        """These are all that went in and out since it held ``before``."""
        self.entries = in_time(entries)
        self._folded = self._life = None

    def take(self, entry: AmountEntry) -> None:
        """One more, that ``check`` has let through."""
        self.tell([*self.entries, entry])


# -- how long it is good


def hours_kept(celsius: float) -> float:
    """Hours that nauplii keep at a temperature in C, by what is published. See ``KEPT_COLD_H``."""
    if celsius <= COLD_C:
        return KEPT_COLD_H
    if celsius <= COOL_C:
        return float(KEPT_COOL_H * (KEPT_COLD_H / KEPT_COOL_H) ** ((COOL_C - celsius) / (COOL_C - COLD_C)))
    return float(KEPT_COOL_H * Q10 ** ((COOL_C - celsius) / 10))


def hours_in_the_open(content: Content, celsius: float, factor: float, *, after_air: bool = False) -> float:
    """Hours until an open vessel without air is down to 2 mg/L; infinite where its still surface gives enough.

    Demand is ``factor`` times that of the working curve. It begins saturated, or where aeration had held it.
    """
    full = float(saturation(celsius, SALINITY_G_L))
    use = factor * demand_mg_h(content.nauplii, celsius) / content.litres
    begin = full - use / AIR_STONE_PER_H if after_air else full
    through = surface_per_h(content.litres)
    settles = full - use / through
    if settles >= CRITICAL_MG_L:
        return inf
    return log((begin - settles) / (CRITICAL_MG_L - settles)) / through if begin > CRITICAL_MG_L else 0.0


def _oxygen_per_h(content: Content, celsius: float, factor: float) -> float:
    """Share of its oxygen that a content uses in an hour."""
    if content.gas == "open":
        hours = inf if content.aerated else hours_in_the_open(content, celsius, factor)
        return 1 / max(hours, 1e-3)  # none at all is used up at once
    bag = Bag(content.nauplii, content.litres, content.gas_l, content.gas, SALINITY_G_L)
    return factor * demand_mg_h(content.nauplii, celsius) / budget_mg(bag, celsius)


def _age_per_h(_content: Content, celsius: float, factor: float) -> float:
    return factor / hours_kept(celsius)


def _energy_per_h(_content: Content, celsius: float, factor: float) -> float:
    """Share of what they may burn, until less than ``BEST_ENERGY`` is left, that they burn in an hour."""
    return factor * energy_loss_per_h(celsius) / (1 - BEST_ENERGY)


_RATES: Final[dict[Cause, Callable[[Content, float, float], float]]] = {
    "oxygen": _oxygen_per_h,
    "age": _age_per_h,
    "energy": _energy_per_h,
}


def reckon(content: Content, series: SlotSeries, now: Ms) -> Life:
    """How long a content is good if the store stays as it is now: by oxygen, by energy and by age."""
    begin = max(content.since // SLOT, now // SLOT + 1 - KEEP_SLOTS)
    end = max(now // SLOT, begin) + 1 + AHEAD_SLOTS
    edges = np.maximum(np.arange(begin, end + 1) * float(SLOT), content.since)
    told = series.filled(begin, end)
    spans = {cause: _end(cause, content, told, edges) for cause in _RATES}
    cause = min(_RATES, key=lambda name: inf if (mid := spans[name].mid) is None else mid)
    return Life(
        Span(*(_soonest(spans, name) for name in ("lo", "mid", "hi"))),
        cause,
        spans["oxygen"],
    )


def _soonest(spans: dict[Cause, Span], name: str) -> float | None:
    ends = [getattr(span, name) for span in spans.values()]
    return min((one for one in ends if one is not None), default=None)


def _end(cause: Cause, content: Content, told: Array, edges: Array) -> Span:
    """When the share that is used comes to one: in the past, or ahead at the present temperature.

    ``told`` (n,) are the temperatures, C or NaN, of the slots between ``edges`` (n + 1,), ms.
    """
    hours = np.diff(edges) / HOUR
    found: list[float | None] = []
    for column, factor in enumerate(_FACTORS):
        celsius = np.where(np.isnan(told), UNKNOWN_C[column], told)
        if cause == "oxygen":
            celsius = np.maximum(celsius, _still_warm(content, edges[1:], column))
        rates = np.interp(celsius, _GRID, [_RATES[cause](content, float(c), factor) for c in _GRID])
        used = np.concatenate([[0.0], np.cumsum(rates * hours)])
        if used[-1] >= 1:
            k = int(np.searchsorted(used, 1.0))
            found.append(float(np.interp(1.0, used[k - 1 : k + 1], edges[k - 1 : k + 1])))
            continue
        ahead = (1 - used[-1]) / rates[-1] if rates[-1] > 0 else inf
        found.append(None if ahead == inf else float(edges[-1] + ahead * HOUR))
    return Span(*found)


def _still_warm(content: Content, times: Array, column: int) -> Array:
    """What was harvested warm is not at once as cold as its store; C, falling evenly, far below zero when it is done."""
    cooling = COOLING_H[column]
    hours = np.maximum(times - content.newest, 0.0) / HOUR
    if not cooling:
        return np.full(len(times), -273.0)
    return np.where(hours < cooling, HARVESTED_C - (HARVESTED_C - COLD_C) * hours / cooling, -273.0)


def minutes_of_air(store: ColdStore, content: Content, now: Ms, last_air: Ms, first_none: Ms) -> Span:
    """Minutes of oxygen left in an open vessel whose aeration stopped between these two; ``None`` where it does not run out."""
    newest = store.newest()
    told = np.array([np.nan if newest is None else newest.value])
    stopped = (last_air, (last_air + first_none) // 2, first_none)
    left: list[float | None] = []
    for column, factor in enumerate(_FACTORS):
        known = UNKNOWN_C[column] if np.isnan(told[0]) else float(told[0])
        celsius = max(known, float(_still_warm(content, np.array([float(now)]), column)[0]))
        hours = hours_in_the_open(content, celsius, factor, after_air=True)
        left.append(None if hours == inf else max(hours * 60 - (now - stopped[column]) / MINUTE, 0.0))
    return Span(*left)
