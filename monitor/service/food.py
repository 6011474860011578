"""Looking ahead at food in a thread of its own, which has it reckoned in a short-lived child process.

It asks the thread of decisions for a pantry, and gives back what was found. A plan that cannot be made leaves the one before as
it is, with a word about why.
"""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future
from dataclasses import field, replace
from typing import TYPE_CHECKING, Any, Final

from monitor.core.food import FoodAhead, Outlook, Plan
from monitor.core.food_document import food_document
from monitor.core.light import light
from monitor.core.model import HOUR
from monitor.core.pantry import gather
from monitor.loglines import log
from monitor.planner.run import PlanFailed, plan_in_child

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.engine import Engine
    from monitor.core.food import Pantry
    from monitor.core.model import Effect, Ms
    from monitor.service.clock import Clock
    from monitor.settings.food import Planning

FIRST_S: Final = 30.0  # after the start: estimates are there, and the start itself is not held up
AGAIN_S: Final = 60.0  # after a failure, doubled each time
LOOK_S: Final = 0.5
ANSWER_S: Final = 30.0
MOVED: Final[Ms] = HOUR  # a batch that is ready by so much later or earlier is planned for anew
SHOW_EVERY_S: Final = 30.0


@light(eq=False)
class GatherFood:
    """The thread of decisions is asked for a pantry; None when it has none to give yet."""

    answer: Future[Pantry | None] = field(default_factory=Future)


@light
class NoPlan:
    """It could not be planned; ``why`` is for the keeper."""

    why: str


