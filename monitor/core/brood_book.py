"""What the log tells of broods and other eaters, folded: a function of its entries alone."""

from __future__ import annotations

from dataclasses import field, replace
from math import log
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.broods import UNTOLD_C, swim_up
from monitor.core.food import BroodHeld, EaterHeld, FishSpec
from monitor.core.light import light
from monitor.core.log_food import Brood, BroodEnded, Counted, Eater
from monitor.core.model import DAY, HOUR, SLOT, Refused

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from monitor.core.history import SlotSeries
    from monitor.core.log_food import BroodEntry
    from monitor.core.model import Ms, SiteSpec
    from monitor.core.state import State

__all__ = ["BroodBook", "BroodKept", "check", "fish_of", "fold", "held", "refold", "swim_up"]

MOST: Final = 1_000_000.0
"""Larvae of one brood, or nauplii a day of one larva: more is a slip of the finger."""
GROWTH: Final = 0.19
"""Of the ration, a day: the middle of the 15 to 23 % that are published for larvae; the originals were not read."""
USUAL_C: Final = 25.0
USUAL_BASE_C: Final = 12.0
USUAL_LOG_SD: Final = 0.15
"""Of a fish that is in no table: a tank with tropical fish; common practice, no source."""
FASTEST_LOSS: Final = 0.7  # log rate a day: half of them; what is lost faster was one event and does not go on
LATELY: Final[Ms] = 2 * DAY  # a tank is expected to stay as it was on average for so long
STALE: Final[Ms] = DAY  # what a silent probe told last holds for so long
NEEDED: Final = ("ration", "swim_up_days", "wean_days")  # of a fish that is in no table
_BOUNDS: Final[dict[str, tuple[float, float]]] = {
    "ration": (1.0, 100_000.0),
    "growth_per_day": (0.0, 1.0),
    "meals": (1, 24),
    "largest_um": (100.0, 5000.0),
    "swim_up_days": (0.0, 400.0),
    "wean_days": (1.0, 200.0),
}


@light(frozen=False)
class BroodBook:
    entries: list[BroodEntry] = field(default_factory=list)  # in the order in which they were logged


@light
class BroodKept:
    """One brood as the log tells of it."""

    told: Brood  # as told last
    counts: tuple[Counted, ...] = ()  # by time
    ended: BroodEnded | None = None


def refold(entries: Iterable[BroodEntry]) -> BroodBook:
    """The book of these entries; their order does not matter as long as each was logged at its own time."""
    return BroodBook(sorted(entries, key=lambda entry: entry.logged))


def fold(book: BroodBook) -> tuple[dict[str, BroodKept], dict[str, Eater]]:
    """Broods and eaters by id, in the order in which they were first told; ended ones with them."""
    broods: dict[str, Brood] = {}
    counts: dict[str, list[Counted]] = {}
    ended: dict[str, BroodEnded] = {}
    eaters: dict[str, Eater] = {}
    for entry in sorted(book.entries, key=lambda entry: entry.logged):
        match entry:
            case Brood():
                broods[entry.brood] = entry
            case Counted():
                counts.setdefault(entry.brood, []).append(entry)
            case BroodEnded():
                ended[entry.brood] = entry
            case Eater():
                eaters[entry.eater] = entry
    kept = {
        name: BroodKept(told, tuple(sorted(counts.get(name, ()), key=lambda one: one.time)), ended.get(name))
        for name, told in broods.items()
    }
    return kept, eaters


# -- what may be written down


def check(state: State, entry: BroodEntry) -> None:
    """Raise ``Refused`` when an entry about broods or eaters cannot be taken; the message is for the keeper."""
    broods, eaters = fold(state.broods)
    if entry.time > entry.logged:
        raise Refused("that is still to come; say when it was")
    match entry:
        case Brood():
            _check_brood(state.site, broods.get(entry.brood), entry)
            if entry.brood in eaters:
                raise Refused(f"{entry.brood} is the name of an eater; give the brood another name")
        case Counted():
            kept = _open(broods, entry.brood)
            _within("larvae", entry.larvae, 0, MOST)
            if entry.time < kept.told.time:
                raise Refused(f"that is before {entry.brood} was spawned")
        case BroodEnded():
            kept = _open(broods, entry.brood)
            if entry.time < kept.told.time:
                raise Refused(f"that is before {entry.brood} was spawned")
        case Eater():
            if entry.eater in broods:
                raise Refused(f"{entry.eater} is the name of a brood; give the eater another name")
            _within("nauplii a day", entry.nauplii_per_day, 0, 1e8)
            _check_own(entry, ("meals", "largest_um"))


def _check_brood(site: SiteSpec, before: BroodKept | None, entry: Brood) -> None:
    if before is not None and before.ended is not None:
        raise Refused(f"brood {entry.brood} has ended; give a new one another name")
    _within("larvae", entry.larvae, 0, MOST)
    _check_own(entry, tuple(_BOUNDS))
    if entry.swam_up is not None and not entry.time <= entry.swam_up <= entry.logged:
        raise Refused("they can't have swum up before they were spawned, or in time to come; say when it was seen")
    tanks = sorted({probe.tank for probe in site.probes.values() if probe.tank})
    if entry.tank and entry.tank not in tanks:
        known = ", ".join(tanks) or 'none yet; a probe with measures = "tank" makes one'
        raise Refused(f"there is no tank {entry.tank}; tanks whose temperature is told: {known}")
    lacking = [name for name in NEEDED if getattr(entry, name) is None]
    if entry.fish not in site.fish and lacking:
        near = _nearest(entry.fish.casefold(), site.fish)
        meant = f", did you mean {near}?" if near else ";"
        own = ", ".join(lacking)
        raise Refused(f"there is no fish {entry.fish} in the table{meant} for one of your own say as well: {own}")


