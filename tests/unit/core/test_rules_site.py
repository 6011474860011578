"""The house: disk, clock, channels, restarts and the weekly test, as the shell tells them and a keeper hears them."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.house import Began, ChannelHealth, Crashes, Host, WeeklyPlan
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Acknowledge,
    AlarmSettings,
    AlarmState,
    Ms,
    Priority,
    PutBackInService,
    SiteSpec,
    TakeOutOfService,
    Tick,
)
from tests.unit.core.worlds import T0, Shed, site

GB = 1_000_000_000
ROOMY = {"disk_free": 20 * GB, "disk_size": 32 * GB}
SUNDAY = 6
FRIDAY_1970 = 2 * HOUR
"""A board's clock that was never set."""


def bare(alarms: AlarmSettings, zone: str = "Europe/Berlin") -> SiteSpec:
    """A shed in which only the house can ring: no probe falls silent."""
    return site(alarms=alarms, timezone=zone, probes={})


class Home(Shed):
    """A shed whose service tells what it measures before each tick of the tests."""

    def __init__(self, now: Ms = T0, *, clean: bool = True, alive: Ms | None = None) -> None:
        super().__init__(bare(AlarmSettings(test_day=None)), now)
        self.facts: dict[str, object] = dict(ROOMY)
        self.do(Began(now, alive, clean))
        self.measure()

    def measure(self, **facts: object) -> None:
        self.facts |= facts
        self.do(Host(self.now, **self.facts))  # type: ignore[arg-type]

    def pass_time(self, length: Ms, step: Ms = MINUTE, **facts: object) -> None:
        """Time passes, measured once a ``step``."""
        self.facts |= facts
        end = self.now + length
        while self.now < end:
            self.measure()
            self.wait(min(step, end - self.now))

    def text(self, alarm: str) -> str:
        return next(f"{a.title}: {a.text}" for a in self.engine.alarms() if a.id == alarm)

    def again(self, *, clean: bool, alive: Ms | None = None, settings: AlarmSettings | None = None) -> Home:
        """The service after a restart at the present time; only what is kept comes along."""
        fresh = Home.__new__(Home)
        where = self.site if settings is None else bare(settings)
        fresh.__dict__ = self.restarted(where).__dict__
        fresh.facts = dict(self.facts)
        fresh.do(Began(fresh.now, self.now if alive is None else alive, clean))
        fresh.measure()
        return fresh


def ids(home: Shed) -> list[str]:
    return [move.alarm.id for move in home.told()]


# -- the disk


def test_a_disk_that_fills_is_told_before_it_is_full() -> None:
    """Below 5 % one alarm says how much is left and what the monitor does then; it ends only with a fifth more."""
    home = Home()
    home.pass_time(10 * MINUTE, disk_free=round(1.55 * GB))
    assert ids(home) == ["disk-low:site"]
    assert "1550 MB are free, 4.8 % of the disk" in home.text("disk-low:site")
    assert "go on from memory" in home.text("disk-low:site")
    assert home.moves[-1].alarm.priority is Priority.LOW
    home.pass_time(HOUR, disk_free=round(1.7 * GB))
    assert home.state("disk-low:site") is AlarmState.UNACKNOWLEDGED
    home.pass_time(HOUR, disk_free=3 * GB)
    assert home.state("disk-low:site") is AlarmState.RETURNED
    assert len(ids(home)) == 2


@pytest.mark.parametrize(
    ("free", "size", "rings"),
    [
        (150_000_000, 2 * GB, True),  # 7 %, but little
        (250_000_000, 4 * GB, False),
        (250_000_000, 8 * GB, True),
        (20 * GB, 1000 * GB, False),  # 2 %, but a year's worth
        (1_900_000_000, 1000 * GB, True),
        (None, None, False),
        (150_000_000, None, True),
    ],
)
def test_how_much_is_little_depends_on_the_disk(free: int | None, size: int | None, rings: bool) -> None:
    """A share of the disk counts only while it is less than anybody could need; what can't be measured rings nothing."""
    home = Home()
    home.pass_time(10 * MINUTE, disk_free=free, disk_size=size)
    assert bool(ids(home)) is rings


