"""The check-up's findings, from made facts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.checkup import Level, size
from monitor.core.checkup_facts import Card, Facts, Machine, ProbeFacts, ServerFacts
from monitor.core.checkup_machine import about
from monitor.core.checkup_table import document, findings, rows
from monitor.core.house import ChannelHealth, Kept
from monitor.core.model import DAY, HOUR, MINUTE, SECOND
from tests.unit.core.checkups import INSIDE, MACHINE, NOW, PROBES, VERSIONS, ill, well

if TYPE_CHECKING:
    from monitor.core.checkup import Finding

GB = 1_000_000_000


def about_(facts: Facts, what: str) -> list[Finding]:
    return [one for one in findings(facts) if one.about == what]


def test_a_shed_in_which_all_is_well_gets_no_advice() -> None:
    """Every finding is fine and asks for nothing; all that is looked at is named."""
    found = findings(well())
    assert {one.level for one in found} == {Level.FINE}
    assert {one.advice for one in found} == {""}
    assert [one.about for one in found] == [
        *("disk", "store", "clock", "card", "memory", "heat", "power"),
        *("broker", "probes", "channel phone", "copy charts", "restarts", "backup"),
    ]


@pytest.mark.parametrize(
    ("machine", "what", "level", "told"),
    [
        ({"disk_free": 0.9 * GB}, "disk", Level.ACT, "900 MB of 31 GB are free"),
        ({"disk_free": 1.5 * GB}, "disk", Level.LOOK, "1.5 GB"),
        ({"disk_free": None}, "disk", Level.LOOK, "can't be told"),
        ({"store_size": 10 * GB}, "store", Level.LOOK, "grew by 499 MB a day in the last 20 days"),
        ({"card": Card("mmcblk0", 32 * GB, 20 * GB)}, "card", Level.LOOK, "write 2.0 GB a day to mmcblk0"),
        ({"memory_used": 330_000_000}, "memory", Level.LOOK, "330 MB of at most 400 MB"),
        ({"memory_free": 90_000_000}, "memory", Level.LOOK, "90 MB of 1.0 GB left"),
        ({"processor_c": 80.0}, "heat", Level.LOOK, "at 80 °C"),
        ({"power_low": True}, "power", Level.ACT, "too low at this moment"),
        ({"power_was_low": True}, "power", Level.LOOK, "was too low"),
    ],
)
def test_what_is_wrong_with_the_machine_is_found(machine: dict[str, Any], what: str, level: Level, told: str) -> None:
    """Each trouble gives one finding with the fact and advice, and leaves the others fine."""
    found = findings(well(**machine))
    (bad,) = [one for one in found if one.level is not Level.FINE]
    assert found[0] is bad
    assert (bad.about, bad.level) == (what, level)
    assert told in bad.found
    assert bad.advice


@pytest.mark.parametrize(
    ("inside", "what", "level", "told"),
    [
        ({"broker_up": False, "broker_since": NOW - 3 * MINUTE}, "broker", Level.ACT, "not been reached for 3 min"),
        ({"broker_losses": 31}, "broker", Level.LOOK, "lost 31 times in 10 days"),
        ({"broker_version": "3.1.1"}, "broker", Level.LOOK, "MQTT 3.1.1 only"),
        ({"probes": ()}, "probes", Level.LOOK, "No probe"),
        ({"channels": ()}, "channels", Level.LOOK, "No channel"),
        (
            {"channels": (ChannelHealth("phone", failing_for=HOUR, error="channel phone: it hangs", todo="Wait."),)},
            "channel phone",
            Level.ACT,
            "Nothing gets through since 01:10: it hangs.",
        ),
        ({"servers": (ServerFacts("charts", "failing", HOUR, "refused"),)}, "copy charts", Level.LOOK, "60 min behind"),
        ({"servers": (ServerFacts("charts", "behind", HOUR),)}, "copy charts", Level.LOOK, "60 min behind"),
        ({"servers": (ServerFacts("charts", "current", refused=4),)}, "copy charts", Level.LOOK, "refused 4 lines"),
        ({"unsaved_for": 5 * MINUTE, "unsaved_why": "disk full."}, "saving", Level.ACT, "for 5 min (last: disk full)."),
        ({"lost_readings": 12}, "saving", Level.LOOK, "12 readings"),
        ({"ends": (NOW - 8 * DAY, NOW - HOUR)}, "restarts", Level.LOOK, "once in the last 7 days, last after 01:10"),
        ({"ends": (NOW - HOUR,) * 3}, "restarts", Level.ACT, "3 times"),
        ({"early": 4}, "clock", Level.LOOK, "not set yet: times are from when the monitor started; 4 readings wait"),
        ({"clock_synced": False}, "clock", Level.LOOK, "not kept"),
        ({"backups": Kept(NOW - 4 * DAY, NOW - 9 * DAY)}, "backup", Level.LOOK, "Thu 02:10"),
        ({"backups": Kept(None, NOW - 4 * DAY, "no room")}, "backup", Level.LOOK, "no backup yet (last: no room)."),
    ],
)
def test_what_is_wrong_around_the_service_is_found(inside: dict[str, Any], what: str, level: Level, told: str) -> None:
    """Likewise for broker, probes, channels, copies, saving, restarts, clock and backup."""
    bad = [one for one in findings(well(inside)) if one.level is not Level.FINE]
    assert [(one.about, one.level) for one in bad] == [(what, level)]
    assert told in bad[0].found
    assert bad[0].advice


@pytest.mark.parametrize(
    ("probe", "level", "told", "advice"),
    [
        ({"gap": 16 * SECOND}, Level.LOOK, "every 16 s; configured is every 10 s", 'every = "16 s"`'),
        ({"every": 30 * MINUTE, "gap": 6 * MINUTE}, Level.LOOK, "every 6 min", 'every = "6 min"'),
        ({"fresh": False, "age": HOUR}, Level.ACT, "nothing usable for 60 min", "topic"),
        ({"fresh": False, "age": None}, Level.ACT, "never told anything usable", "topic"),
        ({"suspect": 0.3}, Level.LOOK, "30 % of its newest", "cable"),
        ({"suspect": 0.6, "reason": "a jump."}, Level.ACT, "doubtful (last: a jump)", "cable"),
        ({"messages": 9, "unreadable": 9}, Level.ACT, "None of its 9 messages", "decoder"),
    ],
)
def test_what_is_wrong_with_a_probe_is_found(probe: dict[str, Any], level: Level, told: str, advice: str) -> None:
    """It is named, and what it tells is held against what is configured; the others are fine together."""
    facts = well({"probes": (PROBES[0], replace(PROBES[1], **probe), PROBES[2])})
    (bad,) = about_(facts, "probe birch-water")
    assert bad.level is level
    assert told in bad.found
    assert advice in bad.advice
    (others,) = about_(facts, "probes")
    assert (others.level, others.found) == (Level.FINE, "2 of 3 report as configured.")


def test_a_probe_that_may_still_report_is_left_in_peace() -> None:
    """Just after a start none has told anything; that is no finding before it would ring."""
    new = ProbeFacts("ash-water", 10 * SECOND)
    (early,) = about_(well({"probes": (new, *PROBES[1:]), "began": NOW - 80 * SECOND}), "probes")
    assert early.found == "2 of 3 report as configured; 1 may still report for the first time."
    (bad,) = about_(well({"probes": (new,), "began": NOW - 100 * SECOND}), "probe ash-water")
    assert bad.level is Level.ACT


def test_without_a_broker_no_probe_is_blamed() -> None:
    """One cause is one finding."""
    silent = replace(PROBES[0], fresh=False, age=HOUR)
    bad = [one for one in findings(well({"broker_up": False, "probes": (silent,)})) if one.level is not Level.FINE]
    assert [one.about for one in bad] == ["broker"]


def test_a_disk_that_bears_it_may_be_written_to() -> None:
    """Only cards and sticks wear out so soon."""
    assert about_(well(card=Card("nvme0n1", 32 * GB, 900 * GB)), "card")[0].level is Level.FINE


def test_the_worst_comes_first() -> None:
    """What wants action, then what wants a look, then the rest, and the whole is as bad as its worst."""
    told = document(ill(), NOW)
    levels = [one["level"] for one in told["findings"]]
    assert levels == sorted(levels, key=["act", "look", "fine"].index)
    assert told["level"] == "act"
    assert {one["about"] for one in told["findings"] if one["level"] == "act"} == {
        *("power", "probe cedar-water", "channel phone"),
    }


def test_what_cannot_be_told_is_no_trouble() -> None:
    """On a machine that tells nothing but its disk, and after a start without a view, nothing is made up."""
    bare = Facts(VERSIONS, Machine(disk_free=9 * GB))
    assert [(one.about, one.level) for one in findings(bare)] == [("disk", Level.FINE)]
    early = well({"sizes": (), "backups": None, "clock_synced": None}, ran_for=MINUTE, up_for=MINUTE)
    assert {one.level for one in findings(early)} == {Level.FINE}
    assert about_(early, "store")[0].found == "The store takes 60 MB. How fast it grows is known after a day."
    assert not about_(early, "card")


def test_a_clock_that_was_never_set_wants_action() -> None:
    """A board without a clock of its own begins long ago."""
    (found,) = about_(Facts(VERSIONS, MACHINE, replace(INSIDE, now=4 * DAY, began=4 * DAY, ends=())), "clock")
    assert (found.level, "not set yet" in found.found) == (Level.ACT, True)


def test_growth_tells_how_long_the_disk_lasts() -> None:
    """40 MB in 20 days are 2 MB a day; 24 GB hold that for 33 years."""
    (found,) = about_(well(), "store")
    assert found.found == "The store takes 60 MB and grew by 2.0 MB a day in the last 20 days."
    assert "about 33 years" in found.means


@pytest.mark.parametrize(
    ("years", "told"),
    [(60, "more than 50 years"), (3.2, "about 3 years"), (0.5, "about 6 months"), (0.01, "about 4 days")],
)
def test_years_are_said_in_words(years: float, told: str) -> None:
    """No more figures than are known."""
    assert about(years) == told


@pytest.mark.parametrize(("count", "told"), [(0, "0 B"), (999, "999 B"), (4_100_000, "4.1 MB"), (2e13, "20 TB")])
def test_sizes_are_said_in_two_figures(count: float, told: str) -> None:
    """In decimal units, as cards are sold."""
    assert size(count) == told


def test_every_fact_has_a_value_with_its_unit_and_its_words() -> None:
    """What is a number has a unit, what is a word or yes and no has none."""
    told = {(row.about, row.name): row for row in rows(well())}
    assert told["store", "growth"].document() | {"about": "", "name": ""} == {
        "about": "",
        "name": "",
        "value": 2_000_000,
        "unit": "By/d",
        "text": "2.0 MB a day",
    }
    assert told["probe ash-water", "should report every"].value == 10
    assert told["card", "written by the monitor"].text == "30 MB a day"
    for row in told.values():
        assert row.text
        number = isinstance(row.value, int | float) and not isinstance(row.value, bool)
        assert number is (row.unit is not None), row
