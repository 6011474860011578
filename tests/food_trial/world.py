"""What is true of room, water, tins and batches. Nobody sees it but the judge, and the keeper where he looks.

The same seed gives the same world to every way of feeding: weather, tins, what befalls a vessel and when, and the luck of
whatever is started in a vessel on a day.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.model import DAY, HOUR, MINUTE, Ms
from simulator.population.cohort import Classes, progress, share_out, steps
from simulator.population.outdoors import hourly_c, outdoor_c
from simulator.population.priors import draw, shifted
from simulator.population.ranges import CYSTS_LOG_ERROR, LABEL_LOGIT, PROBE_BIAS_C
from simulator.population.tins import draw_tin
from simulator.world.cysts import salt_factor
from simulator.world.numbers import stream
from simulator.world.vessel import time_constant_h
from tests.food_trial.scenario import DAYS, LEAD_DAYS, RUN_IN, SALINITY_G_L, SET_C, START, TINS, VESSELS, Vessel

if TYPE_CHECKING:
    from simulator.population.tins import Tin as TrueTin
    from simulator.world.numbers import Floats

GRAIN: Final[Ms] = 10 * MINUTE
GRAIN_H: Final = GRAIN / HOUR
BEGIN: Final[Ms] = START - LEAD_DAYS * DAY
LONGEST_H: Final = 120.0  # what has not hatched by then never does
STATION: Final = "LGA"
ROOM_MEAN_C, ROOM_SHARE, ROOM_LAG_H = 22.5, 0.30, 2.0  # a tempered spare room, see ``simulator.population.ranges``

# A tin that got damp loses most of what could hatch within days; assumption.
SPOILT: Final = 0.25
SPOILS_IN_DAYS: Final = 4.0

# Something befalls one batch of twenty: a pump that stops at night, a jug knocked over, soap in it; assumption. It befalls
# the vessel at its own hour, and what is in it then is dead.
FAILS_A_DAY: Final = 0.05 / 1.7
SEEN: Final = 0.7  # of them are found at the next look; the others only when nothing can be harvested


class Air:
    """Temperatures of the room and of the water of each vessel, every ten minutes from the lead on."""

    def __init__(self, days: int) -> None:
        count = (LEAD_DAYS + days + 8) * DAY // GRAIN
        times = BEGIN + GRAIN * np.arange(count)
        outside = outdoor_c(STATION, times / 1000)
        goal = ROOM_MEAN_C + ROOM_SHARE * (outside - float(hourly_c(STATION).mean()))
        self.room_c = _lag(goal, ROOM_LAG_H)
        self.water_c = {vessel.id: self._water(vessel) for vessel in VESSELS}

    def _water(self, vessel: Vessel) -> Floats:
        lifted = np.maximum(np.minimum(self.room_c + vessel.lift_c, SET_C), self.room_c)
        return _lag(lifted, float(time_constant_h(np.array(vessel.litres))))


def row(time: Ms) -> int:
    """Where an instant stands among the temperatures."""
    return (time - BEGIN) // GRAIN


def _lag(goal: Floats, lag_h: float) -> Floats:
    keep = exp(-GRAIN_H / lag_h)
    value, values = float(goal[0]), []
    for target in goal.tolist():
        value = keep * value + (1 - keep) * target
        values.append(value)
    return np.array(values)


@dataclass(slots=True)
class Batch:
    """One batch as it is: ``out`` is the share of its hatchable cysts that swims at each grain since its start."""

    id: str
    vessel: str
    tin: str
    start: Ms
    cysts: float
    hatchable: float
    out: Floats
    spoilt: Ms | None  # when it dies, if it does
    seen: bool  # whether that can be seen by looking

    def share(self, now: Ms) -> float:
        """Of its hatchable cysts, so many swim at ``now``."""
        if self.spoilt is not None and now >= self.spoilt:
            return 0.0
        return float(np.interp((now - self.start) / GRAIN, np.arange(len(self.out)), self.out))

    def nauplii(self, now: Ms) -> float:
        """So many swim in the vessel."""
        return self.cysts * self.hatchable * self.share(now)

    def shows_spoilt(self, now: Ms) -> bool:
        """Whether a look tells that nothing will come of it."""
        return self.seen and self.spoilt is not None and now >= self.spoilt


class World:
    """Vessels, tins and what comes of batches."""

    def __init__(self, seed: int, days: int = DAYS + RUN_IN) -> None:
        self.seed = seed
        self.air = Air(days)
        self._classes = Classes(24)
        self._tins: dict[str, TrueTin] = {tin.id: draw_tin(seed, tin.id) for tin in TINS}
        self._rates = {name: self._classes.rates(tin) for name, tin in self._tins.items()}
        self._hatchable: dict[str, float] = {}
        self._cysts_per_g: dict[str, float] = {}
        for tin in TINS:
            chance = stream(seed, "contents", tin.id)
            self._hatchable[tin.id] = shifted(tin.label_percent / 100, -draw(LABEL_LOGIT, chance))
            self._cysts_per_g[tin.id] = tin.cysts_per_g * float(np.exp(0.06 * chance.standard_normal()))
        self._mishaps = {vessel.id: self._draw_mishaps(vessel.id, days) for vessel in VESSELS}
        names = [f"{vessel.id}-water" for vessel in VESSELS] + ["room"]
        self.bias_c = {name: draw(PROBE_BIAS_C, stream(seed, "probe", name)) for name in names}

    def _draw_mishaps(self, vessel: str, days: int) -> list[tuple[Ms, bool]]:
        chance = stream(self.seed, "mishaps", vessel)
        found: list[tuple[Ms, bool]] = []
        time = float(START)
        while time < START + days * DAY:
            time += float(chance.exponential(1 / FAILS_A_DAY)) * DAY
            found.append((round(time), bool(chance.random() < SEEN)))
        return found

    def hatchable(self, tin: str, now: Ms) -> float:
        """Of the cysts of a tin, so many can hatch if they are started at ``now``."""
        spoils = next(one.spoils for one in TINS if one.id == tin)
        share = self._hatchable[tin]
        if spoils is None or now < START + spoils * DAY:
            return share
        gone = min((now - START - spoils * DAY) / DAY / SPOILS_IN_DAYS, 1.0)
        return share * (1 - (1 - SPOILT) * gone)

    def start(self, name: str, vessel: str, tin: str, grams: float, now: Ms) -> Batch:
        """Begin a batch of so many grams as the keeper weighed them."""
        true = self._tins[tin]
        luck = stream(self.seed, "luck", vessel, (now - START) // DAY + 1000)
        slowness = float(np.log(true.median_h)) + true.batch_log_sd * float(luck.standard_normal())
        hatchable = shifted(self.hatchable(tin, now), true.hatchable_logit_sd * float(luck.standard_normal()))
        weighed = float(np.exp(draw(CYSTS_LOG_ERROR, luck)))
        first, count = row(now), round(LONGEST_H / GRAIN_H)
        water = self.air.water_c[vessel][first : first + count]
        pace = np.full(len(water), 1.0 / salt_factor(SALINITY_G_L))
        done = progress(steps(self._rates[tin], self._classes.soak_h, water, pace, GRAIN_H))
        mishap = next(((time, seen) for time, seen in self._mishaps[vessel] if time > now), None)
        return Batch(
            id=name,
            vessel=vessel,
            tin=tin,
            start=now,
            cysts=grams * weighed * self._cysts_per_g[tin],
            hatchable=hatchable,
            out=share_out(done, slowness, true.shares),
            spoilt=None if mishap is None else mishap[0],
            seen=mishap is not None and mishap[1],
        )
