"""The keeper: looks when awake, writes some of it down in words of his own, counts now and then, harvests in the end."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from simulator.population import ranges
from simulator.population.heat import ZONE
from simulator.population.priors import draw, shifted

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np

    from simulator.population.tins import Keeper

LAST_LOOK_H = 119.0  # whatever it is then, it ends
SHORTEST_H, LONGEST_H = 2.0, 12.0
NOTHING = 0.0005  # share out below which even a lamp shows nothing
EVENING = 18.0  # local hour from which a harvest may be put off
HOPELESS = 0.1  # share out, late, below which a batch is thrown away
WORTH_IT = 0.3  # share out for which the last look is still a harvest


@dataclass(frozen=True, slots=True)
class Sight:
    """What is true when he looks: shares of the hatchable cysts out and dead, and hatchable of all."""

    out: float
    dead: float
    hatchable: float


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the log, ``minute`` since the start."""

    minute: int
    event: str
    fields: dict[str, Any]


def looks(keeper: Keeper, start_s: int, chance: np.random.Generator) -> list[int]:
    """Minutes since the start at which the keeper will look, if the batch lasts so long."""
    minutes: list[int] = []
    at_h = 0.0
    while True:
        gap = keeper.gap_h * float(chance.lognormal(0.0, 0.25))
        at_h += min(max(gap, SHORTEST_H), LONGEST_H)
        at_h = _awake(start_s, at_h, late_h=float(chance.uniform(0.0, 1.2)))
        if at_h > LAST_LOOK_H:
            break
        minutes.append(round(at_h * 60))
    return minutes


def local_hour(start_s: int, at_h: float) -> float:
    """Local hour of the day so long after the start."""
    local = _local(start_s, at_h)
    return local.hour + local.minute / 60 + local.second / 3600


def _local(start_s: int, at_h: float) -> datetime:
    return (datetime.fromtimestamp(start_s, UTC) + timedelta(hours=at_h)).astimezone(ZONE)


def _awake(start_s: int, at_h: float, late_h: float) -> float:
    """The same time, or the next morning when it falls into the night."""
    wakes, sleeps = ranges.AWAKE
    local = _local(start_s, at_h)
    hour = local.hour + local.minute / 60 + local.second / 3600
    if wakes <= hour < sleeps:
        return at_h
    morning = local.replace(hour=int(wakes), minute=0, second=0, microsecond=0)
    if hour >= sleeps:
        morning += timedelta(days=1)  # local: the same wall clock also when it is set meanwhile
    return (morning.astimezone(UTC).timestamp() - start_s) / 3600 + late_h


def log(
    keeper: Keeper, start_s: int, times: list[int], sight: Callable[[int], Sight], chance: np.random.Generator
) -> list[Entry]:
    """What the keeper writes after the start; the last entry ends the batch."""
    impatient = chance.random() < ranges.TOO_EARLY
    gives_up_h = draw(ranges.GIVES_UP_H, chance)
    entries: list[Entry] = []
    put_off = False
    for minute in times:
        seen = sight(minute)
        living = max(seen.out - seen.dead, 0.0)
        looks_like = _by_eye(living, keeper.eye_logit_sd, chance)
        if seen.dead > living:
            return [*entries, Entry(minute, "discard", {})]
        ripe = put_off or looks_like >= (keeper.most_at if impatient else keeper.harvest_at)
        evening = local_hour(start_s, minute / 60) >= EVENING
        if ripe and not put_off and evening and minute != times[-1] and chance.random() < ranges.NEXT_MORNING:
            put_off = True
        elif ripe or (minute == times[-1] and looks_like >= WORTH_IT):
            counted = chance.random() < ranges.HARVEST_COUNTED
            fields = {"hatched_fraction": _count(keeper, seen, chance)} if counted else {}
            return [*entries, Entry(minute, "harvest", fields)]
        elif minute == times[-1] or (minute > gives_up_h * 60 and looks_like < HOPELESS):
            return [*entries, Entry(minute, "discard", {})]
        entries.extend(_note(keeper, minute, seen, looks_like, chance))
    return entries


def _note(keeper: Keeper, minute: int, seen: Sight, looks_like: float, chance: np.random.Generator) -> list[Entry]:
    counts = chance.random() < keeper.counts and looks_like >= keeper.first_at
    if chance.random() >= keeper.writes and not counts:
        return []
    fields: dict[str, Any] = {"what": _word(keeper, looks_like)}
    if counts:
        fields["fraction"] = _count(keeper, seen, chance)
    return [Entry(minute, "seen", fields)]


def _word(keeper: Keeper, looks_like: float) -> str:
    if looks_like >= keeper.most_at:
        return "most"
    if looks_like >= keeper.some_at:
        return "some"
    return "first" if looks_like >= keeper.first_at else "none"


def _by_eye(share: float, logit_sd: float, chance: np.random.Generator) -> float:
    looseness = logit_sd * float(chance.standard_normal())
    return 0.0 if share < NOTHING else shifted(share, looseness)


def _count(keeper: Keeper, seen: Sight, chance: np.random.Generator) -> float:
    """Share of all cysts that have hatched, from one drop that is never quite like the whole vessel."""
    drop = shifted(seen.out * seen.hatchable, keeper.mixing_logit_sd * float(chance.standard_normal()))
    return round(int(chance.binomial(keeper.counted, drop)) / keeper.counted, 3)
