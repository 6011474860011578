"""Alarms about tins of cysts: one that hatches worse and worse wants a person to sow more of it, or to open another."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition
from monitor.core.model import DAY, Priority
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.log import Start
    from monitor.core.lots import Lot
    from monitor.core.model import Ms
    from monitor.core.state import State

RULE: Final = "tin-falling"
UNUSED: Final[Ms] = 30 * DAY  # a tin left aside for so long needs nobody; common practice, no source
_NOT_IN_A_TOPIC: Final = str.maketrans({character: f"%{ord(character):02x}" for character in "%+#/"})


def alarm_id(lot: str) -> str:
    """Id of a tin's alarm: a level of an MQTT topic, whatever the keeper calls the tin."""
    return f"{RULE}:{in_a_topic(lot)}"


def in_a_topic(lot: str) -> str:
    """The name of a tin as a level of an MQTT topic."""
    return lot.translate(_NOT_IN_A_TOPIC)


def tin_falling(state: State, lot: Lot, now: Ms) -> Condition:
    """The newest batches of a tin hatched clearly worse than those before.

    Nobody's trouble any more once another tin was started in its place, or it was not used for ``UNUSED``; a tin that is taken
    up again rings when it has taught the same again.
    """
    fall = lot.fall
    active = fall is not None and replaced_by(state, lot) is None and not _left_aside(state, lot, now)
    if fall is None or not active:
        return Condition(alarm_id(lot.id), RULE, lot.id, Priority.LOW, False, True, 0, 0, 0, tell_return=False)
    before, newest = (round(100 * share) for share in fall)
    since = lot.taught[-1].time
    return Condition(
        id=alarm_id(lot.id),
        rule=RULE,
        subject=lot.id,
        priority=Priority.LOW,
        active=True,
        clear=False,
        since=since,
        on_delay=0,
        off_delay=0,
        title=f"Tin {lot.id} is getting weak",
        text=(
            f"Tin {lot.id} hatches worse and worse: {newest} % after {before} % before, "
            f"by its batches up to {clock(since, state.site.timezone, now)}. "
            "The same weight of cysts gives fewer nauplii than the fry may need."
        ),
        todo="Sow more of it or open another; order one if it is the last.",
        tell_return=False,
    )


def standing(state: State, now: Ms) -> Iterator[Condition]:
    """Looks again at the tins whose alarm has a memory; a new one rings only when a batch has taught."""
    for memory in list(state.memories.values()):
        alarm = memory.alarm
        if alarm is not None and alarm.rule == RULE and alarm.subject in state.lots:
            yield tin_falling(state, state.lots[alarm.subject], now)


def replaced_by(state: State, lot: Lot) -> str | None:
    """The other tin that was started in the vessel of this one's newest batch since it has taught; else ``None``."""
    if not lot.taught:
        return None
    newest = state.batches.get(lot.taught[-1].batch)
    for start in _starts_since(state, lot):
        if start.lot != lot.id and (newest is None or start.vessel == newest.start.vessel):
            return start.lot
    return None


def _left_aside(state: State, lot: Lot, now: Ms) -> bool:
    used = [start.time for start in _starts_since(state, lot) if start.lot == lot.id]
    times = sorted([lot.taught[-1].time, *used, max(now, lot.taught[-1].time)])
    return any(later - earlier >= UNUSED for earlier, later in pairwise(times))


def _starts_since(state: State, lot: Lot) -> Iterator[Start]:
    """Starts of any tin that were logged after the newest batch of this one had taught."""
    after = lot.taught[-1].time
    return (batch.start for batch in state.batches.values() if max(batch.start.time, batch.start.logged) >= after)
