"""The way with a plan: probes and log go through the monitor's own core, which is asked at set hours and after surprises.

The keeper starts what is due when it is due, as long as the newest plan still has it, and harvests what he is told is ready.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.engine import Engine
from monitor.core.food import FoodAhead, Outlook
from monitor.core.model import MINUTE, Ms, Sample, Tick
from monitor.core.pantry import gather
from monitor.core.plan import make_plan
from monitor.planner.check import checked
from monitor.planner.solve import solve
from monitor.planner.work import CHECK_SEED, CHECKED, SCENARIOS, SEED, problem_of
from simulator.world.numbers import stream
from tests.food_trial.cold import FRIDGE_C
from tests.food_trial.notes import Order
from tests.food_trial.scenario import STORES, VESSELS, clock, site
from tests.food_trial.world import BEGIN, GRAIN, row

if TYPE_CHECKING:
    from monitor.core.food import Plan
    from monitor.core.log import LogEntry
    from tests.food_trial.notes import Notes
    from tests.food_trial.world import World

PLANS_AT: Final = (7 * 60, 12 * 60 + 30, 19 * 60)
"""The daemon plans every hour; three times a day is what can be simulated in minutes."""
SOON: Final[Ms] = 15 * MINUTE
NOISE_C, STEP_C = 0.05, 0.0625


@dataclass(frozen=True, slots=True)
class Asked:
    """A chance for each meal, seconds for each plan, local minutes at which it is made anew, and days ahead.

    Nothing that is started now feeds anybody later than that many days from now: two to hatch, two or three in a jar.
    """

    chance: float = 0.98
    seconds: float = 1.5
    at: tuple[int, ...] = PLANS_AT
    days: int = 5


class Planned:
    """The monitor, and somebody who asks it what to start."""

    name = "the plan, followed"

    def __init__(self, world: World, asked: Asked) -> None:
        self.engine = Engine(site(asked.chance), BEGIN, rules=False)
        self.plans: list[Plan] = []
        self.unmet: list[int] = []  # meals of each plan that nothing was found for
        self._world, self._asked = world, asked
        self._heard: Ms = BEGIN
        self._noise = stream(world.seed, "noise")
        self._done: set[str] = set()

    def write(self, entry: LogEntry) -> None:
        """Into the log."""
        self.engine.step(entry)

    def hear(self, now: Ms) -> None:
        """What the probes have told until now."""
        air = self._world.air
        while self._heard < now:
            self._heard += GRAIN
            place = row(self._heard)
            for vessel in VESSELS:
                self._read(f"{vessel.id}-water", float(air.water_c[vessel.id][place]))
            self._read("room", float(air.room_c[place]))
            for store in STORES:
                self._read(f"{store}-c", FRIDGE_C)
        self.engine.step(Tick(now))

    def _read(self, probe: str, true_c: float) -> None:
        celsius = true_c + self._world.bias_c.get(probe, 0.0) + NOISE_C * float(self._noise.standard_normal())
        value = round(celsius / STEP_C) * STEP_C
        self.engine.step(self.engine.judge(probe, Sample(value=value, time=self._heard), self._heard))

    def ready(self, now: Ms) -> set[str]:
        """Vessels of which the phone has said that they are ready."""
        found = set()
        for batch in self.engine.state.open_batches():
            batch.estimate = self.engine.estimate(batch.start.batch, now)
            middle = batch.estimate.ready.mid
            if middle is not None and middle <= now:
                found.add(batch.start.vessel)
        return found

    def decide(self, now: Ms, notes: Notes) -> list[Order]:
        """What the newest plan has for now."""
        if clock(now)[1] in self._asked.at or notes.take_surprise() or not self.plans:
            self._plan(now)
        orders, free = [], set(notes.free)
        for start in self.plans[-1].starts:
            if start.start > now + SOON or start.id in self._done or start.vessel not in free:
                continue
            self._done.add(start.id)
            free.remove(start.vessel)
            orders.append(Order(start.vessel, start.lot, round(float(np.maximum(start.grams, 0.05)), 2), start.store))
        return orders

    def _plan(self, now: Ms) -> None:
        """As ``monitor.planner.work`` does it, without what only explains it: why a meal may be short, and what would help."""
        self.ready(now)
        pantry = replace(gather(self.engine.state, now), days=self._asked.days)
        problem = problem_of(pantry, SCENARIOS, SEED, self._asked.seconds)
        choice = checked(pantry, problem, solve(problem), CHECKED, CHECK_SEED)
        plan = make_plan(pantry, problem, replace(choice, unmet=()))
        nothing = Outlook(time=now, until=now)
        self.engine.step(FoodAhead(time=now, bare=nothing, outlook=nothing, plan=plan))
        self.plans.append(plan)
        self.unmet.append(len(choice.unmet))
