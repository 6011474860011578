"""A batch that waits for its harvest, one that will be late for its meal, and one of which nobody writes."""

from __future__ import annotations

from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest

from monitor.core.dispatch import Manners
from monitor.core.log import Discard, Harvest, Lapse, Seen, Sight, Start
from monitor.core.model import (
    DAY,
    HOUR,
    MINUTE,
    Acknowledge,
    AlarmState,
    BatchChanged,
    Effect,
    Estimate,
    Logged,
    Ms,
    Priority,
    Refused,
    Stage,
    TakeOutOfService,
    Tick,
)
from monitor.core.replay import replay
from monitor.core.rules import can_ring
from monitor.core.rules_forgotten import ANSWER, ASK_AFTER, CLOSE_AFTER
from tests.unit.core.worlds import T0, Shed, recording, slow_site, start

if TYPE_CHECKING:
    from monitor.core.state import Batch


def ripe_shed(hours_ago: float = 20.0, celsius: float = 28.0, **how: Any) -> Shed:
    """Ash was begun so long ago in warm water and is about to be ready."""
    shed = Shed(slow_site(**({"feeding_times": ()} | how)))
    shed.remember("ash-water", 24, lambda _: celsius).remember("ash-air", 24, lambda _: 1)
    shed.run(MINUTE, celsius)
    shed.begin(hours_ago=hours_ago)
    return shed


def go(shed: Shed, length: Ms, celsius: float = 28.0) -> None:
    shed.run(length, celsius, every=5 * MINUTE)


def until(shed: Shed, alarm: str, within: Ms = 40 * HOUR, celsius: float = 28.0) -> Ms:
    """Go on until that alarm has told somebody; when it did."""
    end = shed.now + within
    while not shed.told(alarm):
        assert shed.now < end, f"{alarm} never rang: {[t.alarm.id for t in shed.told()]}"
        go(shed, 10 * MINUTE, celsius)
    return shed.told(alarm)[0].time


def batch_of(shed: Shed, name: str = "b1") -> Batch:
    return shed.engine.state.batches[name]


def looked_at(shed: Shed) -> Estimate:
    found = batch_of(shed).estimate
    assert found is not None
    return found


def best(shed: Shed) -> int:
    until_ = looked_at(shed).best_until
    assert until_ is not None
    return int(until_)


# -- ready, its best time ending, past its best


def test_a_forgotten_vessel_is_told_of_four_times_in_two_days_and_never_twice_in_two_hours() -> None:
    """Ready, a reminder, past its best, and the question what became of it: each once, two hours apart at least, then silence."""
    shed = ripe_shed()
    go(shed, 4 * DAY)
    told = shed.told()
    assert [t.alarm.id for t in told] == ["ready:ash", "best-ending:ash", "past-best:ash", "unlogged:ash"]
    assert [t.alarm.priority for t in told] == [Priority.MEDIUM, Priority.MEDIUM, Priority.LOW, Priority.LOW]
    times = [t.time for t in told]
    assert min(b - a for a, b in pairwise(times)) >= 2 * HOUR - 10 * MINUTE
    assert shed.engine.alarms() == []


def test_the_reminder_says_before_when_and_why() -> None:
    """Two hours before the best time ends the reminder names that time and its reason."""
    shed = ripe_shed()
    told_at = until(shed, "best-ending")
    (told,) = shed.told("best-ending")
    left = best(shed) - told_at
    assert HOUR + 40 * MINUTE < left <= 2 * HOUR + 10 * MINUTE
    assert told.alarm.title.startswith("ash: harvest before ")
    assert told.alarm.text.endswith((": half of them will have moulted.", ": they will have burnt much of their yolk."))


def test_who_hears_of_ready_in_the_morning_is_not_reminded_in_the_same_minute() -> None:
    """Ready in the quiet hours is heard of when they end, and what counts is that: no reminder comes with it or soon after."""
    awake = ripe_shed()
    until(awake, "best-ending")
    rang, ends = awake.told("ready")[0].time, best(awake)
    begins, wakes = minute_of(rang - 30 * MINUTE), minute_of(ends - HOUR)
    asleep = ripe_shed(manners=Manners("Europe/Berlin", quiet_from=begins, quiet_until=wakes))
    go(asleep, ends + 10 * MINUTE - asleep.now)
    assert [t.alarm.id for t in asleep.told()] == ["ready:ash"]
    reasons = [d.reason for d in asleep.engine.why("best-ending:ash")]
    assert any(reason.startswith("ash is told of at ") for reason in reasons)


