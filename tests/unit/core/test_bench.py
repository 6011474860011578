"""The bench as a document that a machine reads: every number says what it is, when, how old and how good."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from monitor.core.bench import bench
from monitor.core.log import Seen, Settle, Sight, Work
from monitor.core.model import HOUR, MINUTE, SECOND, AlarmSettings, BrokerLink, Measures
from tests.unit.core.worlds import T0, Shed, probe, site

INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
MEASUREMENT = {"value", "unit", "time", "age_s", "quality", "fresh", "probe"}


def shed_with_a_room() -> Shed:
    where = site("ash", "birch")
    where.probes["shed-room"] = probe("shed-room", Measures.ROOM, None)
    shed = Shed(where)
    shed.begin()
    shed.say("shed-room", 17.125)
    shed.run(3 * MINUTE, 24.126)
    return shed


def document(shed: Shed) -> dict[str, Any]:
    estimates = {name: shed.engine.estimate(name, shed.now) for name in shed.engine.open_batches()}
    told: dict[str, Any] = json.loads(json.dumps(bench(shed.engine, estimates, shed.now), allow_nan=False))
    return told


def test_every_measured_value_says_what_it_is() -> None:
    """Water, air and room have value, unit, time, age, quality and freshness, and name their probe."""
    told = document(shed_with_a_room())
    ash = told["vessels"][0]
    for measured in (ash["water"], ash["air"], *told["room"]):
        assert set(measured) == MEASUREMENT
        assert INSTANT.fullmatch(measured["time"])
    assert ash["water"] == {
        "value": 24.13,
        "unit": "Cel",
        "time": "2026-03-02T07:02:00Z",
        "age_s": 60,
        "quality": "ok",
        "fresh": True,
        "probe": "ash-water",
    }
    assert (ash["air"]["value"], ash["air"]["unit"]) == ("running", None)
    assert (told["room"][0]["value"], told["room"][0]["age_s"]) == (17.12, 180)


def test_what_has_told_nothing_is_nothing() -> None:
    """A probe that has told nothing, or nothing usable, has no value: not zero, not the last one of another."""
    shed = Shed(site("ash", "birch"))
    shed.say("birch-water", 85.0)
    shed.say("birch-air", True, retained=True)
    for vessel in document(shed)["vessels"]:
        assert (vessel["water"], vessel["air"], vessel["batch"]) == (None, None, None)
        assert (vessel["settling_until"], vessel["work_until"]) == (None, None)


def test_stale_is_marked_and_ages() -> None:
    """After two periods a value is still shown, with its age, and no longer fresh."""
    shed = shed_with_a_room()
    shed.now = T0 + 2 * MINUTE + 2 * MINUTE
    water = document(shed)["vessels"][0]["water"]
    assert (water["fresh"], water["age_s"], water["value"]) == (True, 120, 24.13)
    shed.now += 1 * SECOND
    water = document(shed)["vessels"][0]["water"]
    assert (water["fresh"], water["age_s"], water["value"]) == (False, 121, 24.13)
    shed.now += 5 * HOUR
    told = document(shed)
    assert [told["vessels"][0][what]["fresh"] for what in ("water", "air")] == [False, False]
    assert told["vessels"][0]["air"]["age_s"] == 5 * 3600 + 121


def test_a_clamped_value_says_so() -> None:
    """A good value whose time could not be true is fresh and flagged."""
    shed = Shed()
    shed.say("ash-water", 24.0, own=T0 + HOUR)
    water = document(shed)["vessels"][0]["water"]
    assert (water["quality"], water["fresh"], water["time"]) == ("clamped", True, "2026-03-02T07:00:00Z")


def test_the_newest_of_two_probes_is_shown() -> None:
    """Of two probes in one vessel the one that spoke last is shown, by name."""
    where = site()
    where.probes["ash-deep"] = probe("ash-deep", Measures.WATER)
    shed = Shed(where)
    for k, name in enumerate(["ash-water", "ash-deep", "ash-water"]):
        shed.now = T0 + k * SECOND
        shed.say(name, 20.0 + k)
        water = document(shed)["vessels"][0]["water"]
        assert (water["probe"], water["value"]) == (name, 20.0 + k)


def test_a_batch_is_told_with_its_ranges() -> None:
    """A batch has what was logged of it, its stage, and every estimate as low, middle and high."""
    batch = document(shed_with_a_room())["vessels"][0]["batch"]
    assert (batch["id"], batch["lot"], batch["cysts_g"], batch["litres"], batch["stage"]) == (
        "b1",
        "new",
        1,
        1,
        "soaking",
    )
    for name in ("t10", "t50", "t90", "ready"):
        assert set(batch[name]) == {"lo", "mid", "hi"}
        assert all(INSTANT.fullmatch(batch[name][end]) for end in ("lo", "mid"))
        assert batch[name]["lo"] < batch[name]["mid"]
    assert 0 <= batch["hatched"]["lo"] <= batch["hatched"]["mid"] <= batch["hatched"]["hi"] <= 1


def test_alarms_say_all_there_is_to_say() -> None:
    """An alarm has its words, its state, its times and the reason for it; settling and the broker are told, too."""
    shed = shed_with_a_room()
    shed.run(2 * MINUTE, air=False)
    shed.do(BrokerLink(shed.now, up=False))
    told = document(shed)
    alarm = next(a for a in told["alarms"] if a["id"] == "air-stopped:ash")
    assert (alarm["rule"], alarm["subject"], alarm["state"]) == ("air-stopped", "ash", "unacknowledged")
    assert all(alarm[word] for word in ("title", "text", "todo", "reason", "priority"))
    assert INSTANT.fullmatch(alarm["since"])
    assert INSTANT.fullmatch(alarm["changed"])
    assert told["broker"] == {"connected": False, "since": "2026-03-02T07:05:00Z"}
    shed.do(Settle(shed.now, shed.now, "ash", shed.now + 15 * MINUTE))
    assert document(shed)["vessels"][0]["settling_until"] == "2026-03-02T07:20:00Z"


def test_how_long_a_vessel_settles_is_as_the_site_has_set_it() -> None:
    """The page's button and a bare request follow the setting."""
    assert document(Shed())["vessels"][0]["settling_minutes"] == 15
    slow = Shed(site(alarms=AlarmSettings(settling=25 * MINUTE)))
    assert document(slow)["vessels"][0]["settling_minutes"] == 25


