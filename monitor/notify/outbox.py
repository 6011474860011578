"""The outbox as the decision thread works it: every alarm transition worth telling is told at least once.

A letter is in the store before it is handed out and is struck off only when its channel has taken it. A crash in
between tells it twice, with the same token; never not at all. When it may go is decided in ``monitor.core.dispatch``.

Two clocks: what a person is spared (quiet hours, digests, floods) follows the engine's time, which may be simulated; what a
channel is spared (back-off, Retry-After) follows real time.
"""

from __future__ import annotations

from dataclasses import replace
from hashlib import blake2b
from typing import TYPE_CHECKING, Literal, Protocol

from monitor import failpoint
from monitor.core.dispatch import AT_ONCE, FOR_A_DIGEST, Cause, Hold, Kind, Reach, kind_of, when
from monitor.core.light import light
from monitor.core.model import DAY, MINUTE, SECOND, AlarmState, Priority
from monitor.failpoint import Point
from monitor.loglines import log
from monitor.notify.arranging import Arranging
from monitor.notify.wording import draft
from monitor.store import LETTERS_KEPT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from monitor.core.dispatch import Manners
    from monitor.core.model import Ms, Transition
    from monitor.notify.arranging import LetterBox
    from monitor.store import Letter

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


@light
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


def back_off(tries: int, letter_id: int = 0) -> Ms:
    """How long to wait after ``tries`` failed tries: 5 s, doubling up to 15 min, shortened by up to a quarter.

    The shortening depends on the letter, so that letters that failed together do not all come back together, and on
    nothing else, so that the same history gives the same times.
    """
    doubled = FIRST_BACK_OFF << min(max(tries, 1) - 1, 16)
    longest = min(doubled, LONGEST_BACK_OFF)
    dice = int.from_bytes(blake2b(f"{letter_id}:{tries}".encode(), digest_size=2).digest()) / 65_536
    return round(longest * (1 - dice / 4))


Settled = Literal["told", "postponed", "given-up", "unknown"]