def test_a_store_that_takes_nothing_weighs_more_than_a_full_disk() -> None:
    """An acknowledged early warning is told anew, once, when nothing is saved any more, with the reason and since when."""
    home = Home()
    home.pass_time(10 * MINUTE, disk_free=100_000_000)
    home.do(Acknowledge(home.now, "disk-low:site"))
    since = home.now
    for minute in range(30):
        home.pass_time(MINUTE, disk_free=0, unsaved_for=(minute + 1) * MINUTE, unsaved_why="no space left.")
    assert [move.alarm.priority for move in home.told()] == [Priority.LOW, Priority.MEDIUM]
    assert home.moves[-1].reason == "the store takes nothing any more"
    local = datetime.fromtimestamp(since / 1000, ZoneInfo("Europe/Berlin")).strftime("%H:%M")
    assert f"takes nothing since {local}: no space left. 0 MB are free" in home.text("disk-low:site")
    home.pass_time(HOUR, disk_free=20 * GB, unsaved_for=None)
    assert home.told()[-1].alarm.state is AlarmState.RETURNED


def test_a_disk_busy_for_seconds_is_nobodys_trouble() -> None:
    """A store that takes nothing for half a minute rings nothing."""
    home = Home()
    home.measure(unsaved_for=30 * SECOND, unsaved_why="busy")
    home.pass_time(HOUR, unsaved_for=None)
    assert ids(home) == []


# -- the clock


def test_a_clock_not_kept_by_anything_is_told_after_two_hours() -> None:
    """Only where it can be told, and not sooner than a router takes to come back; over when it is kept again."""
    home = Home()
    home.pass_time(DAY, clock_synced=None)
    home.pass_time(HOUR, clock_synced=False)
    home.pass_time(HOUR, clock_synced=True)
    assert ids(home) == []
    home.pass_time(3 * HOUR, clock_synced=False)
    assert ids(home) == ["clock-wrong:site"]
    assert home.moves[-1].alarm.priority is Priority.LOW
    assert "minutes left in an alarm stay right" in home.text("clock-wrong:site")
    home.pass_time(HOUR, clock_synced=True)
    assert home.state("clock-wrong:site") is AlarmState.RETURNED


def test_a_clock_that_was_never_set_is_surely_wrong() -> None:
    """A clock that stays in 1970 is told as such; one that the network sets within minutes is not, nor is its jump."""
    stays = Home(FRIDAY_1970)
    stays.pass_time(20 * MINUTE)
    assert ids(stays) == ["clock-wrong:site"]
    assert "01 Jan 1970" in stays.text("clock-wrong:site")
    assert stays.moves[-1].alarm.priority is Priority.MEDIUM

    soon = Home(FRIDAY_1970)
    soon.pass_time(3 * MINUTE)
    soon.jump(T0 - soon.now)
    soon.pass_time(2 * HOUR)
    assert ids(soon) == []


def test_a_clock_behind_what_was_known_is_surely_wrong() -> None:
    """Standing before an instant at which it ran already, it says both; a reference that keeps the clock refutes it."""
    home = Home(T0, alive=T0 + 30 * DAY)
    home.pass_time(20 * MINUTE)
    assert "02 Mar 2026" in home.text("clock-wrong:site")
    assert "01 Apr 2026" in home.text("clock-wrong:site")
    assert home.told()[0].alarm.priority is Priority.MEDIUM

    kept = Home(T0, alive=T0 + 30 * DAY)
    kept.pass_time(DAY, clock_synced=True)
    assert ids(kept) == []

    lost = Home(T0, alive=T0 + 3650 * DAY)  # it was the other time that was wrong
    lost.pass_time(25 * HOUR)
    assert lost.state("clock-wrong:site") is AlarmState.RETURNED


