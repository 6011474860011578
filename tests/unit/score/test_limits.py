from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from monitor.score.baselines import ALWAYS, BASELINES
from monitor.score.cells import Where, cells
from monitor.score.limits import AIR_INSIDE, AIR_TOO_LATE, LIMITS, WATER, Verdict, judge
from monitor.score.rows import AGED, COUNTED, FIRST
from monitor.score.stops import StopRow
from monitor.score.table import FLOOR, MODEL, Table
from monitor.score.water import WaterRow
from tests.unit.score.worlds import normal_sample, population

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.score.metrics import Scored
    from monitor.score.rows import Row
    from monitor.score.truth import Season


def verdicts(
    rows: Sequence[Row], stops: Sequence[StopRow] = (), widen: float = 0.0, water: Sequence[WaterRow] = ()
) -> dict[str, Verdict]:
    return {verdict.name: verdict for verdict in judge(cells(Table.of(rows)), stops, water, widen)}


GOOD = population(lambda middle, truth: normal_sample(middle, 2.0, truth))
START = Where(AGED[0], "known")


def test_who_knows_all_but_the_luck_breaks_no_limit() -> None:
    """A forecaster that is the floor itself holds every limit that can be judged of a known tin in a cold room."""
    told = verdicts(GOOD)
    assert {name for name, verdict in told.items() if verdict.passed is False} == set()
    held = {name for name, verdict in told.items() if verdict.passed}
    assert held >= {
        "coverage",
        "coverage by season",
        "known tin, sheltered",
        "no rule is better",
        "cold nights",
        "learning",
    }


def test_what_no_batch_speaks_of_is_not_judged() -> None:
    """Without new tins or looks these limits are told as too few, not as holding."""
    told = verdicts(GOOD)
    assert [told[name].passed for name in ("new tin at the start", "share counted", AIR_INSIDE)] == [None] * 3


@pytest.mark.parametrize(
    ("spread", "error", "broken"),
    [
        (0.7, 0.0, {"coverage", "coverage by season"}),
        (6.0, 0.0, {"coverage", "coverage by season", "known tin, sheltered"}),
        (2.0, 6.0, {"coverage", "known tin, sheltered"}),
    ],
    ids=["too narrow", "too wide", "biased"],
)
def test_a_poor_forecaster_is_found_out(spread: float, error: float, broken: set[str]) -> None:
    """Too narrow or too wide a range breaks the coverage, width and bias break the floor's limits."""
    told = verdicts(population(lambda middle, truth: normal_sample(middle + error, spread, truth)))
    assert broken <= {name for name, verdict in told.items() if verdict.passed is False}


def test_a_rule_that_is_better_is_told() -> None:
    """When a rule knows nearly everything and the model little, the limits against rules break."""
    rows = population(lambda _, truth: normal_sample(24, 6, truth), habits=lambda middle, _: middle)
    told = verdicts(rows)
    assert told["no rule is better"].passed is False
    assert told["cold nights"].passed is False
    worst = told["no rule is better"].worst
    assert worst is not None
    assert worst.figure.value > 2


def test_a_look_is_held_against_the_best_rule() -> None:
    """At half of the best rule's error a look's limits hold, at three quarters of it they break."""
    for error, passed in ((1.0, True), (1.9, False)):
        for point, name in ((FIRST, "first logged, known tin"), (COUNTED, "share counted")):

            def off(_: float, truth: float, error: float = error) -> Scored:
                return normal_sample(truth + error, 1, truth)

            rows = population(off, habits=lambda _, truth: truth + 2.5, point=point, floor=None)
            rows = [replace(row, baselines=row.baselines | {ALWAYS: 24.0}) for row in rows]
            assert verdicts(rows)[name].passed is passed


def test_no_learning_breaks_the_limit_of_learning() -> None:
    """A model that is as good without what it learned fails, by its whole 40 %."""
    rows = [replace(row, unlearned=row.model if row.point == AGED[0] else None) for row in GOOD]
    learning = verdicts(rows)["learning"]
    assert learning.passed is False
    assert learning.worst is not None
    assert learning.worst.margin == pytest.approx(-0.4)


def test_widening_forgives_by_standard_errors_only() -> None:
    """A limit missed by less than three standard errors holds when widened by three, one missed by far does not."""
    rows = population(lambda middle, truth: normal_sample(middle, 1.2, truth), tins=25, batches=1)
    assert verdicts(rows)["coverage"].passed is False
    assert verdicts(rows, widen=3.0)["coverage"].passed is True
    narrow = population(lambda middle, truth: normal_sample(middle, 0.3, truth), tins=25, batches=1)
    assert verdicts(narrow, widen=3.0)["coverage"].passed is False


def test_widening_reaches_where_all_truths_lie_inside() -> None:
    """All of 25 truths inside the range is within three standard errors of 84 %, all of 200 is not."""
    for tins, passed in ((25, True), (200, False)):
        wide = population(lambda middle, truth: normal_sample(middle, 9, truth), tins=tins, batches=1)
        assert verdicts(wide, widen=3.0)["coverage"].passed is passed


def test_few_batches_are_not_judged() -> None:
    """Seven tins give no verdict, whatever they say."""
    rows = population(lambda _, truth: normal_sample(60, 1, truth), tins=7, batches=4)
    assert all(verdict.passed is None for verdict in verdicts(rows).values())


def test_what_nobody_could_foresee_is_left_out() -> None:
    """Moments before a heater failure count in no cell."""
    spoilt = [replace(row, batch="x" + row.batch, truth_h=90.0, foreseeable=False) for row in GOOD]
    assert cells(Table.of(GOOD + spoilt))[START].scores[MODEL] == cells(Table.of(GOOD))[START].scores[MODEL]


