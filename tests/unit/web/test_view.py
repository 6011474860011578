from __future__ import annotations

from typing import Any

import pytest

from monitor.core.model import MINUTE
from monitor.web.view import make_view
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, a_batch, an_alarm, bad_night, measured, span


def calm(**vessel: Any) -> dict[str, Any]:
    bench = bad_night()
    bench["alarms"] = []
    bench["vessels"] = [{**bench["vessels"][0], **vessel}]
    return bench


def test_alarms_come_gravest_first_and_those_to_acknowledge_before_the_rest() -> None:
    """What needs a person stands on top."""
    view = make_view(bad_night())
    assert [alarm.id for alarm in view.alarms] == [
        "air-stopped:birch",
        "probe-silent:cedar-water",
        "cold-snap:ash",
    ]
    assert view.headline == "Act now: 2 alarms"
    assert view.grave == "high"
    assert [vessel.mark for vessel in view.vessels] == ["medium", "high", ""]


def test_the_headline_tells_how_urgent_it_is() -> None:
    """The first line says how soon the gravest alarm needs a person."""
    bench = calm()
    bench["alarms"] = [an_alarm("air-stopped", "ash", "high", 3, title="Air stopped in ash")]
    assert make_view(bench).headline == "Act now: 1 alarm"


def test_no_alarm_without_a_link_is_not_called_calm() -> None:
    """Silence of a cut line is never shown as peace."""
    bench = calm(batch=None)
    assert make_view(bench).headline == "Nothing needs you"
    bench["broker"] = {"connected": False, "since": as_rfc3339(NOW - 20 * MINUTE)}
    view = make_view(bench)
    assert view.headline == "Not watching: no link"
    assert "since today 01:50" in view.broker


@pytest.mark.parametrize(
    ("age_s", "fresh", "age"),
    [(12, True, ""), (119, True, ""), (240, True, "4 min"), (5, False, "5 s"), (1500, False, "25 min")],
)
def test_a_number_that_is_not_fresh_or_not_young_tells_its_age(age_s: int, fresh: bool, age: str) -> None:
    """Stale is never shown as fresh."""
    water = make_view(calm(water=measured(24.1, age_s, "w", fresh=fresh))).vessels[0].water
    assert (water.fresh, water.age) == (fresh, age)


@pytest.mark.parametrize("word", ["running", "weak", "stopped"])
def test_air_is_told_in_a_word(word: str) -> None:
    """What the air does is a word of its own, whichever it is."""
    air = make_view(calm(air=measured(word, 8, "ash-air"))).vessels[0].air
    assert (air.word, air.text, air.fresh) == (word, word, True)


def test_doubtful_readings_say_why() -> None:
    """The quality of a reading is told in words."""
    water = measured(24.1, 30, "w", fresh=False, quality="last-known")
    assert make_view(calm(water=water)).vessels[0].water.doubt == "last known"


def test_an_estimate_on_old_water_says_so() -> None:
    """An estimate is no better than the reading it stands on."""
    vessel = make_view(calm(water=measured(24.1, 1500, "w", fresh=False))).vessels[0]
    assert vessel.batch is not None
    assert "old" in vessel.batch.caution
    vessel = make_view(calm(water=None)).vessels[0]
    assert vessel.batch is not None
    assert "guess" in vessel.batch.caution


@pytest.mark.parametrize(
    ("ready", "stage", "lead", "main", "feeding"),
    [
        (span(3, 4.5, 7), "hatching", "Ready about", "today 06:40", "perhaps for today 07:00"),
        (span(-3, -1.5, 0.5), "ready", "Ready since", "today 00:40", "Next feeding: today 07:00"),
        (span(3, None, None), "developing", "Ready", "today 05:10 or later", "perhaps for today 07:00"),
        (span(None, None, None), "developing", "Ready", "not in sight", ""),
        (span(None, None, None), "lost", "This batch is", "lost", ""),
    ],
)
def test_when_it_is_ready_is_said_in_words_whatever_is_known(
    ready: dict[str, Any], stage: str, lead: str, main: str, feeding: str
) -> None:
    """Every form of a range has its sentence."""
    batch = make_view(calm(batch=a_batch("ash", ready=ready, stage=stage))).vessels[0].batch
    assert batch is not None
    assert (batch.lead, batch.main) == (lead, main)
    assert feeding in batch.feeding
    assert (batch.band is not None) == (lead == "Ready about" or "later" in main)


def test_a_feeding_time_is_only_called_likely_when_the_whole_range_lies_before_it() -> None:
    """Nobody is promised a feed that may come too late."""
    batch = make_view(calm(batch=a_batch("ash", ready=span(3, 4.5, 7)))).vessels[0].batch
    assert batch is not None
    assert batch.feeding == "In time: perhaps for today 07:00, very likely for today 19:00"
    batch = make_view(calm(batch=a_batch("ash", ready=span(3, 4, 4.5)))).vessels[0].batch
    assert batch is not None
    assert batch.feeding == "In time: very likely for today 07:00"


def test_a_clock_that_is_not_set_is_said() -> None:
    """Nobody takes a time of 1970 for true; once it is set nothing is said."""
    bench = bad_night()
    assert make_view(bench).clock_unset == ""
    bench["clock_set"] = False
    assert make_view(bench).clock_unset.startswith("The clock is not set yet: times are from when the monitor started.")


def test_simulated_time_is_said() -> None:
    """Nobody mistakes a demonstration for the real bench."""
    bench = calm()
    assert make_view(bench).simulated == ""
    bench["simulated"] = {"speed": 60}
    view = make_view(bench)
    assert view.simulated == "Simulated time, 60 times as fast"
    assert view.speed == 60