@pytest.mark.parametrize(("by", "rings"), [(5 * MINUTE, False), (-5 * MINUTE, False), (-HOUR, True), (3 * HOUR, True)])
def test_a_clock_set_by_far_is_told(by: Ms, rings: bool) -> None:
    """A large jump is told where nothing says that the clock is right now; a correction is not."""
    home = Home()
    home.pass_time(HOUR)
    home.jump(by)
    home.pass_time(20 * MINUTE)
    assert ids(home) == (["clock-wrong:site"] if rings else [])


def test_a_jump_that_a_reference_made_is_not_told() -> None:
    """The network set the clock and keeps it: nobody needs to do anything."""
    home = Home()
    home.pass_time(HOUR)
    home.jump(3 * HOUR)
    home.pass_time(2 * HOUR, clock_synced=True)
    assert ids(home) == []


def test_simulated_time_is_no_wrong_clock() -> None:
    """Whatever a simulation begins with, its clock is not complained of."""
    home = Home(FRIDAY_1970, alive=T0)
    home.measure(simulated=True, clock_synced=False)
    home.pass_time(DAY)
    assert ids(home) == []


# -- channels

PHONE = ChannelHealth("phone", works=True)
BOARD = ChannelHealth("board")


def failing(length: Ms, waiting: int = 2) -> ChannelHealth:
    return ChannelHealth(
        "phone", length, False, waiting, "Air stopped in ash", "channel phone: no route to host", "Plug in the router."
    )


def test_a_channel_that_takes_nothing_is_told_once() -> None:
    """After ten minutes, not before: which letter waits, since when, the last error and what to do; over with a letter."""
    home = Home()
    home.pass_time(5 * MINUTE, channels=(failing(9 * MINUTE), BOARD))
    assert ids(home) == []
    for minute in range(10, 120):
        home.pass_time(MINUTE, channels=(failing(minute * MINUTE), BOARD))
    assert ids(home) == ["delivery-failing:phone"]
    text = home.text("delivery-failing:phone")
    assert '2 letters wait: "Air stopped in ash" and newer ones. Last: no route to host.' in text
    assert home.told()[0].alarm.todo.startswith("Plug in the router.")
    assert home.told()[0].alarm.priority is Priority.MEDIUM
    home.pass_time(MINUTE, channels=(PHONE, BOARD))
    assert home.told()[-1].alarm.state is AlarmState.RETURNED


def test_a_restart_does_not_make_a_channel_work() -> None:
    """After a restart nothing is known of a channel: its alarm stands until a letter got through."""
    home = Home()
    home.pass_time(HOUR, channels=(failing(HOUR),))
    later = home.again(clean=True)
    later.pass_time(HOUR, channels=(ChannelHealth("phone"),))
    assert later.state("delivery-failing:phone") is AlarmState.UNACKNOWLEDGED
    assert later.told() == []
    later.pass_time(MINUTE, channels=(PHONE,))
    assert later.state("delivery-failing:phone") is AlarmState.RETURNED


def test_an_alarm_of_a_channel_goes_with_the_channel() -> None:
    """Only when it is known which channels there are, and this one is not among them, its alarm is over, untold."""
    home = Home()
    home.pass_time(HOUR, channels=(failing(HOUR),))
    fresh = home.restarted()
    fresh.wait(10 * MINUTE)
    assert fresh.state("delivery-failing:phone") is AlarmState.UNACKNOWLEDGED
    fresh.do(Host(fresh.now, channels=(BOARD,)))
    fresh.wait(10 * MINUTE)
    assert fresh.state("delivery-failing:phone") is AlarmState.NORMAL
    assert fresh.told() == []


def test_what_a_channel_refused_for_good_counts_too() -> None:
    """A channel that refuses everything has no letter waiting and reaches nobody all the same."""
    home = Home()
    home.pass_time(MINUTE, channels=(failing(HOUR, waiting=0),))
    assert "refused for good" in home.text("delivery-failing:phone")


# -- restarts


