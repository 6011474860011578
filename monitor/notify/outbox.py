"""The outbox as the decision thread works it: every alarm transition worth telling is told at least once.

A letter is in the store before it is handed out and is struck off only when its channel has taken it. A crash in
between tells it twice, with the same token; never not at all.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Literal, Protocol

import structlog

from monitor.core.model import DAY, MINUTE, SECOND, Priority
from monitor.core.wording import duration
from monitor.store import Draft

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.model import Ms, Transition
    from monitor.store import Letter

log = structlog.get_logger()

FIRST_BACK_OFF: Ms = 5 * SECOND
LONGEST_BACK_OFF: Ms = 15 * MINUTE
GIVE_UP_AFTER: Ms = 7 * DAY
"""A letter older than this helps nobody. Common practice, no source."""


class DeliveryFailed(Exception):  # noqa: N818  (said of a letter, not of the program)
    """A channel did not take a letter. ``transient``: it may later. ``retry_after``: seconds it asks us to wait.

    ``message`` says what was found, ``todo`` what a keeper can do about it where the channel knows.
    """

    def __init__(
        self, message: str, *, transient: bool = True, retry_after: float | None = None, todo: str = ""
    ) -> None:
        super().__init__(message)
        self.message = message
        self.transient = transient
        self.retry_after = retry_after
        self.todo = todo


class Channel(Protocol):
    """A way to reach a person. ``send`` runs in the channel's own thread and must end by itself."""

    @property
    def id(self) -> str: ...

    def send(self, letter: Letter) -> None:
        """Return when the letter is taken, or raise DeliveryFailed."""


@dataclass(frozen=True, slots=True)
class Delivery:
    """How one try with one letter ended. ``retry_after`` in seconds."""

    letter_id: int
    ok: bool
    error: str = ""
    transient: bool = True
    retry_after: float | None = None
    todo: str = ""


class Deliverer(Protocol):
    """What the outbox needs of a notifier."""

    def deliver(self, letter: Letter) -> None: ...


class LetterBox(Protocol):
    """What the outbox needs of the store."""

    def put_alarm(self, transition: Transition) -> int: ...
    def enqueue(self, transition_id: int | None, channel: str, draft: Draft) -> Letter: ...
    def undelivered(self) -> list[Letter]: ...
    def due(self, now: Ms) -> list[Letter]: ...
    def told(self, letter_id: int, now: Ms) -> None: ...
    def postpone(self, letter_id: int, next_try: Ms, error: str) -> None: ...
    def hasten(self, letter_id: int, next_try: Ms) -> None: ...
    def give_up(self, letter_id: int, error: str) -> None: ...


def back_off(tries: int, letter_id: int = 0) -> Ms:
    """How long to wait after ``tries`` failed tries: 5 s, doubling up to 15 min, shortened by up to a quarter.

    The shortening depends on the letter, so that letters that failed together do not all come back together, and on
    nothing else, so that the same history gives the same times.
    """
    doubled = FIRST_BACK_OFF << min(max(tries, 1) - 1, 16)
    longest = min(doubled, LONGEST_BACK_OFF)
    dice = int.from_bytes(blake2b(f"{letter_id}:{tries}".encode(), digest_size=2).digest()) / 65_536
    return round(longest * (1 - dice / 4))


def draft(transition: Transition, now: Ms | None = None) -> Draft:
    """What to tell about a transition: the trouble and what to do, or that it is over.

    ``now`` is when the letter is written, where that is not the transition's time because time is simulated.
    """
    alarm = transition.alarm
    written = transition.time if now is None else now
    if alarm.over:
        lasted = duration(transition.time - alarm.since)
        body = f"It lasted {lasted}; nothing needs doing about it now."
        return Draft(alarm.id, f"Over: {alarm.title}", body, Priority.LOW, written)
    body = "\n".join(part for part in (alarm.text, alarm.todo) if part)
    return Draft(alarm.id, alarm.title, body, alarm.priority, written, alarm.todo, alarm.deadline)


_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}

Settled = Literal["told", "postponed", "given-up", "unknown"]


