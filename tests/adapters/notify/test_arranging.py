from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import pytest

from monitor.core.dispatch import Cause, Kind, Manners, Reach
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Alarm, AlarmState, Ms, Priority, Transition
from monitor.notify import Delivery, Outbox
from monitor.notify.message import document
from monitor.store import Store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.store import Letter, Posted

ZONE = ZoneInfo("Europe/Berlin")
HOME = Manners(timezone="Europe/Berlin")
UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED


def at(text: str) -> Ms:
    """A local time of the night of the 2nd of February, or of the morning after."""
    day = 3 if text < "12:00" else 2
    return int(datetime.fromisoformat(f"2026-02-0{day} {text}").replace(tzinfo=ZONE).timestamp() * 1000)


NOON = at("12:00")


def rung(
    rule: str, vessel: str, time: Ms, priority: Priority = Priority.MEDIUM, minutes_left: int | None = None
) -> Transition:
    alarm = Alarm(
        id=f"{rule}:{vessel}",
        rule=rule,
        subject=vessel,
        priority=priority,
        state=UNACKNOWLEDGED,
        since=time,
        changed=time,
        title=f"{rule.capitalize()} in {vessel}",
        text=f"Since then in {vessel}.",
        todo="Go and look.",
        reason="",
        deadline=None if minutes_left is None else time + minutes_left * MINUTE,
    )
    return Transition(time, alarm, AlarmState.NORMAL, notify=True, reason="held for 60 s")


def moved(before: Transition, state: AlarmState, time: Ms, *, notify: bool = True, reason: str = "clear") -> Transition:
    alarm = replace(before.alarm, state=state, changed=time, deadline=None)
    return Transition(time, alarm, before.alarm.state, notify, reason)


def acknowledged(before: Transition, time: Ms) -> Transition:
    return moved(before, ACKNOWLEDGED, time, notify=False, reason="acknowledged by page")


def repeated(before: Transition, time: Ms) -> Transition:
    return replace(before, time=time, before=UNACKNOWLEDGED, reason="not acknowledged for 2 min")


class World:
    """An outbox over a real store, told the time, and phones that take all they are given unless they are away."""

    def __init__(self, path: Path, manners: Manners = HOME, reaches: dict[str, Reach] | None = None) -> None:
        self.path = path
        self.manners = manners
        self.reaches = reaches or {"phone": Reach()}
        self.caught: list[tuple[Ms, Letter]] = []
        self.away: set[str] = set()
        self.retry_after: float | None = None
        self._trays: list[Letter] = []
        self.open()

    def open(self) -> None:
        self.store = Store.open(self.path)
        self.outbox = Outbox(self.store, self.manners, self.reaches)

    def again(self) -> None:
        """What was not committed is forgotten, as when the power fails."""
        self.store.close()
        self.open()

    def deliver(self, letter: Letter) -> None:
        self._trays.append(letter)

    def post(self, *transitions: Transition, wall: Ms | None = None) -> None:
        for transition in transitions:
            self.outbox.post(transition, self.reaches, wall)

    def turn(self, time: Ms, wall: Ms | None = None) -> None:
        """One turn of the service: arrange, commit, hand out, and what came of it."""
        now = time if wall is None else wall
        self.outbox.arrange(now, time)
        self.store.commit()
        while self.outbox.pump(now, self, time):
            while self._trays:
                self._take(self._trays.pop(0), time, now)

    def _take(self, letter: Letter, time: Ms, now: Ms) -> None:
        ok = letter.channel not in self.away
        if ok:
            self.caught.append((time, letter))
        self.outbox.settle(Delivery(letter.id, ok, "away", retry_after=None if ok else self.retry_after), now)

    def until(self, begin: Ms, end: Ms, step: Ms = 5 * SECOND) -> None:
        for time in range(begin, end + 1, step):
            self.turn(time)

    def said(self, channel: str = "phone") -> list[str]:
        return [letter.title for _, letter in self.caught if letter.channel == channel]

    def posted(self) -> dict[int, Posted]:
        return {one.id: one for one in self.store.letters_since(0)}


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    made = World(tmp_path / "shed.db")
    yield made
    made.store.close()


