"""Water hotter than cysts can use: what the estimate says, what the bench shows, and what such a batch teaches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.cli.status import _vessel
from monitor.core.bench import bench
from monitor.core.hatch import STOP_MEAN_C
from monitor.core.log import Harvest, Seen, Sight
from monitor.core.model import HOUR, MINUTE
from monitor.web.view import make_view
from tests.unit.core.worlds import Shed

if TYPE_CHECKING:
    from monitor.web.bench_vessel import VesselView

NOW_TOO_HOT = "the water is above about 37 C: nothing develops now, the batch may be lost"


def begun(hours: float = 6.0, celsius: float = 25.0) -> Shed:
    shed = Shed()
    shed.run(MINUTE, celsius)
    shed.begin()
    shed.run(round(hours * HOUR), celsius, every=5 * MINUTE)
    return shed


def note(shed: Shed) -> str:
    return shed.engine.estimate("b1", shed.now).note


@pytest.mark.parametrize(("celsius", "told"), [(30.0, ""), (35.0, ""), (38.0, NOW_TOO_HOT), (39.9, NOW_TOO_HOT)])
def test_above_the_stop_it_says_that_nothing_develops(celsius: float, told: str) -> None:
    """Above the temperature at which development stops (37 +-2.5 C, the prior) the estimate says so, well below 40 C."""
    assert abs(STOP_MEAN_C - 37.0) < 0.01
    shed = begun()
    assert note(shed) == ""
    shed.run(20 * MINUTE, celsius)
    assert note(shed) == told


def test_nothing_hatches_while_it_says_so() -> None:
    """With the water kept too hot the middle of the range of ready moves on, or is not in sight at all."""
    shed = begun()
    before = shed.engine.estimate("b1", shed.now).ready.mid
    shed.run(5 * HOUR, 39.0, every=5 * MINUTE)
    after = shed.engine.estimate("b1", shed.now)
    assert note(shed) == NOW_TOO_HOT
    assert before is not None
    assert after.ready.mid is None or after.ready.mid > before + 4 * HOUR


def test_heat_that_is_over_is_not_forgotten() -> None:
    """Cooled again, the batch goes on being told as one that may be lost, with how long it was too hot; a moment is not."""
    shed = begun()
    shed.run(2 * HOUR, 39.0, every=5 * MINUTE)
    shed.run(3 * HOUR, 26.0, every=5 * MINUTE)
    assert note(shed).startswith("the water was above about 37 C for ")
    assert note(shed).endswith(": the batch may be lost")
    short = begun()
    short.run(10 * MINUTE, 39.0)
    short.run(HOUR, 26.0)
    assert note(short) == ""


def test_an_old_value_is_not_told_as_the_present() -> None:
    """A probe that said 39 C and then nothing for hours is not quoted as what the water is now."""
    shed = begun()
    shed.run(20 * MINUTE, 39.0)
    assert note(shed) == NOW_TOO_HOT
    shed.wait(2 * HOUR)
    assert note(shed) != NOW_TOO_HOT


def test_above_40_c_the_graver_word_stands() -> None:
    """Hydrated cysts die above 40 C (FAO T428 annex 4, restated): that is said instead."""
    shed = begun()
    shed.run(20 * MINUTE, 41.0)
    assert note(shed) == "the water was above 40 C: the cysts may be dead"


def shown(shed: Shed) -> VesselView:
    estimate = shed.engine.estimate("b1", shed.now)
    return make_view(bench(shed.engine, {"b1": estimate}, shed.now)).vessels[0]


def test_page_and_status_say_it() -> None:
    """The view that the page shows has the sentence beside the batch, and so have the lines of the status command."""
    shed = begun()
    shed.run(20 * MINUTE, 38.5)
    vessel = shown(shed)
    assert vessel.batch is not None
    assert vessel.batch.note == NOW_TOO_HOT
    assert f"  {NOW_TOO_HOT}" in _vessel(vessel)


@pytest.mark.parametrize(("hours_hot", "taught"), [(0.0, 1), (3.0, 0)])
def test_a_batch_that_was_too_hot_teaches_its_tin_nothing(hours_hot: float, taught: int) -> None:
    """Whether the heat or the tin hatched few can't be told: only a batch without it counts."""
    shed = begun(20.0, 26.0)
    shed.run(round(hours_hot * HOUR), 39.0, every=5 * MINUTE)
    shed.run(6 * HOUR, 26.0, every=5 * MINUTE)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.SOME))
    shed.do(Harvest(shed.now, shed.now, "b1", 0.2))
    assert shed.engine.lot("new").batches == taught