def test_work_on_a_vessel_is_told_until_it_ends() -> None:
    """Until when somebody works on a vessel stands with it alone, also after a restart, and goes when the time is over."""
    shed = shed_with_a_room()
    shed.do(Work(shed.now, shed.now, "birch", shed.now + 30 * MINUTE))
    for one in (shed, shed.restarted()):
        assert [vessel["work_until"] for vessel in document(one)["vessels"]] == [None, "2026-03-02T07:33:00Z"]
        one.wait(30 * MINUTE)
        assert [vessel["work_until"] for vessel in document(one)["vessels"]] == [None, None]


def test_the_meals_around_now_are_told() -> None:
    """Feeding times from half a day ago to three days ahead."""
    assert document(shed_with_a_room())["meals"] == [
        "2026-03-02T06:00:00Z",
        "2026-03-03T06:00:00Z",
        "2026-03-04T06:00:00Z",
        "2026-03-05T06:00:00Z",
    ]


@pytest.mark.parametrize(("speed", "told"), [(None, None), (60.0, {"speed": 60.0})])
def test_simulated_time_is_told(speed: float | None, told: dict[str, float] | None) -> None:
    """A bench whose time is simulated says so, and how fast it runs."""
    shed = Shed()
    assert bench(shed.engine, {}, T0, sim_speed=speed)["simulated"] == told
    assert bench(shed.engine, {}, T0)["now"] == "2026-03-02T07:00:00Z"


def test_with_the_air_off_ready_is_told_under_a_condition() -> None:
    """While the air is off the estimate says that it holds if the air runs again now."""
    shed = Shed()
    shed.run(MINUTE)
    shed.begin()
    shed.run(10 * MINUTE)
    assert shed.engine.estimate("b1", shed.now).note == ""
    shed.run(10 * MINUTE, air=False)
    assert shed.engine.estimate("b1", shed.now).note == "if the air runs again now"


def test_every_probe_is_told_also_one_that_has_said_nothing() -> None:
    """A program sees all that is configured: what it measures, in what unit, how often, and its newest value if there is one."""
    shed = shed_with_a_room()
    shed.site.probes["birch-spare"] = probe("birch-spare", Measures.WATER, "birch")
    told = {one["id"]: one for one in document(Shed(shed.site))["probes"]}
    assert told["birch-spare"] == {
        "id": "birch-spare",
        "measures": "water",
        "vessel": "birch",
        "store": None,
        "tank": None,
        "unit": "Cel",
        "every_s": 60,
        "newest": None,
    }
    told = {one["id"]: one for one in document(shed)["probes"]}
    assert told["ash-water"]["newest"] == document(shed)["vessels"][0]["water"]
    assert (told["ash-air"]["unit"], told["shed-room"]["vessel"]) == (None, None)


def test_the_numbers_of_a_batch_say_when_they_were_reckoned_and_what_they_rest_on() -> None:
    """An estimate that is old, or made from a probe that has gone quiet, cannot be taken for a new one."""
    shed = shed_with_a_room()
    estimates = {name: shed.engine.estimate(name, shed.now) for name in shed.engine.open_batches()}
    batch = bench(shed.engine, estimates, shed.now)["vessels"][0]["batch"]
    assert (batch["age_s"], batch["quality"], batch["fresh"], batch["water_c"]) == (0, "ok", True, 24.13)
    assert batch["units"].items() >= {"cysts_g": "g", "litres": "L", "salinity_g_l": "g/L"}.items()
    batch = bench(shed.engine, estimates, shed.now + 10 * MINUTE)["vessels"][0]["batch"]
    assert (batch["age_s"], batch["fresh"]) == (600, False)


def test_a_batch_tells_the_newest_look_and_when_the_first_were_seen() -> None:
    """Looks count by when they were made, not by when they were written down."""
    shed = shed_with_a_room()
    batch = document(shed)["vessels"][0]["batch"]
    assert (batch["looked"], batch["first_seen"]) == (None, None)
    for minutes, what in ((2, Sight.NONE), (1, Sight.FIRST), (3, Sight.NONE)):
        shed.now += SECOND
        shed.do(Seen(T0 + minutes * MINUTE, shed.now, "b1", what))
    batch = document(shed)["vessels"][0]["batch"]
    assert batch["looked"] == {"what": "none", "time": "2026-03-02T07:03:00Z"}
    assert batch["first_seen"] == "2026-03-02T07:01:00Z"