def test_a_shelf_is_one_push_that_names_its_vessels(world: World) -> None:
    """One letter, with the nearest deadline in its title and each vessel's own line, and its parts can be traced."""
    for vessel, minutes, second in (("ash", 8, 0), ("birch", 6, 2), ("cedar", 20, 4)):
        world.post(rung("air stopped", vessel, NOON + second * SECOND, Priority.HIGH, minutes))
        world.turn(NOON + second * SECOND)
    world.until(NOON + 5 * SECOND, NOON + MINUTE)
    ((_, letter),) = world.caught
    assert letter.title == "Air stopped in ash, birch and cedar: act within 5 min"
    assert letter.body.splitlines() == [
        "birch: Since then in birch.",
        "ash: Since then in ash.",
        "cedar: Since then in cedar.",
        "Go and look.",
    ]
    assert (letter.priority, letter.kind, letter.rule) == (Priority.HIGH, Kind.TROUBLE, "air stopped")
    told = document(letter, "shed")
    assert told["alarms"] == ["air stopped:ash", "air stopped:birch", "air stopped:cedar"]
    assert told["todo"] == "Go and look."
    assert datetime.fromisoformat(told["deadline"]) == datetime.fromtimestamp(
        (NOON + 2 * SECOND + 6 * MINUTE) / 1000, UTC
    ).replace(microsecond=0)
    parts = [one for one in world.posted().values() if one.state == "merged"]
    assert [(one.transition_id, one.merged_into) for one in parts] == [(n, letter.id) for n in (1, 2, 3)]
    assert told["contains"] == [one.token for one in parts]


def test_the_same_parts_make_the_same_token(tmp_path: Path) -> None:
    """A merged letter that went out before a crash forgot the merging is recognised when it comes again."""
    tokens = []
    world = World(tmp_path / "shed.db")
    world.post(*(rung("air stopped", vessel, NOON, Priority.HIGH) for vessel in ("ash", "birch")))
    world.store.commit()
    for later in (6, 9):
        world.outbox.arrange(NOON + later * SECOND)
        tokens += [letter.token for letter in world.store.undelivered()]
        world.again()
    world.store.close()
    assert len(tokens) == 2
    assert len(set(tokens)) == 1


def test_the_night_is_one_digest_in_the_morning(world: World) -> None:
    """What was over by then is one line with both times; what still stands says what to do, and comes first."""
    cold = rung("cold", "ash", at("02:10"))
    world.post(rung("silent", "cedar", at("23:30"), Priority.LOW))
    world.post(cold)
    world.until(at("02:10"), at("02:12"))
    world.post(moved(cold, RETURNED, at("03:40")))
    world.post(rung("cold", "birch", at("04:00")))
    world.turn(at("06:59"))
    assert world.caught == []
    assert world.outbox.waiting()["phone"] == {
        "count": 4,
        "why": {"daily-digest": 1, "quiet-hours": 3},
        "next": "2026-02-03T06:00:00Z",
    }
    world.again()
    world.turn(at("07:00"))
    ((_, letter),) = world.caught
    assert (letter.kind, letter.title) == (
        Kind.DIGEST,
        "3 alarms: Cold in birch, Silent in cedar and Cold in ash (over)",
    )
    assert letter.body.splitlines() == [
        "04:00 Cold in birch. Go and look.",
        "Mon 23:30 Silent in cedar. Go and look.",
        "02:10-03:40 Cold in ash, over",
    ]
    assert letter.priority is Priority.MEDIUM
    assert world.outbox.waiting() == {}


def test_a_trouble_of_the_night_that_is_over_is_one_line(world: World) -> None:
    """Alone in its digest, it is the title."""
    cold = rung("cold", "ash", at("02:10"))
    world.post(cold, moved(cold, RETURNED, at("03:40"), notify=False))
    world.until(at("07:00"), at("07:01"))
    assert world.said() == ["02:10-03:40 Cold in ash, over"]
    assert world.caught[0][1].priority is Priority.LOW