def _nearest(word: str, known: Iterable[str]) -> str:
    """The known word that shares most pairs of letters with this one; empty when that is less than half of them."""

    def pairs(text: str) -> set[str]:
        return {text[k : k + 2] for k in range(len(text) - 1)}

    def alike(other: str) -> float:
        return 2 * len(pairs(word) & pairs(other)) / max(len(pairs(word)) + len(pairs(other)), 1)

    best = max(known, key=alike, default="")
    return best if alike(best) >= 0.5 else ""


def _open(broods: dict[str, BroodKept], name: str) -> BroodKept:
    kept = broods.get(name)
    if kept is None:
        known = ", ".join(one for one, kept in broods.items() if kept.ended is None) or "none"
        raise Refused(f"there is no brood {name}; there are: {known}")
    if kept.ended is not None:
        raise Refused(f"brood {name} has already ended")
    return kept


def _within(what: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise Refused(f"{what}: {value:g} is out of bounds; allowed is {low:g} to {high:g}")


def _check_own(entry: Brood | Eater, names: tuple[str, ...]) -> None:
    for name in names:
        value = getattr(entry, name)
        if value is not None:
            _within(name, value, *_BOUNDS[name])


# -- what is there now


def held(state: State, now: Ms) -> tuple[tuple[BroodHeld, ...], tuple[EaterHeld, ...]]:
    """Broods that have not ended, and eaters that get something, as they are known at ``now``."""
    broods, eaters = fold(state.broods)
    return (
        tuple(brood_held(state, kept, now) for kept in broods.values() if kept.ended is None),
        tuple(
            EaterHeld(one.eater, one.nauplii_per_day, one.meals, one.largest_um)
            for one in eaters.values()
            if one.nauplii_per_day > 0
        ),
    )


def brood_held(state: State, kept: BroodKept, now: Ms) -> BroodHeld:
    """One brood with its own figures over those of its fish, and what its tank has told so far."""
    told = kept.told
    fish = fish_of(state.site, told)
    counted = kept.counts[-1] if kept.counts else None
    series = state.tanks.get(told.tank)
    found = BroodHeld(
        id=told.brood,
        fish=fish,
        spawned=told.time,
        larvae=told.larvae if counted is None else counted.larvae,
        counted=told.time if counted is None else counted.time,
        swam_up=told.swam_up,
        tank_c=None,
        loss_per_day=_loss(kept.counts),
        recounted=counted is not None,
    )
    return found if series is None else _in_tank(found, series, now)


def fish_of(site: SiteSpec, told: Brood) -> FishSpec:
    """The fish as this brood has it. One that is in no table has the usual figures where the keeper told none."""
    known = site.fish.get(told.fish)
    if known is None:
        known = FishSpec(
            id=told.fish,
            name=told.fish,
            ration=0.0,
            growth_per_day=GROWTH,
            meals=None,
            largest_um=None,
            largest_growth_um=0.0,
            swim_up_days=0.0,
            swim_up_c=USUAL_C,
            swim_up_base_c=USUAL_BASE_C,
            swim_up_log_sd=USUAL_LOG_SD,
            finer_days=0.0,
            wean_days=0.0,
        )
    own = {name: value for name in _BOUNDS if (value := getattr(told, name)) is not None}
    return replace(known, **own)


def _loss(counts: tuple[Counted, ...]) -> float:
    """The log rate a day at which they became fewer from the first count to the last; 0 until there are two."""
    if len(counts) < 2 or counts[0].larvae <= 0 or counts[-1].larvae <= 0:
        return 0.0
    days = (counts[-1].time - counts[0].time) / DAY
    if days < 0.5:
        return 0.0  # two counts of one morning tell how well they were counted
    return min(max(log(counts[0].larvae / counts[-1].larvae) / days, 0.0), FASTEST_LOSS)


def _in_tank(found: BroodHeld, series: SlotSeries, now: Ms) -> BroodHeld:
    """Degree-hours since spawning; hours of which nobody told count as those that were told, and are doubtful."""
    begin, end = found.spawned // SLOT, now // SLOT + 1
    slots, means = series.told(end - LATELY // SLOT, end)
    if not len(slots):
        return found  # it has been silent for days: nobody knows
    expected = float(means.mean())
    slots, means = series.told(begin, end)
    if begin >= end - 1 or not len(slots):
        return replace(found, tank_c=expected, tank_known=True)
    celsius = np.interp(np.arange(begin, end), slots, means)
    celsius[: slots[0] - begin] = means.mean()
    untold = int(slots[0]) - begin + _holes(np.append(slots, end))
    hours = np.full(end - begin, SLOT / HOUR)
    hours[0] -= (found.spawned - begin * SLOT) / HOUR
    hours[-1] -= (end * SLOT - now) / HOUR
    above = np.maximum(celsius - found.fish.swim_up_base_c, 0.0)
    return replace(
        found,
        tank_c=expected,
        tank_known=True,
        done_dh=float((above * hours).sum()),
        doubt_dh=UNTOLD_C * untold * SLOT / HOUR,
    )


def _holes(slots: NDArray[np.int64]) -> int:
    """Slots without a reading in gaps that are longer than a silence that changes nothing."""
    gaps = np.diff(slots) - 1
    return int(gaps[gaps > STALE // SLOT].sum())
