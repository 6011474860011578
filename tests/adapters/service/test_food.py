"""Looking ahead at food beside the thread of decisions: when it is done, what becomes of a failure, and that it ends."""

from __future__ import annotations

import queue
import subprocess
import sys
import threading
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.food import FoodAhead, Outlook, Plan
from monitor.core.log_food import Eater
from monitor.core.model import HOUR
from monitor.planner.run import PlanFailed, plan_in_child
from monitor.service.clock import SystemClock
from monitor.service.food import Food, GatherFood, NoPlan
from monitor.settings.food import Planning
from tests.adapters.conftest import until
from tests.unit.core.worlds import Shed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from monitor.core.food import Pantry


class Table:
    """The thread of decisions, turned by hand, and a planner that does as it is told."""

    def __init__(self, plan: Callable[..., FoodAhead] | None = None, *, eats: bool = True) -> None:
        self.shed = Shed()
        if eats:
            self.shed.do(Eater(time=self.shed.now, logged=self.shed.now, eater="adults", nauplii_per_day=9000))
        self.inputs: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self.asked: list[Pantry] = []
        self.fails = ""
        planning = Planning(on=True, every=HOUR, soon_s=2.0, seconds=60.0, memory_mb=512)
        self.food = Food(planning, self.shed.engine, SystemClock(), self.inputs.put, plan or self._plan)
        self.food.wake(0.0)

    def _plan(self, pantry: Pantry, seconds: float, memory_mb: int, *, stop: threading.Event) -> FoodAhead:
        assert (seconds, memory_mb, stop.is_set()) == (60.0, 512, False)
        self.asked.append(pantry)
        if self.fails:
            raise PlanFailed(self.fails)
        nothing = Outlook(pantry.now, pantry.now)
        return FoodAhead(pantry.now, nothing, nothing, Plan(made=pantry.now, until=pantry.now + HOUR, cost=3.0))

    def turn(self, kind: type[Any]) -> Any:
        """Take inputs until one of this kind is taken."""
        while True:
            item = self.inputs.get(timeout=20)
            if isinstance(item, GatherFood):
                self.food.answer(item)
            else:
                self.food.took(item)
            if isinstance(item, kind):
                return item


@pytest.fixture
def table() -> Iterator[Table]:
    made = Table()
    made.food.start()
    yield made
    made.food.stop()


def test_what_is_found_goes_into_the_engine_and_the_document(table: Table) -> None:
    """One look: a pantry is asked for, planned for, and its plan is told."""
    found = table.turn(FoodAhead)
    assert table.shed.engine.state.food_ahead is found
    assert table.food.document()["plan"]["cost"] == 3.0
    assert [eater.id for eater in table.asked[0].eaters] == ["adults"]


def test_a_failure_leaves_the_plan_and_says_why(table: Table) -> None:
    """The plan before goes on; its trouble is told, and gone when it is planned again."""
    found = table.turn(FoodAhead)
    table.fails = "It needs more memory."
    table.food.wake(0.0)
    table.turn(NoPlan)
    told = table.shed.engine.state.food_ahead
    assert told is not None
    assert (told.plan, told.trouble) == (found.plan, "It needs more memory.")
    assert table.food.document()["trouble"] == "It needs more memory."
    table.fails = ""
    table.food.wake(0.0)
    table.turn(FoodAhead)
    assert table.food.document()["trouble"] == ""


def test_entries_that_come_together_are_planned_for_once(table: Table) -> None:
    """Word of a change waits a little for more of them, and puts nothing off again."""
    table.turn(FoodAhead)
    for _ in range(5):
        table.food.wake()
    table.turn(FoodAhead)
    assert len(table.asked) == 2
    assert table.inputs.empty()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_plan_in_whose_making_the_thread_ended_is_made_once_it_is_started_anew() -> None:
    """What was asked of it is not forgotten with it: nothing else has to happen first."""

    made = Table()

    def ends(*_: Any, **__: Any) -> FoodAhead:
        made.food._plan = made._plan
        raise SystemExit  # ends a thread, as no error of a planner does

    made.food._plan = ends
    made.food.start()
    try:
        made.turn(GatherFood)
        until(lambda: not made.food.alive)
        made.food.start()
        made.turn(FoodAhead)
    finally:
        made.food.stop()


def test_where_nobody_eats_no_planner_is_started() -> None:
    """The plan is empty, and no process is made for it."""
    table = Table(eats=False)
    table.food.start()
    try:
        found = table.turn(FoodAhead)
    finally:
        table.food.stop()
    assert (found.plan.starts, table.asked) == ((), [])


def test_a_clock_that_is_not_set_is_waited_for(table: Table) -> None:
    """A pantry of 1970 would be planned for in vain."""
    table.shed.engine.state.clock_unset = True
    table.turn(GatherFood)
    assert table.inputs.empty()
    assert table.asked == []


def test_it_ends_at_once_and_its_child_with_it() -> None:
    """A service that stops waits for no planner."""
    ended = threading.Event()

    def slow(pantry: Pantry, seconds: float, memory_mb: int, *, stop: threading.Event) -> FoodAhead:
        try:
            # A child that would sleep through the test.
            return plan_in_child(
                pantry, seconds, memory_mb, stop=stop, command=(sys.executable, "-c", "import time; time.sleep(600)")
            )
        finally:
            ended.set()

    table = Table(slow)
    table.food.start()
    table.turn(GatherFood)
    table.food.stop()
    assert ended.wait(3.0)
    assert not any(thread.name == "food" and thread.is_alive() for thread in threading.enumerate())


def test_the_service_never_loads_what_only_the_planner_needs() -> None:
    """Memory: the optimiser's library stays in the child."""
    code = "import sys, monitor.service.daemon, monitor.service.food; print('scipy' in sys.modules, 'icalendar' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.split() == ["False", "False"]