def test_an_end_without_warning_is_told_with_the_time_nobody_watched() -> None:
    """Once, low, from when to when; it ends by itself and nobody is told of that."""
    home = Home(T0, clean=False, alive=T0 - 2 * MINUTE)
    home.pass_time(13 * HOUR)
    assert ids(home) == ["restarted:site"]
    told = home.told()[0].alarm
    assert told.priority is Priority.LOW
    assert "Nothing was watched between 07:58 and 08:00" in told.text
    assert home.state("restarted:site") is AlarmState.RETURNED


def test_a_long_time_unwatched_weighs_more() -> None:
    """Away for hours, as in a power cut, is worth a push of its own."""
    home = Home(T0, clean=False, alive=T0 - 3 * HOUR)
    home.pass_time(5 * MINUTE)
    assert [move.alarm.priority for move in home.told()] == [Priority.MEDIUM]


@pytest.mark.parametrize(("clean", "alive"), [(True, T0 - HOUR), (True, None), (False, None)])
def test_an_end_that_was_asked_for_is_not_told(clean: bool, alive: Ms | None) -> None:
    """Neither a service that was told to end nor the first beginning of all is anybody's trouble."""
    home = Home(T0, clean=clean, alive=alive)
    home.pass_time(DAY)
    assert ids(home) == []


def test_a_loop_of_crashes_is_told_once_and_once_more_with_its_number() -> None:
    """200 ends without warning in a row make one letter, and another that counts when they have gone on for an hour."""
    home = Home(T0, clean=False, alive=T0 - 5 * SECOND)
    letters = [*home.told()]
    for _ in range(199):
        home.pass_time(30 * SECOND, 10 * SECOND)
        letters += home.told()
        home = home.again(clean=False, alive=home.now - 10 * SECOND)
    home.pass_time(HOUR)
    letters += home.told()
    assert [move.alarm.priority for move in letters] == [Priority.LOW, Priority.MEDIUM]
    assert letters[1].reason == "it keeps ending without warning"
    assert "times since 08:00" in letters[1].alarm.text
    assert "200 times since 08:00" in home.text("restarted:site")


def test_a_quick_loop_of_crashes_is_told_although_no_run_lasts() -> None:
    """Runs of seconds each, none as long as the delay of the alarm: it is told all the same."""
    home = Home(T0, clean=False, alive=T0)
    letters = [*home.told()]
    for _ in range(30):
        home.pass_time(5 * SECOND, SECOND)
        letters += home.told()
        home = home.again(clean=False)
    assert [move.alarm.id for move in letters] == ["restarted:site"]


def test_what_was_acknowledged_is_told_again_only_when_it_goes_on() -> None:
    """A second crash after an acknowledged one is only counted; a planned restart in between is not counted at all."""
    home = Home(T0, clean=False, alive=T0 - SECOND)
    home.pass_time(10 * MINUTE)
    home.do(Acknowledge(home.now, "restarted:site"))
    home = home.again(clean=False).again(clean=True)
    home.pass_time(HOUR)
    assert home.told() == []
    assert "twice since 08:00" in home.text("restarted:site")


def test_the_gap_is_right_once_the_clock_is() -> None:
    """A board that wakes with the clock of hours ago tells the gap by the clock that the network sets."""
    home = Home(T0 - 10 * MINUTE, clean=False, alive=T0)
    home.pass_time(30 * SECOND)
    home.jump(3 * HOUR)
    home.pass_time(10 * MINUTE, clock_synced=True)
    assert "Nothing was watched between 08:00 and 10:50" in home.text("restarted:site")


# -- the weekly test


def weekly(now: Ms = T0, zone: str = "Europe/Berlin", at: int = 18 * 60, day: int = SUNDAY) -> Home:
    home = Home.__new__(Home)
    Shed.__init__(home, bare(AlarmSettings(test_day=day, test_at=at), zone), now)
    home.facts = dict(ROOMY) | {"channels": (PHONE,)}
    home.do(Began(now))
    home.measure()
    return home


def local(time: Ms, zone: str = "Europe/Berlin") -> str:
    return datetime.fromtimestamp(time / 1000, ZoneInfo(zone)).strftime("%a %d %b %H:%M")


