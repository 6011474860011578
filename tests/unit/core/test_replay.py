from __future__ import annotations

import itertools
import json
from dataclasses import replace
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.log import Harvest, LogEntry, Seen, Sight
from monitor.core.model import DAY, HOUR, MINUTE, Ms, Refused, Span
from monitor.core.replay import forecasts_at
from tests.unit.core.worlds import T0, lines, recording, slow_site, start

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.replay import Measured


def hours(text: str | None, since: Ms = T0) -> float:
    assert text is not None
    return (datetime.fromisoformat(text).timestamp() * 1000 - since) / HOUR


def ready(line: dict[str, Any], end: str = "mid") -> float:
    return hours(line["ready"][end])


@cache
def constant(celsius: float) -> tuple[dict[str, Any], ...]:
    """The lines of forty hours at one temperature. Nothing knows what comes, so the first of them are those of a shorter time."""
    return tuple(lines(recording(lambda _: celsius, 40), [start()]))


def foreseen(rows: list[Measured], entries: Sequence[LogEntry], *at_hours: float) -> list[Span]:
    """Ready as told at these hours: what the lines say, reckoned at these instants only."""
    instants = [(T0 + round(hour * HOUR), "b1") for hour in at_hours]
    return [told.estimate.ready for told in forecasts_at(slow_site(), rows, entries, instants)]


def bounds(span: Span) -> tuple[float, float, float]:
    """Hours since the start."""
    assert span.lo is not None
    assert span.mid is not None
    assert span.hi is not None
    return (span.lo - T0) / HOUR, (span.mid - T0) / HOUR, (span.hi - T0) / HOUR


def middle(rows: list[Measured], entries: Sequence[LogEntry], at_hour: float) -> float:
    (span,) = foreseen(rows, entries, at_hour)
    return bounds(span)[1]


def test_an_instant_says_what_its_line_says() -> None:
    """Asked for some instants only, without alarms, the same is told as in the lines, with a look and a cold night."""
    rows = recording(lambda hour: 17.0 if 6 < hour < 10 else 26.0, 22)
    entries: list[LogEntry] = [start(), Seen(T0 + 16 * HOUR, T0 + 17 * HOUR, "b1", Sight.FIRST)]
    told = {hours(line["time"]): line["ready"] for line in lines(rows, entries)}
    at_hours = (0.0, 8.5, 16.5, 17.0, 22.0)
    for hour, span in zip(at_hours, foreseen(rows, entries, *at_hours), strict=True):
        assert bounds(span) == pytest.approx([hours(told[hour][end]) for end in ("lo", "mid", "hi")], abs=1 / 3600)


def test_warm_water_is_ready_within_a_day_or_so() -> None:
    """At a constant 28 C an unknown tin is expected ready 15 to 30 h after its start."""
    assert 15 < middle(recording(lambda _: 28.0, 0), [start()], 0) < 30


def test_cool_water_takes_longer() -> None:
    """At a constant 20 C ready comes at least one and a half times as late as at 28 C."""
    cool = middle(recording(lambda _: 20.0, 0), [start()], 0)
    warm = middle(recording(lambda _: 28.0, 0), [start()], 0)
    assert cool > 1.5 * warm


def test_a_cold_night_delays() -> None:
    """After a night at 16-18 C ready is expected later than without it."""
    warm = middle(recording(lambda _: 26.0, 20), [start()], 20)
    cold = middle(recording(lambda h: 17.0 if 6 < h < 14 else 26.0, 20), [start()], 20)
    assert cold > warm + 2


def test_two_cold_nights_take_about_two_days() -> None:
    """With two nights around 17-19 C full hatch near 48 h lies inside the range (common practice, no source)."""
    night = [(6.0, 18.0), (28.0, 42.0)]

    def water(hour: float) -> float:
        return 18.0 if any(a <= hour < b for a, b in night) else 23.0

    told = foreseen(recording(water, 44), [start()], *(hour / 2 for hour in range(56, 89)))
    assert len(told) == 33
    for low, _, high in map(bounds, told):
        assert low < 48 < high


def delay_of_three_hours_without_air(celsius: float, cysts_g: float) -> float:
    entry = start(cysts_g=cysts_g)
    through = recording(lambda _: celsius, 16)
    off = recording(lambda _: celsius, 16, air=lambda h: not 5 <= h < 8)
    return middle(off, [entry], 16) - middle(through, [entry], 16)