def test_a_single_alarm_of_the_night_keeps_its_words(world: World) -> None:
    """A digest of one is that letter."""
    world.post(rung("cold", "ash", at("02:10")))
    world.until(at("07:00"), at("07:01"))
    ((_, letter),) = world.caught
    assert (letter.title, letter.kind) == ("Cold in ash", Kind.TROUBLE)
    assert letter.reason == "held for 60 s; quiet hours: told at 07:00"


def test_whoever_has_seen_it_needs_no_letter(world: World) -> None:
    """Acknowledged before the morning: the letter is withdrawn, and on record with the reason; so is nobody told its end."""
    cold = rung("cold", "ash", at("02:10"))
    seen = acknowledged(cold, at("02:20"))
    world.post(cold, seen, moved(seen, AlarmState.NORMAL, at("03:00")))
    world.until(at("06:59"), at("07:01"))
    assert world.caught == []
    (only,) = world.posted().values()
    assert (only.state, only.error) == ("withdrawn", "acknowledged by page, before it was told here")


def test_what_becomes_urgent_at_night_waits_no_longer(world: World) -> None:
    """The letter that waited for the morning is told by the urgent one."""
    weak = rung("air weak", "ash", at("02:10"))
    urgent = replace(weak.alarm, priority=Priority.HIGH, changed=at("03:00"))
    world.post(weak)
    world.post(Transition(at("03:00"), urgent, UNACKNOWLEDGED, notify=True, reason="it has become urgent"))
    world.until(at("03:00"), at("03:01"))
    assert world.said() == ["Air weak in ash"]
    assert [one.state for one in world.posted().values()] == ["merged", "told"]
    world.until(at("07:00"), at("07:01"))
    assert len(world.caught) == 1


@pytest.fixture
def two(tmp_path: Path) -> Iterator[World]:
    """A first phone and one for the neighbour."""
    made = World(tmp_path / "two.db", reaches={"phone": Reach(), "neighbour": Reach(after=5 * MINUTE)})
    yield made
    made.store.close()


def test_the_neighbour_is_called_when_nobody_answers(two: World) -> None:
    """After a third of the minutes left, once, with fresh minutes; from then on repeats and the end go there too."""
    stopped = rung("air stopped", "ash", NOON, Priority.HIGH, 12)
    two.post(stopped)
    two.until(NOON, NOON + 2 * MINUTE)
    two.post(repeated(stopped, NOON + 2 * MINUTE))
    two.until(NOON + 2 * MINUTE, NOON + 4 * MINUTE)
    assert [(time - NOON, letter.kind) for time, letter in two.caught if letter.channel == "neighbour"] == [
        (4 * MINUTE, Kind.TROUBLE)
    ]
    two.post(repeated(stopped, NOON + 4 * MINUTE + SECOND))
    two.post(moved(stopped, RETURNED, NOON + 6 * MINUTE))
    two.until(NOON + 4 * MINUTE, NOON + 7 * MINUTE)
    assert two.said("neighbour")[-1] == "Over: Air stopped in ash"


@pytest.mark.parametrize("state", [ACKNOWLEDGED, AlarmState.SHELVED, AlarmState.SUPPRESSED, RETURNED])
def test_the_neighbour_sleeps_when_somebody_has_answered(two: World, state: AlarmState) -> None:
    """Acknowledged, shelved, held back or over in time: the second letter is withdrawn with the reason."""
    stopped = rung("air stopped", "ash", NOON, Priority.HIGH, 60)
    two.post(stopped, rung("cold", "ash", NOON))
    two.until(NOON, NOON + MINUTE)
    two.post(moved(stopped, state, NOON + MINUTE, notify=state is RETURNED, reason="somebody was there"))
    two.until(NOON + MINUTE, NOON + 30 * MINUTE)
    assert two.said("neighbour") == []
    (withdrawn,) = [one for one in two.posted().values() if one.channel == "neighbour"]
    assert (withdrawn.state, withdrawn.error) == ("withdrawn", "somebody was there, before it was told here")