def minute_of(time: Ms) -> int:
    """Minutes after local midnight."""
    local = datetime.fromtimestamp(time / 1000, ZoneInfo("Europe/Berlin"))
    return local.hour * 60 + local.minute


def test_who_was_told_ready_just_now_is_not_reminded() -> None:
    """Where ready and the end of the best time are near, the one push about ready carries both."""
    shed = ripe_shed(hours_ago=25.0)
    until(shed, "ready")
    while best(shed) > shed.now:
        go(shed, 10 * MINUTE)
    go(shed, 20 * MINUTE)
    assert [t.alarm.id for t in shed.told()] == ["ready:ash"]
    reasons = [d.reason for d in shed.engine.why("best-ending:ash")]
    assert any(reason.startswith("ash was told of at ") for reason in reasons)


def test_a_harvest_after_the_reminder_ends_it_all() -> None:
    """Harvested after the reminder, nothing more is said of the batch."""
    shed = ripe_shed()
    until(shed, "best-ending")
    shed.do(Harvest(shed.now, shed.now, "b1", 0.7))
    go(shed, 2 * DAY)
    assert [t.alarm.id for t in shed.told()] == ["ready:ash", "best-ending:ash"]
    assert shed.engine.alarms() == []


def test_past_its_best_says_why_and_what_it_is_still_good_for() -> None:
    """Past its best says when that ended, why, what energy is left, and what to do with it; ready is then held back."""
    shed = ripe_shed()
    until(shed, "past-best")
    (told,) = shed.told("past-best")
    assert told.alarm.title == "ash is past its best"
    energy = looked_at(shed).energy
    assert energy is not None
    assert f"half of them have moulted; they have about {100 * energy:.0f} % of their energy left." in told.alarm.text
    assert "bigger mouths" in told.alarm.todo
    assert shed.state("ready:ash") is AlarmState.SUPPRESSED
    go(shed, 20 * MINUTE)
    assert shed.state("best-ending:ash") in (AlarmState.RETURNED, AlarmState.NORMAL)


def test_a_best_time_that_moves_with_the_room_says_nothing_twice() -> None:
    """Cooled and warmed again while it waits, so that its best time comes and goes, the batch is told of no more often."""
    shed = ripe_shed()
    until(shed, "best-ending")
    for celsius in (22.0, 28.5, 20.0, 28.5):
        shed.run(4 * HOUR, celsius, every=5 * MINUTE)
    told = [t.alarm.id for t in shed.told() if t.alarm.rule in ("ready", "best-ending", "past-best")]
    assert sorted(told) == sorted(set(told))


def test_a_keeper_who_looked_in_since_is_not_told_that_it_is_past() -> None:
    """Who wrote what they saw when the best time ended knows, and is not told."""
    shed = ripe_shed()
    until(shed, "best-ending")
    while looked_at(shed).stage is not Stage.PAST:
        go(shed, 5 * MINUTE)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.MOST))
    go(shed, 6 * HOUR)
    assert shed.told("past-best") == []


def test_a_batch_written_down_when_it_is_long_past_is_told_once() -> None:
    """A start logged so late that the best time is over is one line, not three."""
    shed = ripe_shed(hours_ago=34.0, celsius=27.0)
    go(shed, 3 * HOUR, 27.0)
    assert [t.alarm.id for t in shed.told()] == ["past-best:ash"]


# -- nobody writes


def closing(shed: Shed, within: Ms = 3 * DAY) -> list[Effect]:
    """Time goes on until the engine closes the batch; the effects of that step."""
    end = shed.now + within
    while shed.now < end:
        shed.say("ash-water", 28.0)
        shed.say("ash-air", True)
        shed.now = min(shed.engine.next_due(shed.now), shed.now + 5 * MINUTE)
        effects = shed.do(Tick(shed.now))
        if any(isinstance(effect, Logged) for effect in effects):
            return effects
    raise AssertionError("it was never closed")


def test_what_became_of_it_is_asked_half_a_day_past_its_best() -> None:
    """Twelve hours past its best without a word it is asked, once, by the batch's name, with when it will be closed."""
    shed = ripe_shed()
    asked = until(shed, "unlogged")
    assert 0 <= asked - (best(shed) + ASK_AFTER) <= 10 * MINUTE
    (told,) = shed.told("unlogged")
    assert told.alarm.title == "What became of b1?"
    assert "b1 in ash is past its best, and nothing was logged of it since " in told.alarm.text
    assert "Harvested or thrown away? Without a word it is closed at " in told.alarm.text
    go(shed, ANSWER - HOUR)
    assert len(shed.told("unlogged")) == 1
    assert shed.engine.open_batches() == ["b1"]