@pytest.mark.parametrize(("density", "low", "high"), [(5.0, 2.0, 5.0), (1.0, 0.0, 2.5)])
def test_no_air_pauses_as_long_as_the_oxygen_is_gone(density: float, low: float, high: float) -> None:
    """Air off for 3 h at hour 5 delays ready by 2-5 h at 5 g/L and by at most 2.5 h at 1 g/L."""
    assert low <= delay_of_three_hours_without_air(26.0, density) <= high


@pytest.mark.parametrize("celsius", [18.0, 20.0, 22.0, 25.0, 28.0])
@pytest.mark.parametrize("before", [0.0, 26.0])
def test_nothing_new_moves_nothing(celsius: float, before: float) -> None:
    """At constant temperature, air on, no entries, no bound of ready moves over 15 min between instants 30 min apart."""
    told = foreseen(recording(lambda _: celsius, 60, before=before), [start()], *(hour / 2 for hour in range(121)))
    assert len(told) == 121
    for earlier, later in itertools.pairwise(told):
        for was, now in zip((earlier.lo, earlier.mid, earlier.hi), (later.lo, later.mid, later.hi), strict=True):
            if was is not None and now is not None:
                assert abs(now - was) <= 15 * MINUTE


def test_the_range_holds_its_middle() -> None:
    """Every line has lo before mid before hi, t10 before t50 before t90, and a hatched share that never falls."""
    told = constant(25)
    before = 0.0
    for line in told:
        for name in ("t10", "t50", "t90", "ready"):
            assert hours(line[name]["lo"]) < hours(line[name]["mid"]) < hours(line[name]["hi"])
        assert hours(line["t10"]["mid"]) < hours(line["t50"]["mid"]) < hours(line["t90"]["mid"])
        assert line["hatched"]["mid"] >= before
        before = line["hatched"]["mid"]


def test_an_unknown_tin_is_honestly_wide() -> None:
    """With priors alone the 80 % range is at least a quarter of the median to both sides."""
    first = constant(25)[0]
    assert ready(first, "lo") < 0.78 * ready(first)
    assert ready(first, "hi") > 1.3 * ready(first)


def test_what_is_seen_narrows_and_moves() -> None:
    """A low counted fraction late in the hatch narrows the relative range of ready and moves its middle later."""
    batch = start(lot="tin-7")
    seen = Seen(T0 + 21 * HOUR, T0 + 21 * HOUR, "b1", Sight.SOME, 0.3)
    rows = recording(lambda _: 25.0, 22)
    ((plain,), (told,)) = (map(bounds, foreseen(rows, [batch, *looks], 22)) for looks in ([], [seen]))
    assert told[2] / told[0] < 0.75 * plain[2] / plain[0]
    assert told[1] > plain[1] + 1


def test_an_entry_counts_from_when_it_was_logged() -> None:
    """An entry about an earlier time changes no line before it was logged."""
    entry = Seen(T0 + 10 * HOUR, T0 + 20 * HOUR, "b1", Sight.FIRST)
    plain, seen = constant(25), tuple(lines(recording(lambda _: 25.0, 21), [start(), entry]))
    assert plain[:40] == seen[:40]
    assert plain[41] != seen[41]


def test_a_harvested_batch_has_no_more_lines() -> None:
    """There is one line per open batch, and none after its harvest."""
    told = lines(recording(lambda _: 25.0, 30), [start(), Harvest(T0 + 20 * HOUR, T0 + 20 * HOUR, "b1")])
    assert max(hours(line["time"]) for line in told) == 19.5


def test_lines_are_aligned_and_reach_from_the_first_input_to_the_last() -> None:
    """Lines stand at multiples of the step from the start of the batch to the last input."""
    told = lines(recording(lambda _: 25.0, 3, before=4), [start()], every=HOUR)
    assert [hours(line["time"]) for line in told] == [0, 1, 2, 3]


def test_the_order_of_the_file_does_not_matter() -> None:
    """Rows in any order and told twice give the same lines."""
    rows = recording(lambda h: 24 + h / 10, 12)
    assert lines(rows, [start()]) == lines([*reversed(rows), *rows[::3]], [start()])