class Outbox:
    """Used by the thread that owns the store."""

    def __init__(self, store: LetterBox) -> None:
        self._store = store
        self._flying: dict[int, Letter] = {}
        self._not_before: dict[str, Ms] = {}
        self._failing: set[str] = set()

    @property
    def in_flight(self) -> int:
        return len(self._flying)

    @property
    def failing(self) -> frozenset[str]:
        """Channels whose last try failed."""
        return frozenset(self._failing)

    def post(self, transition: Transition, channels: Iterable[str], now: Ms | None = None) -> int:
        """Record a transition and, if it is to be told, a letter to each channel; give back how many letters.

        Both wait for the same commit.
        """
        number = self._store.put_alarm(transition)
        if not transition.notify:
            return 0
        said = draft(transition, now)
        reached = tuple(channels)
        if transition.before is transition.alarm.state:
            self._take_back(transition.alarm.id, reached)
        return len([self._store.enqueue(number, channel, said) for channel in reached])

    def _take_back(self, alarm: str, channels: tuple[str, ...]) -> None:
        """A repeat is about to say the same with fresh minutes: a channel that is down must not pile them up."""
        for letter in self._store.undelivered():
            same = letter.alarm == alarm and letter.channel in channels and letter.priority is Priority.HIGH
            if same and letter.id not in self._flying:
                self._store.give_up(letter.id, "a fresher letter of this alarm takes its place")

    def pump(self, now: Ms, notifier: Deliverer) -> int:
        """Hand out every letter whose time has come; give back how many. Commit first, so that none is told unsaved."""
        handed = 0
        for letter in self._ready(now):
            self._flying[letter.id] = letter
            notifier.deliver(letter)
            handed += 1
        return handed

    def settle(self, delivery: Delivery, now: Ms) -> Settled:
        """Take the end of a try to the store."""
        letter = self._flying.pop(delivery.letter_id, None)
        if letter is None:
            return "unknown"
        self._watch(letter.channel, delivery)
        if delivery.ok:
            self._store.told(letter.id, now)
            self._wake(letter.channel, now)
            return "told"
        if not delivery.transient or now - letter.created > GIVE_UP_AFTER:
            log.error("letter.given-up", letter=letter.id, channel=letter.channel, error=delivery.error)
            self._store.give_up(letter.id, delivery.error)
            return "given-up"
        asked = round((delivery.retry_after or 0.0) * SECOND)
        if asked:
            self._not_before[letter.channel] = now + asked
        self._store.postpone(letter.id, now + max(asked, back_off(letter.tries + 1, letter.id)), delivery.error)
        return "postponed"

    def recall(self) -> None:
        """The notifier was replaced: whatever it had in hand is handed out anew."""
        self._flying.clear()

    def _ready(self, now: Ms) -> list[Letter]:
        """Due letters, the most pressing alarm first, and within an alarm the oldest letter first.

        Older ones of the same alarm and channel go along even if they were postponed: otherwise "over" could arrive
        before the trouble it ends.
        """
        due = [letter for letter in self._store.due(now) if self._may_go(letter, now)]
        if not due:
            return []
        newest: dict[tuple[str, str], int] = {}
        for letter in due:
            key = (letter.channel, letter.alarm)
            newest[key] = max(letter.id, newest.get(key, 0))
        chosen = {letter.id for letter in due}
        older = [
            letter
            for letter in self._store.undelivered()
            if letter.id not in chosen
            and letter.id < newest.get((letter.channel, letter.alarm), 0)
            and self._may_go(letter, now)
        ]
        ready = older + due
        pressing: dict[tuple[str, str], tuple[int, int]] = {}
        for letter in ready:
            key = (letter.channel, letter.alarm)
            rank, first = pressing.get(key, (_RANK[letter.priority], letter.id))
            pressing[key] = (min(rank, _RANK[letter.priority]), min(first, letter.id))
        return sorted(ready, key=lambda letter: (*pressing[letter.channel, letter.alarm], letter.id))

    def _may_go(self, letter: Letter, now: Ms) -> bool:
        return letter.id not in self._flying and now >= self._not_before.get(letter.channel, now)

    def _wake(self, channel: str, now: Ms) -> None:
        """The channel works again: what it refused before need not wait any longer."""
        self._not_before.pop(channel, None)
        for letter in self._store.undelivered():
            if letter.channel == channel and letter.next_try > now and letter.id not in self._flying:
                self._store.hasten(letter.id, now)

    def _watch(self, channel: str, delivery: Delivery) -> None:
        if delivery.ok and channel in self._failing:
            self._failing.discard(channel)
            log.info("channel.working", channel=channel)
        elif not delivery.ok and channel not in self._failing:
            self._failing.add(channel)
            log.warning("channel.failing", channel=channel, error=delivery.error, todo=delivery.todo)