class Outbox(Arranging):
    """Used by the thread that owns the store. Without ``manners`` every letter goes at once and by itself.

    ``reaches``: what each channel is for, where that is not everything at once.
    """

    def __init__(
        self, store: LetterBox, manners: Manners = AT_ONCE, reaches: Mapping[str, Reach] | None = None
    ) -> None:
        super().__init__(store, manners, reaches or {})
        self._failing: set[str] = set()

    @property
    def in_flight(self) -> int:
        return len(self._flying)

    @property
    def failing(self) -> frozenset[str]:
        """Channels whose last try failed."""
        return frozenset(self._failing)

    # -- coming in

    def post(self, transition: Transition, channels: Iterable[str], now: Ms | None = None) -> int:
        """Record a transition and, if it is to be told, a letter to each channel it is for; give back how many letters.

        All wait for the same commit. ``now`` is real time, where the transition's is simulated.
        """
        number = self._store.put_alarm(transition)
        self._withdraw(transition)
        said = draft(transition, now)
        posted = 0
        for channel in channels:
            hold = self._hold_for(transition, channel)
            if hold is None:
                continue
            before = self._told_anew(transition, channel)
            kind = said.kind
            if any(letter.kind is Kind.TROUBLE for letter in before):
                kind = Kind.TROUBLE  # nobody was told of it there yet
            letter = self._store.enqueue(number, channel, replace(said, kind=kind, hold=_soonest(hold, before, kind)))
            self._store.merge([one.id for one in before], letter.id, "a fresher letter of this alarm takes its place")
            posted += 1
        return posted

    def _hold_for(self, transition: Transition, channel: str) -> Hold | None:
        """When a letter about this may go to a channel; ``None`` when there is nothing to tell there."""
        alarm, time, kind = transition.alarm, transition.time, kind_of(transition)
        reach = self._reaches.get(channel, Reach())
        told = self._was_told(channel, alarm.id, alarm.since, time)
        if kind is Kind.OVER:
            waiting = self._waiting_about(channel, alarm.id, alarm.since)
            held = next((one for one in waiting if one.cause in FOR_A_DIGEST and one.hold > time), None)
            if held is not None and not told:
                return Hold(held.hold, held.cause, f"its trouble has not been told yet: {held.why}")
            told = told or bool(waiting)
        if not transition.notify:
            return None
        return when(kind, alarm, time, self._manners, reach, told=told)

    def _was_told(self, channel: str, alarm: str, since: Ms, time: Ms) -> bool:
        """Whether a channel was told of the trouble that began at ``since``, or is just being told."""
        if time - since > LETTERS_KEPT - DAY:
            return True  # longer ago than letters are kept: rather a return too many
        flying = [letter for letter, _ in self._flying.values() if letter.channel == channel]
        times = [part.time for letter in flying for part in letter.parts if part.alarm == alarm and part.ended is None]
        last = self._store.last_told(channel, alarm)
        return max(times, default=since - 1) >= since or (last is not None and last >= since)

    def _waiting_about(self, channel: str | None, alarm: str, since: Ms) -> list[Letter]:
        """Letters not handed out that tell of the trouble that began at ``since``."""
        return [
            letter
            for letter in self._store.undelivered()
            if letter.id not in self._flying
            and channel in (None, letter.channel)
            and any(part.alarm == alarm and part.ended is None and part.time >= since for part in letter.parts)
        ]

    def _told_anew(self, transition: Transition, channel: str) -> list[Letter]:
        """What waits of the same trouble, which this letter tells with fresh minutes: they must not pile up."""
        alarm = transition.alarm
        if alarm.over or not (alarm.priority is Priority.HIGH or kind_of(transition) is Kind.REPEAT):
            return []
        waiting = self._waiting_about(channel, alarm.id, alarm.since)
        return [letter for letter in waiting if letter.kind in (Kind.TROUBLE, Kind.REPEAT) and len(letter.parts) == 1]

    def _withdraw(self, transition: Transition) -> None:
        """Whoever has taken note needs no letter that waits for the morning or for the second channel."""
        alarm = transition.alarm
        if alarm.state is AlarmState.UNACKNOWLEDGED:
            return
        seen = not alarm.over or transition.before is AlarmState.RETURNED
        for letter in self._store.undelivered():
            if letter.id in self._flying or letter.alarms != (alarm.id,):
                continue
            needless = letter.cause is Cause.SECOND or letter.kind is Kind.REPEAT
            if needless or (seen and letter.cause in FOR_A_DIGEST):
                self._store.withdraw(letter.id, f"{transition.reason}, before it was told here")

    # -- going out

    def pump(self, now: Ms, notifier: Deliverer, time: Ms | None = None) -> int:
        """Hand out the most pressing letter whose time has come to each channel that has none in hand; give back how many.

        Commit first, so that none is told unsaved; and settle and commit before the next, so that a crash repeats at most one.
        """
        at = now if time is None else time
        busy = {letter.channel for letter, _ in self._flying.values()}
        handed = 0
        for letter in self._ready(now, at):
            if letter.channel in busy:
                continue
            busy.add(letter.channel)
            self._flying[letter.id] = (letter, at)
            failpoint.reach(Point.BEFORE_HAND_OVER)
            notifier.deliver(letter)
            handed += 1
        return handed

    def settle(self, delivery: Delivery, now: Ms) -> Settled:
        """Take the end of a try to the store."""
        flown = self._flying.pop(delivery.letter_id, None)
        if flown is None:
            return "unknown"
        letter, went = flown
        self._watch(letter.channel, delivery)
        if delivery.ok:
            self._store.told(letter.id, now, went)
            failpoint.reach(Point.STRUCK_OFF)
            self._wake(letter.channel, now)
            return "told"
        if not delivery.transient or now - letter.created > GIVE_UP_AFTER:
            log.error("letter.given-up", letter=letter.id, channel=letter.channel, error=delivery.error)
            self._store.give_up(letter.id, delivery.error)
            return "given-up"
        asked = round((delivery.retry_after or 0.0) * SECOND)
        if asked:
            self._not_before[letter.channel] = now + asked
        again = now + max(asked, back_off(letter.tries + 1, letter.id))
        self._store.postpone(letter.id, again, delivery.error)
        self._behind(letter, again)
        return "postponed"

    def _behind(self, letter: Letter, again: Ms) -> None:
        """What tells more of the same alarms may not overtake it, and must not pull it along before its time."""
        for other in self._store.undelivered():
            later = other.id > letter.id and other.channel == letter.channel and other.id not in self._flying
            if later and set(other.alarms) & set(letter.alarms) and other.next_try < again:
                self._store.hasten(other.id, again)

    def recall(self) -> None:
        """The notifier was replaced: whatever it had in hand is handed out anew."""
        self._flying.clear()

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


def _soonest(hold: Hold, before: Iterable[Letter], kind: Kind) -> Hold:
    """A letter that tells anew what waits for the second channel goes no later than that would have.

    A repeat that tells anew what waits behind a flood goes when that would have; a first telling waits behind none.
    """
    causes = (Cause.SECOND, Cause.FLOOD) if kind is Kind.REPEAT else (Cause.SECOND,)
    waits = [Hold(letter.hold, letter.cause, letter.why) for letter in before if letter.cause in causes]
    if not waits:
        return hold
    first = min(waits, key=lambda wait: wait.until)
    return first if first.cause is Cause.FLOOD or first.until < hold.until else hold