def test_standard_errors_are_those_of_independent_tins() -> None:
    """With one batch a tin the bootstrap agrees with the SD over the root of n, and pairing makes a difference exact."""
    rows = population(lambda middle, truth: normal_sample(middle, 2.0, truth), tins=200, batches=1)
    table = Table.of(rows)
    cell = cells(table)[START]
    error = np.abs(table.forecasts[MODEL].mid - table.truth)[table.point == AGED[0]]
    assert cell.scores[MODEL]["mae"].value == pytest.approx(error.mean())
    assert cell.scores[MODEL]["mae"].se == pytest.approx(error.std() / np.sqrt(200), rel=0.12)
    assert cell.against[FLOOR].difference["mae"] == (0.0, 0.0)
    assert cell.against[FLOOR].ratio["mae"] == (1.0, 0.0)


def test_tins_are_drawn_whole() -> None:
    """Four equal batches a tin leave the standard error as it is with one: they are no new evidence."""
    one = population(lambda middle, truth: normal_sample(middle, 2.0, truth), tins=100, batches=1)
    four = [replace(row, batch=f"{row.batch}-{copy}") for row in one for copy in range(4)]
    errors = [cells(Table.of(rows))[START].scores[MODEL]["mae"].se for rows in (one, four)]
    assert errors[0] == pytest.approx(errors[1])


def test_the_order_of_rows_does_not_matter() -> None:
    """Cells are the same whoever finished first."""
    assert cells(Table.of(GOOD[::-1])) == cells(Table.of(GOOD))


def stop(truth: float | None, lo: float | None, hi: float | None) -> StopRow:
    return StopRow("t", "b", truth, lo, lo, hi, 0.5)


@pytest.mark.parametrize(
    ("told", "inside", "late"),
    [
        (stop(30, 20, 40), True, False),
        (stop(30, 31, 60), False, False),
        (stop(30, 40, 60), False, True),
        (stop(30, None, None), False, True),
        (stop(30, 20, None), True, False),
        (stop(90, 20, 40), False, False),
        (stop(None, 20, 40), False, False),
        (stop(None, 200, 1500), True, False),
        (stop(None, None, None), True, False),
    ],
)
def test_minutes_left_by_hand(told: StopRow, inside: bool, late: bool) -> None:
    """The truth is inside or not, and the low end is late when it is more than 30 % behind the truth."""
    assert (told.inside, told.too_late) == (inside, late)


def test_air_limits() -> None:
    """Four of five inside and none late holds; one in ten late breaks the low end's limit."""
    good = [stop(30, 20, 40)] * 80 + [stop(90, 20, 40)] * 20 + [stop(None, 900, None)] * 5
    late = [stop(30, 20, 40)] * 80 + [stop(90, 20, 40)] * 10 + [stop(10, 20, 40)] * 10
    assert [verdicts(GOOD, good)[name].passed for name in (AIR_INSIDE, AIR_TOO_LATE)] == [True, True]
    assert [verdicts(GOOD, late)[name].passed for name in (AIR_INSIDE, AIR_TOO_LATE)] == [True, False]


def test_a_lean_in_the_cold_is_told_on_either_side() -> None:
    """Medians that lie three hours before or behind the floor's break the limit of the lean, one hour does not."""
    for lean, passed in ((-3.0, False), (-1.0, True), (1.0, True), (3.0, False)):

        def leaning(middle: float, truth: float, lean: float = lean) -> Scored:
            return normal_sample(middle + lean, 2.0, truth)

        told = verdicts(population(leaning, group="new"))["cold nights, lean"]
        assert told.passed is passed
        assert told.worst is not None
        assert told.worst.figure.value == pytest.approx(lean, abs=0.05)


def waters(error_c: float, sd_c: float, season: Season = "cold") -> list[WaterRow]:
    """Water that cools by 2 C, foretold with an error of this size, now too warm, now too cold."""
    return [
        WaterRow(f"tin-{k}", "b1", season, 0.6, ahead, 18.0 + error_c * (-1) ** k, sd_c, 20.0, 18.0)
        for k in range(30)
        for ahead in (3, 6, 12)
    ]


@pytest.mark.parametrize(
    ("water", "passed"), [(waters(1.0, 1.0), True), (waters(2.0, 0.0), False), (waters(0.1, 9.0), False)]
)
def test_water_has_to_be_foreseen(water: list[WaterRow], passed: bool) -> None:
    """Half of what staying the same errs is well foreseen; as much, or a range that says nothing, is not."""
    assert verdicts(GOOD, water=water)[WATER].passed is passed


def test_water_is_judged_by_season_and_horizon() -> None:
    """Each season and horizon stands for itself, and the other seasons don't help a bad one."""
    told = verdicts(GOOD, water=waters(1.0, 1.0, "warm") + waters(2.0, 0.0))[WATER]
    assert [(found.where, found.holds) for found in told.judged] == [
        (f"{hours} h ahead, {season}", season == "warm") for season in ("cold", "warm") for hours in (3, 6, 12)
    ]
    assert {found.n for found in told.judged} == {30}


def test_limits_have_names_of_their_own() -> None:
    """Each limit can be named, and is one that some cell can break."""
    names = [limit.name for limit in LIMITS] + [AIR_INSIDE, AIR_TOO_LATE, WATER]
    assert len(set(names)) == len(names)
    assert all(np.isfinite(limit.low) or np.isfinite(limit.high) for limit in LIMITS)
    assert set(BASELINES) == {other for limit in LIMITS if limit.name == "cold nights" for other in limit.others}
