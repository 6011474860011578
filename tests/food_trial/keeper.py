"""The keeper: looks, harvests, chills, feeds and writes down, the same whoever tells what to start.

He sees by eye and counts drops, both with errors. What he writes goes into the log; what he does is done to the world.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np

from monitor.core.log import Chill, Discard, Emptied, Harvest, Seen, Sight, Start
from monitor.core.log_food import Brood, BroodEnded, Counted, Eater, Fed, Tin
from monitor.core.model import DAY, HOUR, MINUTE, Ms
from simulator.population.priors import shifted
from simulator.world.numbers import stream
from tests.food_trial.cold import Fridge
from tests.food_trial.fish import Tanks
from tests.food_trial.notes import BroodNote, Notes, Order, by_label
from tests.food_trial.scenario import (
    ADULTS,
    FEEDING,
    FULL,
    LOOKS,
    RINSED,
    SALINITY_G_L,
    SPAWNINGS,
    START,
    THERE,
    TINS,
    VESSELS,
    clock,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.log import LogEntry
    from tests.food_trial.fish import Hungry, TrueBrood
    from tests.food_trial.scenario import Spawning
    from tests.food_trial.world import Batch, World

STEP: Final[Ms] = 30 * MINUTE
EYE_LOGIT_SD: Final = 0.3  # assumptions, as in ``simulator.population.ranges``
COUNT_LOG_SD: Final = 0.10
FED_LOG_SD: Final = 0.08
COUNTED: Final = 100
RIPE: Final = 0.9  # of what will hatch is out, as he sees it
HALF_RIPE: Final = 0.4  # harvested early when a meal would be short
GIVES_UP_H: Final = {"ash": 64.0, "birch": 64.0, "cedar": 50.0, "elm": 50.0}  # when nothing is to be seen
COUNTS_EVERY: Final[Ms] = 7 * DAY
JAR_L: Final = 0.5


class Strategy(Protocol):
    """Somebody who tells what to start."""

    @property
    def name(self) -> str: ...

    def decide(self, now: Ms, notes: Notes) -> list[Order]:
        """What to start now; he is there."""


@dataclass(frozen=True, slots=True)
class MealFed:
    """One meal as the judge saw it."""

    time: Ms
    eater: str
    need: float
    got: float

    @property
    def short(self) -> bool:
        return self.got < FULL * self.need


@dataclass(slots=True)
class Ledger:
    """What the judge counts."""

    meals: list[MealFed] = field(default_factory=list)
    grams: dict[str, float] = field(default_factory=dict)
    batches: int = 0
    failed: int = 0
    harvested: float = 0.0
    bad_hours: int = 0


class Keeper:
    """One keeper in one world."""

    def __init__(
        self, world: World, write: Callable[[LogEntry], None], spawnings: tuple[Spawning, ...] = SPAWNINGS
    ) -> None:
        self.world, self._write = world, write
        self.fridge, self.tanks = Fridge(world.seed), Tanks(world.seed, spawnings)
        self.notes, self.ledger = Notes(free=[vessel.id for vessel in VESSELS]), Ledger()
        self.batches: dict[str, Batch] = {}  # by vessel
        self._book = dict.fromkeys(self.fridge.jars, 0.0)  # nauplii in each jar, as written down
        self._grams: dict[str, float] = {}
        self._chance = stream(world.seed, "keeper")
        self._stores: dict[str, str] = {}

    def begin(self, now: Ms) -> None:
        """Tell what there is."""
        for tin in TINS:
            price = tin.grams * tin.price_per_g
            facts = (tin.strain, tin.label_percent, tin.grams, price, tin.cysts_per_g, tin.length_um)
            self._write(Tin(now, now, tin.id, *facts, opened=now))
        name, a_day, meals = ADULTS
        self._write(Eater(now, now, name, a_day, meals))

    @staticmethod
    def there(now: Ms) -> bool:
        """Whether he is up and at home."""
        return THERE[0] <= clock(now)[1] <= THERE[1]

    def step(self, now: Ms, told: set[str], strategy: Strategy) -> None:
        """Half an hour. ``told``: vessels that the phone says are ready."""
        minutes = clock(now)[1]
        if minutes in FEEDING:
            self._feed(now)
        if not self.there(now):
            return
        self._fish(now)
        for vessel in list(self.batches):
            if minutes in LOOKS or vessel in told:
                self._look(vessel, now, told=vessel in told)
        for order in strategy.decide(now, self.notes):
            self._start(order, now)

    # -- vessels

    def _start(self, order: Order, now: Ms) -> None:
        litres = next(vessel.litres for vessel in VESSELS if vessel.id == order.vessel)
        name = f"{order.vessel}-{(now - START) // HOUR:05d}"
        self.batches[order.vessel] = self.world.start(name, order.vessel, order.tin, order.grams, now)
        self._grams[name], self._stores[name] = order.grams, order.store
        self.notes.free.remove(order.vessel)
        self.ledger.batches += 1
        self.ledger.bad_hours += not self.there(now)
        self.ledger.grams[order.tin] = self.ledger.grams.get(order.tin, 0.0) + order.grams
        self._write(Start(now, now, name, order.vessel, order.tin, order.grams, litres, SALINITY_G_L))

    def _look(self, vessel: str, now: Ms, *, told: bool) -> None:
        batch = self.batches[vessel]
        share = batch.share(now)
        seen = shifted(share, EYE_LOGIT_SD * self._normal()) if share > 0.0005 else 0.0
        age_h = (now - batch.start) / HOUR
        hopeless = seen < 0.02 and age_h > GIVES_UP_H[vessel]
        if batch.shows_spoilt(now) or hopeless:
            self._end(vessel)
            self.ledger.failed += 1
            self.notes.surprise = True
            self._write(Discard(now, now, batch.id, "failed: nothing lives in it"))
        elif seen >= RIPE or (told and seen >= HALF_RIPE) or (seen >= HALF_RIPE and self._short_ahead(now)):
            self._harvest(vessel, now)
        elif age_h > 12 and clock(now)[1] in LOOKS[::2]:
            self._write(Seen(now, now, batch.id, _word(seen)))

    def _harvest(self, vessel: str, now: Ms) -> None:
        batch = self._end(vessel)
        nauplii = batch.nauplii(now) * RINSED
        counted = round(nauplii * float(np.exp(COUNT_LOG_SD * self._normal())), -2)
        drop = batch.hatchable * batch.share(now)
        fraction = self._chance.binomial(COUNTED, shifted(drop, 0.15 * self._normal())) / COUNTED
        tells = self._chance.random() < 0.6
        self._write(Harvest(now, now, batch.id, round(float(fraction), 2) if tells else None, max(counted, 0.0)))
        self.ledger.harvested += nauplii
        tin = next(one for one in TINS if one.id == batch.tin)
        self.notes.yields[tin.id] = counted / (self._grams[batch.id] * by_label(tin))
        if counted <= 0:
            return
        store = self._empty_jar(now, self._stores[batch.id])
        self.fridge.fill(store, nauplii, batch.tin, batch.id, batch.start, now)
        self._book[store] = counted
        self._write(Chill(now, now, store, counted, JAR_L, aerated=True, batch=batch.id))

    def _end(self, vessel: str) -> Batch:
        self.notes.free.append(vessel)
        return self.batches.pop(vessel)

    def _short_ahead(self, now: Ms) -> bool:
        """Whether the next meal, within the hour, would be short of what is in the jars."""
        soon = any(0 < minutes - clock(now)[1] <= 60 for minutes in FEEDING)
        living = sum(jar.living(now) for jar in self.fridge.jars.values())
        return soon and living < self.notes.a_day(now) / len(FEEDING)

    # -- jars

    def _empty_jar(self, now: Ms, wished: str) -> str:
        jars = self.fridge.jars
        free = [name for name, jar in jars.items() if jar.living(now) <= 0]
        store = wished if wished in free else free[0] if free else min(jars, key=lambda name: jars[name].filled)
        self._throw_away(store, now)
        return store

    def _throw_away(self, store: str, now: Ms) -> None:
        self.fridge.empty(store)
        if self._book[store] > 0:
            self._write(Emptied(now, now, store))
        self._book[store] = 0.0

    # -- fish

    def _feed(self, now: Ms) -> None:
        for name, jar in self.fridge.jars.items():
            if jar.nauplii > 0 and jar.living(now) <= 0:
                self._throw_away(name, now)
        for one in self.tanks.hungry(now):
            got = self._meal(one, now)
            self.ledger.meals.append(MealFed(now, one.eater, one.need, got))

    def _meal(self, one: Hungry, now: Ms) -> float:
        """Until they are full; out of what was chilled first, small ones kept for small mouths."""
        small_mouths = self.notes.small_only(now + 2 * DAY) > 0 or self.notes.small_only(now) > 0
        jars = [jar for jar in self.fridge.jars.values() if jar.nauplii > 0 and _fits(jar.tin, one.largest_um)]
        jars.sort(key=lambda jar: (small_mouths and one.largest_um is None and _length(jar.tin) < 450, jar.filled))
        got = 0.0
        for jar in jars:
            taken = self.fridge.draw(jar.id, one.need - got, now)
            got += taken
            self._note_fed(one.eater, jar.id, taken, now)
            if got >= one.need:
                break
        return got

    def _note_fed(self, eater: str, store: str, taken: float, now: Ms) -> None:
        """He writes what he thinks he took; an empty jar he writes down as empty."""
        noted = round(taken * float(np.exp(FED_LOG_SD * self._normal())), -1)
        noted = min(noted, self._book[store])
        brood = eater if eater in self.notes.broods else ""
        if noted > 0:
            self._write(Fed(now, now, brood, noted, store))
            self._book[store] -= noted
        if self.fridge.jars[store].nauplii <= 0:
            self._throw_away(store, now)

    def _fish(self, now: Ms) -> None:
        for true in self.tanks.broods:
            if now >= true.spawned and true.id not in self.notes.broods:
                self.notes.broods[true.id] = BroodNote(true.spawning, true.spawned, true.spawning.larvae)
                self._write(_told(true, true.spawning.larvae, None, now))
            note = self.notes.broods.get(true.id)
            if note is None or note.ended:
                continue
            if now >= true.weaned:
                note.ended = self.notes.surprise = True
                self._write(BroodEnded(now, now, true.id, "weaned"))
            elif note.swam_up is None and now >= true.swims_up:
                note.swam_up, note.counted, self.notes.surprise = now, now - COUNTS_EVERY + DAY, True
                self._write(_told(true, note.larvae, now, now))
            elif note.swam_up is not None and note.counted is not None and now - note.counted >= COUNTS_EVERY:
                note.larvae = float(round(true.larvae(now) * float(np.exp(0.07 * self._normal()))))
                note.counted, self.notes.surprise = now, True
                self._write(Counted(now, now, true.id, note.larvae))

    def _normal(self) -> float:
        return float(self._chance.standard_normal())


def _told(true: TrueBrood, larvae: float, swam_up: Ms | None, now: Ms) -> Brood:
    return Brood(true.spawned, now, true.id, true.fish.id, larvae, swam_up=swam_up)


def _word(seen: float) -> Sight:
    for least, word in ((0.7, Sight.MOST), (0.1, Sight.SOME), (0.01, Sight.FIRST)):
        if seen >= least:
            return word
    return Sight.NONE


def _length(tin: str) -> float:
    return next(one.length_um for one in TINS if one.id == tin)


def _fits(tin: str, largest_um: float | None) -> bool:
    return largest_um is None or _length(tin) <= largest_um