def test_a_day_past_its_best_it_is_closed_and_its_vessel_is_free() -> None:
    """The engine makes the entry itself, silences all rules of the batch, teaches the tin nothing and frees the vessel."""
    shed = ripe_shed()
    go(shed, 4 * HOUR)
    effects = closing(shed)
    logged = [effect.entry for effect in effects if isinstance(effect, Logged)]
    assert logged == [Lapse(shed.now, shed.now, "b1")]
    assert BatchChanged(shed.now, "b1") in effects
    assert best(shed) + CLOSE_AFTER <= shed.now <= best(shed) + CLOSE_AFTER + 20 * MINUTE
    assert shed.engine.open_batches() == []
    assert shed.engine.alarms() == []
    assert shed.engine.lot("new").batches == 0
    told = len(shed.told())
    shed.run(3 * HOUR, 45.0, air=False, every=5 * MINUTE)
    assert len([t for t in shed.told() if not t.alarm.rule.startswith("probe")]) == told
    shed.do(Start(shed.now, shed.now, "b2", "ash", "new", 1.0, 1.0, 25.0))
    assert shed.engine.open_batches() == ["b2"]


def closed_shed() -> Shed:
    shed = ripe_shed()
    closing(shed)
    return shed


def test_it_stays_closed_after_a_restart() -> None:
    """What the engine closed is in the log: a restart neither opens it nor asks again."""
    shed = closed_shed().restarted()
    assert shed.engine.open_batches() == []
    go(shed, 3 * HOUR)
    assert shed.told() == []


def test_a_restart_between_question_and_answer_changes_nothing() -> None:
    """Restarted after it was asked, the batch is closed in the same slot as without the restart, and nobody is asked twice."""
    before = ripe_shed()
    until(before, "unlogged")
    go(before, HOUR)
    after = before.restarted()
    closing(before)
    closing(after)
    assert abs(before.now - after.now) <= 5 * MINUTE
    assert after.told() == []


def test_a_monitor_that_was_off_asks_before_it_closes() -> None:
    """Off for three days over the end of a batch, it asks when it is back, and leaves half a day for the answer."""
    shed = ripe_shed()
    until(shed, "ready")
    shed.now += 3 * DAY
    back = shed.restarted()
    began = back.now
    go(back, 2 * HOUR)
    told = [t.alarm.id for t in back.told() if t.alarm.subject == "ash"]
    assert told == ["unlogged:ash"]
    closing(back)
    assert began + ANSWER <= back.now <= began + ANSWER + 20 * MINUTE


def test_acknowledging_the_question_is_no_answer() -> None:
    """Acknowledged but not logged, the batch is closed all the same."""
    shed = ripe_shed()
    until(shed, "unlogged")
    shed.do(Acknowledge(shed.now, "unlogged:ash"))
    closing(shed)
    assert shed.engine.open_batches() == []


def test_a_look_is_an_answer() -> None:
    """A keeper who logs what they see has half a day again before the next question."""
    shed = ripe_shed()
    until(shed, "unlogged")
    shed.do(Seen(shed.now, shed.now, "b1", Sight.MOST))
    looked = shed.now
    go(shed, ASK_AFTER - 20 * MINUTE)
    assert len(shed.told("unlogged")) == 1
    go(shed, HOUR)
    assert len(shed.told("unlogged")) == 2
    assert shed.told("unlogged")[-1].time >= looked + ASK_AFTER
    assert shed.engine.open_batches() == ["b1"]


def test_harvested_yesterday_at_nine_still_counts() -> None:
    """While its vessel was not used again, a late harvest takes the closing back: it ends the batch then, and teaches its tin."""
    shed = closed_shed()
    when = best(shed) - HOUR
    shed.run(2 * HOUR, 28.0, air=False, every=5 * MINUTE)
    shed.do(Harvest(when, shed.now, "b1", 0.7))
    assert batch_of(shed).ended == Harvest(when, shed.now, "b1", 0.7)
    assert batch_of(shed).untaught == ""
    assert shed.engine.lot("new").batches == 1
    assert shed.engine.open_batches() == []
    after = shed.restarted()
    assert batch_of(after).ended == batch_of(shed).ended
    assert after.engine.lot("new").document() == shed.engine.lot("new").document()