def test_the_weekly_test_asks_and_ends_with_an_acknowledgement() -> None:
    """Never at once after it was set up; on its day at its hour it asks, low; acknowledged it is over and nobody is told."""
    home = weekly()  # a Monday
    home.pass_time(8 * DAY, HOUR)
    assert [local(move.time) for move in home.told()[:1]] == ["Sun 08 Mar 18:00"]
    first = home.told()[0]
    assert first.alarm.priority is Priority.LOW
    assert "Acknowledge it so that I know alerts reach you" in first.alarm.text
    home.do(Acknowledge(home.now, "weekly-test:site", "phone"))
    home.pass_time(HOUR)
    assert home.state("weekly-test:site") is AlarmState.NORMAL


def test_a_test_that_nobody_acknowledges_is_told_once_more() -> None:
    """After a day it weighs more and is told again, once; a week later the next one asks, and low again."""
    home = weekly()
    home.pass_time(14 * DAY, HOUR)
    told = [(local(move.time), move.alarm.priority.value) for move in home.told()]
    # The one before ends in one step, the next begins in another.
    assert told == [("Sun 08 Mar 18:00", "low"), ("Mon 09 Mar 18:00", "medium"), ("Sun 15 Mar 18:05", "low")]
    assert home.told()[1].alarm.title == "Nobody acknowledged the weekly test"


def test_an_acknowledged_test_is_not_told_again_before_its_week() -> None:
    """Whoever acknowledges hears of the next test on the next Sunday, and of nothing in between."""
    home = weekly()
    for _ in range(4 * 7 * 24):
        home.pass_time(HOUR, HOUR)
        if home.state("weekly-test:site") is AlarmState.UNACKNOWLEDGED:
            home.do(Acknowledge(home.now, "weekly-test:site"))
    assert [local(move.time) for move in home.told()] == [
        "Sun 08 Mar 18:00",
        "Sun 15 Mar 18:00",
        "Sun 22 Mar 18:00",
        "Sun 29 Mar 18:00",  # the clocks have changed
    ]


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"])
@given(begin=st.integers(0, 52 * 7 * 24 * 4), at=st.integers(0, 24 * 60 - 1), day=st.integers(0, 6))
def test_every_week_has_one_test(zone: str, begin: int, at: int, day: int) -> None:
    """At whatever hour, also one that a clock change skips or repeats: one test in each week, on its day, none twice."""
    start = T0 + begin * 15 * MINUTE
    home = weekly(start, zone, at, day)
    dues: list[Ms] = []
    for _ in range(3):
        home.do(Tick(home.now))
        home.do(Tick(home.now + SECOND))  # one step ends the test before, another begins the next
        plan = home.engine.state.house.test
        assert plan is not None
        dues.append(plan.due)
        home.now = plan.due
        home.measure()
    assert start < dues[0] <= start + 7 * DAY + 2 * HOUR
    assert all(abs(later - earlier - 7 * DAY) <= HOUR for earlier, later in pairwise(dues))
    there = [datetime.fromtimestamp(due / 1000, ZoneInfo(zone)) for due in dues]
    assert {due.weekday() for due in there} == {day}
    assert sum(due.hour * 60 + due.minute == at for due in there) >= 2


def test_restarts_neither_repeat_nor_forget_a_test() -> None:
    """Restarted before and after the hour of the test, it asks once; down at that hour, it asks when it is back."""
    home = weekly()
    home.pass_time(6 * DAY, HOUR)
    early = home.again(clean=True)
    early.pass_time(DAY, HOUR)
    assert [local(move.time) for move in early.told()] == ["Sun 08 Mar 18:00"]
    late = early.again(clean=True)
    late.pass_time(HOUR)
    assert late.told() == []
    assert late.state("weekly-test:site") is AlarmState.UNACKNOWLEDGED

    home.now += 12 * HOUR
    woken = home.again(clean=True)
    woken.pass_time(HOUR)
    assert [local(move.time) for move in woken.told()] == ["Sun 08 Mar 20:01"]
    assert "weekly test" in woken.text("weekly-test:site")


