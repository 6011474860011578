"""Alarms about water that is too hot: how far it is from the point of no return, and how fast it gets there.

Above about 33 C development stops, and hydrated cysts die above 40 C (FAO freshwater prawn manual T428 annex 4, restated);
sources disagree whether hours between the two do harm for good. That nauplii die from about 36 C on: an assumption.
"""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from monitor.core.alarms import Condition, over
from monitor.core.climate import slope
from monitor.core.eta import BEGUN
from monitor.core.model import HOUR, MINUTE, SLOT, Ms, Priority, Stage
from monitor.core.progress import DEADLY_C, DEADLY_SLOTS
from monitor.core.wording import clock

if TYPE_CHECKING:
    from monitor.core.model import Reading
    from monitor.core.state import Batch, State, VesselState

HOT: Final = "too-hot"
RULES: Final = (HOT,)
"""Of vessels."""
STOPS_C: Final = 33.0
NAUPLII_C: Final = 36.0  # an assumption
SWIMMERS_MIND_C: Final = (
    32.0  # animals in hotter water are at stake within hours, whatever limit was set; an assumption
)
RISE_SLOTS: Final = (
    6  # the rise is taken from the newest half hour: of a jug with a heater stuck on, long enough to see it
)
GOES_ON: Final = 3  # and these newest slots must show it still
RISING_C_H: Final = 0.5  # slower than this is no rise that ends today; common practice, no source
FORESEEN: Final = 12 * HOUR  # a straight line says nothing of later
NEAR: Final = 2 * HOUR
DEADLY: Final = DEADLY_SLOTS * SLOT
TODO: Final = "Switch the heater off at the wall, move it out of the sun, float a sealed bag of cool water in it."
LOST_TODO: Final = (
    "Switch the heater off at the wall. Throw the batch away and start another, after a look at what heated it."
)


class Heat(NamedTuple):
    """Where the water is on its way to the point of no return."""

    swim: bool  # nauplii may be swimming
    lost: bool  # the point is passed
    rise: float  # C per hour, 0 when it does not rise
    deadly_c: float
    point: Ms | None  # when it got there, or will at this rate; ``None`` while that is not in sight
    above: Ms  # for how long it has been beyond
    read: Ms  # when the water was read
    water_c: float

    def reaches(self, celsius: float) -> Ms | None:
        """When the water gets there at this rate; ``None`` when it does not within ``FORESEEN``, or is there."""
        if self.rise <= 0 or self.water_c >= celsius:
            return None
        after = (celsius - self.water_c) / self.rise * HOUR
        return self.read + int(after) if after <= FORESEEN else None


def too_hot(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Too hot for cysts or nauplii. Looked at with every reading."""
    name = vessel.spec.id
    alarm = f"{HOT}:{name}"
    water, batch = vessel.newest_water(), vessel.batch
    active = batch is not None and water is not None and water.value > vessel.spec.hot_above
    if not active and state.idle(alarm):
        return None
    if batch is None or water is None:
        return over(alarm, HOT, name, Priority.HIGH, 0, tell=False)
    heat = _heat(vessel, batch, water, now)
    urgent = active and _urgent(heat, now)
    known = urgent and heat.point is not None
    return Condition(
        id=alarm,
        rule=HOT,
        subject=name,
        priority=Priority.HIGH if urgent else Priority.MEDIUM,
        active=active,
        clear=water.value <= vessel.spec.hot_above - state.site.alarms.deadband_c,
        since=water.time if active else now,
        on_delay=state.site.alarms.on_delay,
        off_delay=state.site.alarms.off_delay,
        title=f"Too hot in {name}: {water.value:.1f} C",
        text=(
            f"The water is above its limit of {vessel.spec.hot_above:g} C. {_fate(heat)}{_rate(state, heat, now)}"
            if active
            else ""
        ),
        todo=LOST_TODO if heat.lost else TODO,
        deadline=heat.point if known else None,
        too_late=heat.point + DEADLY if known and heat.point is not None else None,
    )


def _heat(vessel: VesselState, batch: Batch, water: Reading, now: Ms) -> Heat:
    estimate = batch.estimate
    swim = estimate is not None and (estimate.hatched.hi or 0.0) > BEGUN
    lost = estimate is not None and estimate.stage is Stage.LOST
    limit = NAUPLII_C if swim else DEADLY_C
    begin = max(batch.start.time, now - HOUR) if swim else batch.start.time
    _, means = vessel.water.told(begin // SLOT, now // SLOT + 1)
    above = int((means > limit).sum()) * SLOT
    found = Heat(swim, lost, _rise(vessel, water), limit, None, above, water.time, water.value)
    there = water.time - above if water.value >= limit else found.reaches(limit)
    return found._replace(point=there)


def _rise(vessel: VesselState, water: Reading) -> float:
    newest = water.time // SLOT
    slots, means = vessel.water.told(newest - RISE_SLOTS, newest + 1)
    if len(slots) < 3:
        return 0.0
    pairs = [
        (means[k] - means[i]) / ((slots[k] - slots[i]) * SLOT / HOUR) for i, k in combinations(range(len(slots)), 2)
    ]
    rise = float(
        np.median(pairs)
    )  # water poured in, or a jug moved, is a step and no rise: it leaves most pairs as they were
    goes_on = slope(slots[-GOES_ON:], means[-GOES_ON:]) >= rise / 3
    return rise if rise >= RISING_C_H and goes_on else 0.0


def _urgent(heat: Heat, now: Ms) -> bool:
    if heat.lost:
        return False  # nobody can save it any more
    near = heat.point is not None and heat.point - now < NEAR
    return near or heat.water_c >= STOPS_C or (heat.swim and heat.water_c >= SWIMMERS_MIND_C)


def _fate(heat: Heat) -> str:
    """What this heat does, and whether it can be undone."""
    if heat.lost:
        return f"It was above {DEADLY_C:g} C for over {DEADLY // MINUTE} min: the batch is most likely dead."
    if heat.swim and heat.water_c >= heat.deadly_c:
        return f"Nauplii die above about {NAUPLII_C:g} C: act now."
    if heat.swim:
        return f"Nauplii bear it for now; above about {NAUPLII_C:g} C they die."
    if heat.water_c >= DEADLY_C:
        left = max(DEADLY - heat.above, 0) // MINUTE
        when = f"in about {left} min the batch is lost" if left else "the batch may be lost already"
        return f"Cysts die above {DEADLY_C:g} C: {when}."
    if heat.water_c >= STOPS_C:
        return (
            f"Development has about stopped. Cooled soon it most likely goes on, after hours in doubt; "
            f"above {DEADLY_C:g} C cysts die, nauplii earlier."
        )
    return f"Nothing is lost yet; above about {STOPS_C:g} C development stops, above {DEADLY_C:g} C cysts die, nauplii earlier."


def _rate(state: State, heat: Heat, now: Ms) -> str:
    zone = state.site.timezone
    limits = (heat.deadly_c,) if heat.swim else (STOPS_C, DEADLY_C)
    comes = [(limit, heat.reaches(limit)) for limit in limits]
    told = [f"{limit:g} C at about {clock(when, zone, now)}" for limit, when in comes if when is not None]
    if heat.lost or not told:
        return ""
    return f" It rises by {heat.rise:.1f} C an hour: at this rate {' and '.join(told)}."