def test_a_batch_that_is_still_there_is_taken_up_again() -> None:
    """A look logged after the closing opens the batch again, with all that was known of it, also over a restart."""
    for shed in (closed_shed(), closed_shed().restarted()):
        shed.do(Seen(shed.now, shed.now, "b1", Sight.FIRST))
        assert shed.engine.open_batches() == ["b1"]
        assert shed.engine.estimate("b1", shed.now).hatched.mid is not None
        assert shed.restarted().engine.open_batches() == ["b1"]


def test_after_the_vessel_was_used_again_only_its_end_can_be_told() -> None:
    """Then a look is refused, so is an end after the next start; one before it is kept, and teaches nothing."""
    shed = closed_shed()
    shed.begin(batch="b2")
    again = shed.now
    go(shed, HOUR)
    with pytest.raises(
        Refused, match=r"closed as ended, not logged, and ash was started again with b2 at 20.*Z; of it a"
    ):
        shed.do(Seen(shed.now, shed.now, "b1", Sight.MOST))
    with pytest.raises(Refused, match="give the time at which it was harvested or discarded, before that"):
        shed.do(Harvest(shed.now, shed.now, "b1", 0.7))
    shed.do(Harvest(again - DAY, shed.now, "b1", 0.7))
    for one in (shed, shed.restarted()):
        assert one.engine.open_batches() == ["b2"]
        assert batch_of(one).untaught == "it was logged after it had been closed"
        assert one.engine.lot("new").batches == 0
    with pytest.raises(Refused, match="batch b1 has already ended"):
        shed.do(Discard(again, shed.now, "b1"))


def test_a_batch_that_never_gets_ready_is_asked_for_after_a_week() -> None:
    """Too cold ever to hatch, a batch nobody writes of is asked for half a day after a week, and closed half a day later."""
    shed = Shed(slow_site(feeding_times=(), cold=1.0))
    shed.remember("ash-water", 7 * 24, lambda _: 4.0)
    shed.begin(hours_ago=6.5 * 24)
    shed.run(23 * HOUR, 4.0, every=30 * MINUTE)
    assert shed.told("unlogged") == []
    shed.run(2 * HOUR, 4.0, every=30 * MINUTE)
    (told,) = shed.told("unlogged")
    assert "is not in sight of ready" in told.alarm.text
    shed.run(13 * HOUR, 4.0, every=30 * MINUTE)
    assert shed.engine.open_batches() == []


def test_a_replay_closes_it_like_the_service() -> None:
    """Replayed with its rules the batch has no more lines a day past its best; another can be started in its vessel."""
    rows = recording(lambda _: 28.0, 96)
    entries = [start(), start(T0 + 80 * HOUR, batch="b2")]
    told = list(replay(slow_site(feeding_times=()), rows, entries, HOUR))
    first = [line["time"] for line in told if line["batch"] == "b1"]
    second = [line["time"] for line in told if line["batch"] == "b2"]
    assert first[0] == "2026-03-02T07:00:00Z"
    assert "2026-03-04T00:00:00Z" < first[-1] < "2026-03-05T00:00:00Z"
    assert second[0] == "2026-03-05T15:00:00Z"


# -- late for its meal


def slow_tin(feeds: tuple[int, ...] = (8 * 60,), celsius: float = 26.0) -> Shed:
    """Ash was begun at 08:00 with an unknown tin, to be ready before the 08:00 feed of the day after."""
    shed = Shed(slow_site(feeding_times=feeds, cold=10.0))
    shed.remember("ash-water", 24, lambda _: celsius).remember("ash-air", 24, lambda _: 1)
    shed.begin()
    go(shed, 18 * HOUR, celsius)
    return shed


def test_a_slow_tin_is_told_with_the_meal_it_misses() -> None:
    """Seen without a hatch when it was to be near, it is told: from when to when, the chance, the meal, and what to do."""
    shed = slow_tin(feeds=tuple(range(0, 1440, 120)))
    promised = batch_of(shed).promised
    go(shed, 6 * HOUR, 26.0)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.NONE))
    go(shed, 90 * MINUTE, 26.0)
    (told,) = shed.told("hatch-late")
    ready = looked_at(shed).ready.mid
    assert promised is not None
    assert ready is not None
    assert ready > promised + 2 * HOUR
    assert told.alarm.priority is Priority.MEDIUM
    assert told.alarm.title.startswith("ash will be too late for the ")
    assert told.alarm.title.endswith(" feed")
    assert "Ready is expected at about " in told.alarm.text
    assert " later than the " in told.alarm.text
    assert "The chance that it is ready for the " in told.alarm.text
    assert "By what you saw it is slower" in told.alarm.text
    assert "reserve, or start a second batch now" in told.alarm.todo
    assert shed.told("cold-snap") == []