def test_a_test_that_fell_into_a_long_absence_is_left_out() -> None:
    """Nobody is rung at whatever hour the service wakes days later; the next Sunday has its test."""
    home = weekly()
    home.pass_time(DAY)
    home.now = T0 + 8 * DAY
    woken = home.again(clean=True)
    woken.pass_time(5 * DAY, HOUR)
    assert woken.told() == []
    woken.pass_time(DAY, HOUR)
    assert [local(move.time) for move in woken.told()] == ["Sun 15 Mar 18:00"]


def test_without_a_channel_or_when_switched_off_nobody_is_asked() -> None:
    """No channel could carry it; and who switches it off has said so, also while one waits."""
    lone = weekly()
    lone.pass_time(8 * DAY, HOUR, channels=())
    assert lone.told() == []

    home = weekly()
    home.pass_time(7 * DAY, HOUR)
    off = home.again(clean=True, settings=AlarmSettings(test_day=None))
    off.pass_time(8 * DAY, HOUR)
    assert off.told() == []
    assert off.state("weekly-test:site") is AlarmState.RETURNED


def test_a_test_put_back_in_service_waits_for_its_day() -> None:
    """Taken out over a Sunday and put back on Wednesday, it does not ring on Wednesday."""
    home = weekly()
    home.do(TakeOutOfService(home.now, "weekly-test:site", why="holiday"))
    home.pass_time(9 * DAY, HOUR)
    home.do(PutBackInService(home.now, "weekly-test:site"))
    home.pass_time(4 * DAY, HOUR)
    assert home.told() == []
    home.pass_time(DAY, HOUR)
    assert [local(move.time) for move in home.told()] == ["Sun 15 Mar 18:00"]


def test_a_clock_set_back_does_not_repeat_a_test() -> None:
    """Set back by an hour just after it asked, or from years ahead, it asks once a week as before."""
    home = weekly()
    home.pass_time(7 * DAY - 13 * HOUR, HOUR)
    assert len(home.told()) == 1
    home.jump(-2 * HOUR)
    home.pass_time(5 * HOUR, clock_synced=True)
    assert len(home.told("weekly")) == 1

    ahead = weekly(T0 + 3650 * DAY)
    ahead.pass_time(HOUR)
    ahead.jump(-3650 * DAY)
    ahead.pass_time(7 * DAY, HOUR)
    assert [local(move.time) for move in ahead.told("weekly")] == ["Sun 08 Mar 18:00"]


def test_a_changed_hour_counts_from_the_next_time_on() -> None:
    """A new day and hour in the configuration ring at the next such instant, not at once."""
    home = weekly()
    home.pass_time(HOUR)
    moved = home.again(clean=True, settings=AlarmSettings(test_day=2, test_at=600))
    moved.pass_time(3 * DAY, HOUR)
    assert [local(move.time) for move in moved.told()] == ["Wed 04 Mar 10:00"]


# -- kept


def test_what_is_kept_comes_back_or_is_refused() -> None:
    """Plan and restarts come back from their documents as they were; another version's are refused, not half taken."""
    plan, crashes = WeeklyPlan(T0, None, "sunday"), Crashes(2, T0, T0 + 1, T0 + 2, 1)
    assert WeeklyPlan.from_document(plan.document()) == plan
    assert Crashes.from_document(crashes.document()) == crashes
    for strange in ({}, {"due": "soon"}, {"due": 1, "since": 1.5, "rule": ""}):
        with pytest.raises(ValueError, match="as this version keeps it"):
            WeeklyPlan.from_document(strange)
        with pytest.raises(ValueError, match="as this version keeps it"):
            Crashes.from_document(strange)


def test_a_replay_has_no_house() -> None:
    """Without word of a house none of its rules finds anything, so that a recorded night tells only what it recorded."""
    shed = Shed(bare(AlarmSettings(test_day=SUNDAY)))
    shed.wait(15 * DAY)
    assert [move for move in shed.moves if move.alarm.subject == "site"] == []
    assert datetime.fromtimestamp(T0 / 1000, UTC).weekday() == 0