def test_urgent_trouble_is_told_again_as_long_as_its_minutes_run(world: World) -> None:
    """An alarm nobody acknowledges rings every two minutes, whatever else has rung, and is fresh when it does."""
    stopped = rung("air stopped", "ash", NOON, Priority.HIGH, 60)
    world.post(stopped)
    for minute in range(0, 20, 2):
        if minute:
            world.post(repeated(stopped, NOON + minute * MINUTE))
        world.until(NOON + minute * MINUTE, NOON + (minute + 2) * MINUTE - SECOND)
    assert len(world.caught) == 10
    assert [(time - letter.created) < 10 * SECOND for time, letter in world.caught] == [True] * 10


def test_a_storm_is_three_pushes_and_a_digest(world: World) -> None:
    """Twelve troubles of twelve kinds in a minute: two by themselves, the rest in one, and nothing forgotten."""
    for number in range(12):
        world.post(rung(f"trouble{number}", "ash", NOON + number * 5 * SECOND))
        world.turn(NOON + number * 5 * SECOND)
    world.until(NOON + MINUTE, NOON + 30 * MINUTE)
    assert len(world.caught) == 4
    time, digest = world.caught[-1]
    assert time - world.caught[0][0] >= 10 * MINUTE
    assert digest.title == "9 alarms: Trouble3 in ash, Trouble4 in ash and 7 more"
    assert len(digest.body.splitlines()) == 9
    held = [one for one in world.posted().values() if one.merged_into == digest.id]
    assert {one.why for one in held} == {
        "3 pushes went to phone within 10 min: told with whatever else has come by then"
    }


def test_a_week_without_the_channel_is_bounded_and_forgets_nothing(world: World) -> None:
    """At most fifty letters wait; when the channel is back, a few pushes tell of every alarm, urgent ones by themselves."""
    world.away = {"phone"}
    for number in range(300):
        time = NOON + number * 20 * MINUTE
        trouble = rung(f"trouble{number % 70}", "ash", time)
        world.post(trouble)
        world.turn(time)
        world.post(moved(trouble, RETURNED, time + MINUTE))
        world.turn(time + MINUTE)
        assert world.outbox.waiting()["phone"]["count"] <= 50
    back = NOON + 300 * 20 * MINUTE
    world.post(rung("air stopped", "birch", back, Priority.HIGH, 20))
    world.store.commit()
    world.away = set()
    world.again()
    world.until(back, back + 2 * HOUR, MINUTE)
    assert world.outbox.waiting() == {} or set(world.outbox.waiting()["phone"]["why"]) == {"quiet-hours"}
    world.until(back + 2 * HOUR, back + DAY, 10 * MINUTE)
    assert world.outbox.waiting() == {}
    assert "Air stopped in birch" in world.said()
    assert all("(over)" in title for title in world.said() if "alarms: " in title)
    named = {alarm for _, letter in world.caught for alarm in letter.alarms}
    assert named == {"air stopped:birch", *(f"trouble{number}:ash" for number in range(70))}
    assert len(world.caught) < 30


def test_simulated_nights_end_in_simulated_time(world: World) -> None:
    """The digest goes at seven of the site's simulated morning; a channel that failed is left alone in real time."""
    wall = NOON + 100 * DAY
    world.post(rung("cold", "ash", at("23:30")), rung("cold", "birch", at("23:30")), wall=wall)
    world.turn(at("06:59"), wall + 10 * SECOND)
    assert world.caught == []
    world.away = {"phone"}
    world.turn(at("07:00"), wall + 11 * SECOND)
    world.away = set()
    world.turn(at("08:00"), wall + 12 * SECOND)
    assert world.caught == []
    world.turn(at("08:30"), wall + 17 * SECOND)
    assert world.said() == ["Cold in ash and birch"] or world.said()[0].startswith("2 alarms")
    (told,) = [one for one in world.posted().values() if one.state == "told"]
    assert (told.told, told.went) == (wall + 17 * SECOND, at("08:30"))