def test_late_but_in_time_for_the_same_meal_is_quiet() -> None:
    """The same delay with no feed in between needs nobody."""
    shed = slow_tin(feeds=(21 * 60,))
    go(shed, 6 * HOUR, 26.0)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.NONE))
    go(shed, 2 * HOUR, 26.0)
    ready = looked_at(shed).ready.mid
    assert ready is not None
    assert ready > (batch_of(shed).promised or 0) + 2 * HOUR
    assert shed.told("hatch-late") == []


def test_lateness_through_cold_is_told_as_cold_and_not_twice() -> None:
    """While the cold stands, and after it has gone, its delay is not told a second time under another name."""
    shed = Shed(slow_site(feeding_times=tuple(range(0, 1440, 60)), cold=10.0))
    shed.remember("ash-water", 24, lambda _: 26.0).remember("ash-air", 24, lambda _: 1)
    shed.begin()
    go(shed, 4 * HOUR, 26.0)
    go(shed, 8 * HOUR, 17.0)
    go(shed, 6 * HOUR, 26.0)
    assert [t.alarm.id for t in shed.told() if t.alarm.state is AlarmState.UNACKNOWLEDGED] == ["cold-snap:ash"]


def test_whoever_wants_no_word_of_the_cold_gets_none_of_what_it_does() -> None:
    """With the cold put aside by a person, the lateness it makes is held back, and says by what."""
    shed = Shed(slow_site(feeding_times=tuple(range(0, 1440, 60)), cold=10.0))
    shed.remember("ash-water", 24, lambda _: 26.0).remember("ash-air", 24, lambda _: 1)
    shed.begin()
    go(shed, 4 * HOUR, 26.0)
    shed.do(TakeOutOfService(shed.now, "cold-snap:ash"))
    go(shed, 6 * HOUR, 17.0)
    assert shed.told() == []
    assert shed.state("hatch-late:ash") is AlarmState.SUPPRESSED
    assert shed.standing["hatch-late:ash"].reason == "the cold in ash is what makes it late: see cold-snap:ash"


def test_lateness_ends_in_silence_with_the_hatch_and_survives_a_restart() -> None:
    """It stands over a restart without being told again, and is over when the batch is ready or gone."""
    shed = slow_tin(feeds=tuple(range(0, 1440, 120)))
    go(shed, 6 * HOUR, 26.0)
    shed.do(Seen(shed.now, shed.now, "b1", Sight.NONE))
    go(shed, 90 * MINUTE, 26.0)
    after = shed.restarted()
    assert batch_of(after).promised == batch_of(shed).promised
    go(after, HOUR, 26.0)
    assert after.state("hatch-late:ash") is AlarmState.UNACKNOWLEDGED
    assert after.told() == []
    after.do(Discard(after.now, after.now, "b1"))
    go(after, HOUR, 26.0)
    assert after.engine.alarms() == []
    assert after.told() == []


def test_where_no_meals_are_set_only_many_hours_count() -> None:
    """Without feeding times a delay of six hours is told, as low."""
    shed = slow_tin(feeds=())
    for _ in range(3):
        go(shed, 4 * HOUR, 26.0)
        shed.do(Seen(shed.now, shed.now, "b1", Sight.NONE))
    go(shed, 2 * HOUR, 26.0)
    (told,) = shed.told("hatch-late")
    assert (told.alarm.priority, told.alarm.title) == (Priority.LOW, "ash will be ready late")


# -- a vessel without a batch


def test_an_empty_vessel_has_no_alarm_of_water_or_batch() -> None:
    """In whatever water and air, an empty vessel makes none of the rules of a batch ring."""
    shed = Shed(slow_site(cold=18.0))
    shed.run(
        3 * HOUR, lambda hour: 25.0 - 12 * hour if hour < 1 else 20.0 + 9 * (hour - 1), air=False, every=5 * MINUTE
    )
    shed.run(2 * DAY, 30.0, every=30 * MINUTE)
    assert [move for move in shed.moves if move.alarm.subject == "ash"] == []
    rules = {rule for rule, subject in can_ring(shed.engine.state).values() if subject == "ash"}
    assert rules >= {"cold-snap", "too-hot", "hatch-late", "ready", "best-ending", "past-best", "unlogged"}