class Food:
    """Both sides: a thread that plans, and what the thread of decisions tells and asks it. Seconds are of the steady clock."""

    def __init__(
        self,
        planning: Planning,
        engine: Engine,
        clock: Clock,
        put: Callable[[GatherFood | FoodAhead | NoPlan], None],
        plan: Callable[..., FoodAhead] = plan_in_child,
    ) -> None:
        self._planning = planning
        self._engine = engine
        self._clock = clock
        self._put = put
        self._plan = plan
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._wake = threading.Event()
        self._soon = time.monotonic() + FIRST_S
        self._wanted = True
        self._next: Ms = 0
        self._failures = 0
        self._thread: threading.Thread | None = None
        self._ready: dict[str, float] = {}
        self._document: dict[str, Any] = {}
        self._shown = float("-inf")
        self.last_tick = time.monotonic()

    # -- life

    def start(self) -> None:
        """Start it; once it has ended by itself, start it anew with whatever it was at."""
        if self._planning.on:
            with self._lock:
                self._wanted = True
            self._thread = threading.Thread(target=self._run, name="food", daemon=True)
            self._thread.start()

    def ask_to_stop(self) -> None:
        self._stop.set()
        self._wake.set()

    def stop(self, timeout: float = 3.0) -> None:
        """Its child is ended with it, within a second."""
        self.ask_to_stop()
        if self._thread is not None:
            self._thread.join(timeout)

    @property
    def alive(self) -> bool:
        """Whether its thread runs, where there should be one."""
        return self._thread is None or self._thread.is_alive()

    def stuck(self, seconds: float) -> bool:
        """Whether its thread has shown no life for so long beyond what planning may take."""
        lasts = seconds + self._planning.seconds
        return self._thread is not None and time.monotonic() - self.last_tick > lasts

    # -- for the thread of decisions

    def wake(self, seconds: float | None = None) -> None:
        """Something has changed that food depends on; it is looked at anew in so many seconds, or soon."""
        with self._lock:
            due = time.monotonic() + (self._planning.soon_s if seconds is None else seconds)
            self._soon = min(self._soon, due) if self._wanted else due
            self._wanted = True
        self._wake.set()

    def answer(self, asked: GatherFood) -> None:
        """Copy what is known, which takes a few milliseconds."""
        state, now = self._engine.state, self._clock.now()
        if state.clock_unset:
            asked.answer.set_result(None)
            return
        self._ready = self._times()
        asked.answer.set_result(gather(state, now))

    def took(self, found: FoodAhead | NoPlan) -> list[Effect]:
        """What was found goes into the engine; the effects of that."""
        effects = self._engine.step(found if isinstance(found, FoodAhead) else self._failed(found.why))
        self.show()
        return effects

    def _failed(self, why: str) -> FoodAhead:
        now = self._clock.now()
        before = self._engine.state.food_ahead
        if before is not None:
            return replace(before, trouble=why)
        return FoodAhead(now, Outlook(now, now), Outlook(now, now), Plan(0, 0), why)

    def look(self) -> None:
        """To be called now and then: whether a batch has moved by so much that the plan does not hold."""
        times = self._times()
        known = self._ready
        if any(abs(times[name] - known[name]) > MOVED for name in times.keys() & known.keys()):
            self._ready = times
            self.wake()
        if self._clock.steady() - self._shown >= SHOW_EVERY_S:
            self.show()

    def _times(self) -> dict[str, float]:
        batches = self._engine.state.open_batches()
        estimates = [(batch.start.batch, batch.estimate) for batch in batches]
        return {name: one.ready.mid for name, one in estimates if one is not None and one.ready.mid is not None}

    def show(self) -> None:
        """Make the document anew."""
        self._shown = self._clock.steady()
        self._document = food_document(self._engine.state, self._clock.now(), on=self._planning.on)

    def document(self) -> dict[str, Any]:
        """The newest; from any thread. It must not be changed."""
        return self._document

    # -- the thread

    def _run(self) -> None:
        while not self._stop.is_set():
            self.last_tick = time.monotonic()
            self._wake.wait(LOOK_S)
            self._wake.clear()
            if not self._stop.is_set() and self._due():
                self._once()

    def _due(self) -> bool:
        with self._lock:
            soon = self._wanted and time.monotonic() >= self._soon
            waits = self._failures > 0 and time.monotonic() < self._soon
            due = soon or (not waits and 0 < self._next <= self._clock.now())
            if due:
                self._wanted = False
        return due

    def _once(self) -> None:
        try:
            pantry = self._ask()
            if pantry is None:
                self.wake(AGAIN_S)
                return
            found = self._found(pantry)
        except PlanFailed as why:
            if not self._stop.is_set():
                self._went_wrong(str(why))
            return
        except Exception as error:
            log.exception("food.broke")
            self._went_wrong(f"The planner has a fault ({type(error).__name__}); the service's log says more.")
            return
        if self._failures:
            log.info("food.planned-again")
        self._failures = 0
        self._next = self._clock.now() + self._planning.every
        log.debug("food.planned", starts=len(found.plan.starts), unmet=len(found.plan.unmet))
        self._put(found)

    def _ask(self) -> Pantry | None:
        asked = GatherFood()
        self._put(asked)
        ends = time.monotonic() + ANSWER_S
        while not self._stop.is_set():
            try:
                return asked.answer.result(timeout=LOOK_S)
            except TimeoutError:
                if time.monotonic() >= ends:
                    raise PlanFailed("The service was too busy to say what is there. It is tried again.") from None
        raise PlanFailed("The service is stopping.")

    def _found(self, pantry: Pantry) -> FoodAhead:
        if not pantry.broods and not pantry.eaters:
            return nobody(pantry)
        return self._plan(pantry, self._planning.seconds, self._planning.memory_mb, stop=self._stop)

    def _went_wrong(self, why: str) -> None:
        """Told once as it begins; tried again after longer and longer."""
        self._failures += 1
        if self._failures == 1:
            log.warning("food.not-planned", reason=why)
        self.wake(min(AGAIN_S * 2 ** (self._failures - 1), self._planning.every / 1000))
        self._put(NoPlan(why))


def nobody(pantry: Pantry) -> FoodAhead:
    """Nobody eats: there is nothing to foresee, and no child is needed to say so."""
    until = pantry.now + pantry.days * 24 * HOUR
    empty = Outlook(pantry.now, until)
    return FoodAhead(pantry.now, empty, empty, Plan(made=pantry.now, until=until))