def test_a_channel_that_asks_for_time_is_told_together_afterwards(world: World) -> None:
    """After Retry-After the shelf that came meanwhile is one letter."""
    world.away, world.retry_after = {"phone"}, 60.0
    world.post(rung("hot", "ash", NOON))
    world.turn(NOON + 5 * SECOND)
    world.away = set()
    world.post(*(rung("cold", vessel, NOON + 10 * SECOND) for vessel in ("ash", "birch")))
    world.until(NOON + 10 * SECOND, NOON + 60 * SECOND)
    assert world.caught == []
    world.turn(NOON + 65 * SECOND)
    assert world.said() == ["Hot in ash", "Cold in ash and birch"]


def test_the_limit_holds_over_a_restart(world: World) -> None:
    """How many pushes went lately is on record."""
    for number in range(3):
        world.post(rung(f"trouble{number}", "ash", NOON))
    world.until(NOON, NOON + 5 * SECOND)
    world.store.commit()
    world.again()
    world.post(rung("cold", "ash", NOON + MINUTE))
    world.until(NOON + MINUTE, NOON + 10 * MINUTE)
    assert len(world.caught) == 3
    world.until(NOON + 10 * MINUTE, NOON + 11 * MINUTE)
    assert world.said()[3:] == ["Cold in ash"]


def test_what_a_report_reads(world: World) -> None:
    """One query tells of every letter its kind, priority, rules, channel, when it was written and told, and why then."""
    cold = rung("cold", "ash", NOON)
    world.post(cold)
    world.until(NOON, NOON + 5 * SECOND)
    world.post(moved(cold, RETURNED, NOON + HOUR))
    told, waits = world.store.letters_since(0)
    assert (told.kind, told.priority, told.rules, told.channel) == (Kind.TROUBLE, Priority.MEDIUM, ("cold",), "phone")
    assert (told.state, told.created, told.told, told.why) == ("told", NOON, NOON + 5 * SECOND, "told at once")
    assert (waits.kind, waits.state, waits.told) == (Kind.OVER, "waiting", None)
    before = world.store.letters_since(0)
    world.store.commit()
    assert world.store.letters_since(0) == before
    assert world.store.letters_since(NOON + 1) == [waits]


@pytest.mark.parametrize("seed", range(8))
def test_every_transition_worth_telling_is_told(tmp_path: Path, seed: int) -> None:
    """Whatever comes, goes away and crashes: each telling is in a letter that was told, or was withdrawn for a reason."""
    dice = random.Random(seed)  # noqa: S311  (it hides nothing)
    world = World(tmp_path / "any.db", reaches={"phone": Reach(), "neighbour": Reach(after=5 * MINUTE)})
    standing: dict[str, Transition] = {}
    time = NOON
    for _ in range(150):
        time += dice.choice([SECOND, 20 * SECOND, MINUTE, 30 * MINUTE])
        rule, vessel = dice.choice(["cold", "hot", "air"]), dice.choice(["ash", "birch", "cedar"])
        before = standing.pop(f"{rule}:{vessel}", None)
        if before is None:
            trouble = rung(rule, vessel, time, dice.choice(list(Priority)), dice.choice([None, 10, 60]))
            standing[trouble.alarm.id] = trouble
            world.post(trouble)
        else:
            turn = dice.choice(["over", "over", "acknowledged", "again"])
            if turn == "again" and before.alarm.priority is Priority.HIGH:
                standing[before.alarm.id] = before
                world.post(repeated(before, time))
            elif turn == "acknowledged":
                world.post(acknowledged(before, time))
            else:
                world.post(moved(before, RETURNED, time))
        world.away = {"phone"} if dice.random() < 0.2 else set()
        world.turn(time)
        if dice.random() < 0.1:
            world.again()
    world.away = set()
    world.until(time, time + 26 * HOUR, 5 * MINUTE)
    assert world.outbox.waiting() == {}
    posted = world.posted()
    phone = [one for one in posted.values() if one.channel == "phone"]
    for one in phone:
        end = one
        while end.merged_into is not None:
            assert set(end.alarms) <= set(posted[end.merged_into].alarms)
            end = posted[end.merged_into]
        assert end.state == "told" or (end.state == "withdrawn" and end.error)
        assert end.kind is not Kind.TROUBLE or end.state == "told" or "acknowledged" in end.error
    assert {one.cause for one in world.store.undelivered()} <= {Cause.NOW}
    world.store.close()