def test_a_second_run_says_the_same_to_the_byte() -> None:
    """Two replays of the same recording are identical."""
    rows = recording(lambda h: 25 - 4 * (8 < h < 15), 20)
    entries: list[LogEntry] = [start(), Seen(T0 + 16 * HOUR, T0 + 16 * HOUR, "b1", Sight.FIRST)]
    assert json.dumps(lines(rows, entries)) == json.dumps(lines(rows, entries))


def test_a_cold_batch_never_gets_there() -> None:
    """Water below every threshold gives null for the bounds that are never reached."""
    told = lines(recording(lambda _: 6.0, 12), [start()])
    assert told[-1]["ready"]["hi"] is None
    assert told[-1]["stage"] == "developing"


def test_silence_widens() -> None:
    """When the water probe has been silent for half a day the range of ready is wider than with it."""
    rows = recording(lambda _: 20.0, 30)
    silent: list[Measured] = [r for r in rows if r.probe != "ash-water" or r.time < T0 + 8 * HOUR]
    heard, unheard = lines(rows, [start()])[-1], lines(silent, [start()])[-1]
    assert ready(unheard, "hi") - ready(unheard, "lo") > ready(heard, "hi") - ready(heard, "lo")
    assert any(alarm == "probe-silent:ash-water" for alarm in unheard["alarms"])


def test_a_log_that_contradicts_itself_is_refused() -> None:
    """A second batch in a full vessel is refused with the batch that is in it."""
    second = start(T0 + HOUR, batch="b2")
    with pytest.raises(Refused, match="still holds batch b1"):
        lines(recording(lambda _: 25.0, 3), [start(), second])


def test_water_above_forty_loses_the_batch() -> None:
    """Half an hour above 40 C, where hydrated cysts die (FAO T428 annex 4, restated), makes the batch lost."""
    told = lines(recording(lambda h: 41.0 if 3 <= h < 4 else 26.0, 6), [start()])
    assert told[-1]["stage"] == "lost"


def test_gap_in_the_water_is_bridged() -> None:
    """A gap of two hours between two known temperatures is filled with a line between them: ready moves by minutes."""
    rows = recording(lambda _: 25.0, 20)
    gap = [r for r in rows if not (r.probe == "ash-water" and 5 * HOUR < r.time - T0 < 7 * HOUR)]
    assert abs(middle(rows, [start()], 20) - middle(gap, [start()], 20)) * 60 < 5


def test_site_with_two_vessels_has_a_line_for_each_batch() -> None:
    """Every open batch has its own line at each step."""
    rows = recording(lambda _: 25.0, 2) + recording(lambda _: 20.0, 2, vessel="birch")
    entries = [start(), start(batch="b2", vessel="birch")]
    told = lines(rows, entries, where=slow_site("ash", "birch"))
    assert {(line["batch"], line["time"]) for line in told} == {
        (batch, line["time"]) for batch in ("b1", "b2") for line in told
    }
    assert [line["water_c"] for line in told[:2]] == [25.0, 20.0]
    assert told[0]["time"] == "2026-03-02T07:00:00Z"
    assert (T0 % (30 * MINUTE)) == 0


def test_a_step_that_does_not_fit_begins_anew_each_day() -> None:
    """Steps of seven hours stand at 00, 07, 14 and 21 o'clock UTC of each day."""
    told = lines(recording(lambda _: 25.0, 40), [start()], every=7 * HOUR)
    assert [line["time"][11:16] for line in told] == ["07:00", "14:00", "21:00", "00:00", "07:00", "14:00", "21:00"]


@pytest.mark.parametrize("celsius", [23.0, 28.0])
def test_no_air_delays_a_dense_batch_over_the_usual_range(celsius: float) -> None:
    """Air off for 3 h at hour 5 delays ready by 2-5 h at 5 g/L, from 23 to 28 C."""
    assert 2.0 <= delay_of_three_hours_without_air(celsius, 5.0) <= 5.0


def test_a_mistyped_year_is_told_and_not_played() -> None:
    """Decades between two readings would be played for hours in silence; both ends are told."""
    first, *_, last = recording(lambda _: 25.0, 1)
    with pytest.raises(Refused, match=r"from 2026-03-02T07:00:00Z to 2062-03-0\dT\d\d:\d\d:00Z.* mistaken year"):
        lines([first, replace(last, time=T0 + 36 * 365 * DAY + 9 * DAY)], [])
