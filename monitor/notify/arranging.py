"""The part of the outbox that looks at what waits: what may go now, what goes together, what has become too much."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Protocol

from monitor.core.dispatch import FOR_A_DIGEST, RANK, Cause, Hold, Kind, Slip, due, plan
from monitor.core.model import DAY, HOUR, MINUTE, SECOND
from monitor.core.wording import rfc3339
from monitor.loglines import log
from monitor.notify.wording import together

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from monitor.core.dispatch import Manners, Reach
    from monitor.core.model import Ms, Transition
    from monitor.store import Draft, Letter

LONGEST_WAIT: Final[Ms] = DAY
"""A next try further ahead than any channel may ask for was reckoned while the clock was wrong."""
LONGEST_ASKED: Final[Ms] = HOUR


class LetterBox(Protocol):
    """What the outbox needs of the store."""

    def put_alarm(self, transition: Transition) -> int: ...
    def enqueue(self, transition_id: int | None, channel: str, draft: Draft) -> Letter: ...
    def undelivered(self) -> list[Letter]: ...
    def told(self, letter_id: int, now: Ms, went: Ms | None = None) -> None: ...
    def postpone(self, letter_id: int, next_try: Ms, error: str) -> None: ...
    def hasten(self, letter_id: int, next_try: Ms) -> None: ...
    def hold(self, letter: Letter) -> None: ...
    def merge(self, letter_ids: Sequence[int], into: int, reason: str) -> None: ...
    def withdraw(self, letter_id: int, reason: str) -> None: ...
    def give_up(self, letter_id: int, error: str) -> None: ...
    def last_told(self, channel: str, alarm: str) -> Ms | None: ...
    def pushes(self, channel: str) -> list[Ms]: ...


class Arranging:
    """``now`` is real time, ``time`` the engine's; where only one is given, both are the same."""

    def __init__(self, store: LetterBox, manners: Manners, reaches: Mapping[str, Reach]) -> None:
        self._store = store
        self._manners = manners
        self._reaches = reaches
        self._flying: dict[int, tuple[Letter, Ms]] = {}  # with when they were handed out, in the engine's time
        self._not_before: dict[str, Ms] = {}

    # -- what waits

    def waiting(self) -> dict[str, dict[str, Any]]:
        """For each channel with letters that wait: how many, for what, and when the first hold ends (RFC 3339 or None)."""
        found: dict[str, dict[str, Any]] = {}
        for channel, letters in self._by_channel().items():
            why = Counter(_waits_for(letter) for letter in letters)
            held = [letter.hold for letter in letters if letter.cause in (*FOR_A_DIGEST, Cause.SECOND)]
            found[channel] = {
                "count": len(letters),
                "why": dict(sorted(why.items())),
                "next": rfc3339(min(held)) if held else None,
            }
        return found

    def _by_channel(self) -> dict[str, list[Letter]]:
        found: dict[str, list[Letter]] = {}
        for letter in self._store.undelivered():
            if letter.id not in self._flying:
                found.setdefault(letter.channel, []).append(letter)
        return found

    # -- what may go

    def _ready(self, now: Ms, time: Ms) -> list[Letter]:
        """Due letters, the most pressing alarm first, and within an alarm the oldest letter first.

        Older ones of the same alarm and channel go along even if they were postponed: otherwise "over" could arrive
        before the trouble it ends.
        """
        able = [letter for letter in self._store.undelivered() if self._may_go(letter, now, time)]
        chosen = [letter for letter in able if letter.next_try <= now or letter.next_try > now + LONGEST_WAIT]
        newest: dict[tuple[str, str], int] = {}
        for letter in chosen:
            for key in _keys(letter):
                newest[key] = max(letter.id, newest.get(key, 0))
        ids = {letter.id for letter in chosen}
        older = [
            letter
            for letter in able
            if letter.id not in ids and any(letter.id < newest.get(key, 0) for key in _keys(letter))
        ]
        ready = older + chosen
        pressing: dict[tuple[str, str], tuple[int, int]] = {}
        for letter in ready:
            for key in _keys(letter):
                rank, first = pressing.get(key, (RANK[letter.priority], letter.id))
                pressing[key] = (min(rank, RANK[letter.priority]), min(first, letter.id))
        return sorted(ready, key=lambda letter: (*min(pressing[key] for key in _keys(letter)), letter.id))

    def _may_go(self, letter: Letter, now: Ms, time: Ms) -> bool:
        asked = self._not_before.get(letter.channel, now)
        free = asked <= now or asked > now + LONGEST_ASKED + MINUTE  # the clock was set back since it asked
        return letter.id not in self._flying and due(letter.hold, letter.cause, time) and free

    # -- what goes together

    def arrange(self, now: Ms, time: Ms | None = None) -> None:
        """Make one letter of what goes together, and hold back what would be too much for a channel.

        To be called before the commit that comes before ``pump``: what was merged must be on the disk before it is told.
        """
        at = now if time is None else time
        for channel, letters in self._by_channel().items():
            if len(letters) > self._manners.bound:
                self._bound(channel, letters, now, at)
        ready: dict[str, list[Letter]] = {}
        for letter in self._ready(now, at):
            ready.setdefault(letter.channel, []).append(letter)
        for channel, letters in ready.items():
            self._plan(channel, letters, now, at)

    def _plan(self, channel: str, ready: list[Letter], now: Ms, time: Ms) -> None:
        ids = {letter.id for letter in ready}
        coming = [
            letter
            for letter in self._by_channel()[channel]
            if letter.id not in ids and not letter.tries and not due(letter.hold, letter.cause, time)
        ]
        pushes = self._store.pushes(channel)
        pushes += [went for letter, went in self._flying.values() if letter.channel == channel]
        made = plan([_slip(one) for one in ready], [_slip(one) for one in coming], pushes, time, self._manners)
        letters = {letter.id: letter for letter in (*ready, *coming)}
        for group in made.go:
            if len(group) > 1:
                self._merge([letters[slip.id] for slip in group], now, time)
        most, within = self._manners.most, self._manners.within // MINUTE
        for slip in made.later:
            why = f"{most} pushes went to {channel} within {within} min: told with whatever else has come by then"
            self._store.hold(replace(letters[slip.id], hold=made.again, cause=Cause.FLOOD, why=why))

    def _merge(self, letters: Sequence[Letter], now: Ms, time: Ms, hold: Hold | None = None) -> Letter:
        """In the place of these letters comes one that tells them all; both are in one commit."""
        said = together(letters, time, now, self._manners.timezone)
        if hold is None:
            why = f"{len(letters)} of one kind within {self._manners.gather // SECOND} s are one letter"
            why = "; ".join(dict.fromkeys([letters[0].why, *([why] if said.kind is not Kind.DIGEST else [])]))
            hold = Hold(time, Cause.NOW, why)
        made = self._store.enqueue(None, letters[0].channel, replace(said, hold=hold))
        self._store.merge([letter.id for letter in letters], made.id, f"told in letter {made.id}")
        log.info("letters.merged", channel=made.channel, kind=made.kind.value, letters=len(letters), into=made.id)
        return made

    def _bound(self, channel: str, letters: list[Letter], now: Ms, time: Ms) -> None:
        """Too many wait: the oldest that are not urgent become one digest, down to half, so that it is not done each time.

        Of urgent trouble only what a newer letter tells anew goes with them; there is at most one letter an alarm beside it.
        """
        newest = {letter.alarm: letter.id for letter in letters if _slip(letter).pressing}
        oldest = [letter for letter in letters if not _slip(letter).pressing or newest[letter.alarm] != letter.id]
        excess = oldest[: len(letters) - self._manners.bound // 2]
        if len(excess) < 2:
            return
        first = min(excess, key=lambda letter: letter.hold)
        cause = first.cause if first.cause in FOR_A_DIGEST else Cause.FLOOD
        why = f"more than {self._manners.bound} letters waited for {channel}: the oldest are told together"
        self._merge(excess, now, time, Hold(first.hold, cause, why))


def _keys(letter: Letter) -> Iterable[tuple[str, str]]:
    return [(letter.channel, alarm) for alarm in letter.alarms]


def _slip(letter: Letter) -> Slip:
    return Slip(
        id=letter.id,
        alarms=letter.alarms,
        rule=letter.rule,
        kind=letter.kind,
        priority=letter.priority,
        until=letter.hold,
        cause=letter.cause,
        tried=letter.tries > 0,
    )


def _waits_for(letter: Letter) -> str:
    if letter.tries:
        return "channel-failing"
    return "sending" if letter.cause in (Cause.NOW, Cause.GATHERING) else letter.cause.value
