"""A batch of which nobody has written what became of it: the keeper is asked once, then the monitor closes it.

Until then it is believed to stand in its vessel, and its alarms with it. Closed, it is "ended, not logged": it teaches its tin
nothing, and its vessel is free. Both delays: common practice, no source; a keeper looks in at least twice a day.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.log import Lapse
from monitor.core.model import DAY, HOUR, Ms, Priority
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import Batch, State, VesselState

UNLOGGED: Final = "unlogged"
RULES: Final = (UNLOGGED,)
"""Of vessels."""
ASK_AFTER: Final = 12 * HOUR  # past its best and without a word
CLOSE_AFTER: Final = 24 * HOUR
ANSWER: Final = 12 * HOUR  # nothing is closed sooner than this after it was asked for, however long the monitor was off
NO_LONGER: Final = 6 * HOUR  # a best time that moves on takes the question back only when it was asked far too early
GIVEN_UP: Final = 7 * DAY  # a batch that never gets ready is past its best by then; common practice, no source


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot."""
    if slow or f"{UNLOGGED}:{vessel.spec.id}" in state.memories:
        yield unlogged(state, vessel, now)


def silent_since(batch: Batch) -> Ms | None:
    """Since when nobody has written of a batch that is past its best; in the future while it is not, ``None`` if unknown."""
    if batch.estimate is None:
        return None
    best = batch.estimate.best_until
    return max(batch.start.time + GIVEN_UP if best is None else int(best), last_word(batch))


def last_look(batch: Batch) -> Ms | None:
    """When the keeper last wrote what was seen in a batch."""
    seen = [] if batch.belief is None else batch.belief.evidence
    return max((max(entry.time, entry.logged) for entry in seen), default=None)


def last_word(batch: Batch) -> Ms:
    """When the keeper last wrote of a batch."""
    return last_look(batch) or max(batch.start.time, batch.start.logged)


def due(batch: Batch, now: Ms) -> bool:
    """Whether it is time to ask."""
    silent = silent_since(batch)
    return silent is not None and now >= silent + ASK_AFTER


def _closes(state: State, vessel: VesselState, silent: Ms, now: Ms) -> Ms:
    memory = state.memories.get(f"{UNLOGGED}:{vessel.spec.id}")
    asked = now if memory is None or memory.begun is None else memory.begun
    return max(silent + CLOSE_AFTER, asked + ANSWER)


def unlogged(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """What became of a batch of which nobody wrote for half a day past its best."""
    name = vessel.spec.id
    alarm = f"{UNLOGGED}:{name}"
    batch = vessel.batch
    if batch is None:
        return None if state.idle(alarm) else over(alarm, UNLOGGED, name, Priority.LOW, 0, tell=False)
    silent = silent_since(batch)
    if silent is None or (state.idle(alarm) and not due(batch, now)):
        return None
    zone = state.site.timezone
    closes = clock(_closes(state, vessel, silent, now), zone, now)
    never = batch.estimate is None or batch.estimate.best_until is None
    return Condition(
        id=alarm,
        rule=UNLOGGED,
        subject=name,
        priority=Priority.LOW,
        active=due(batch, now),
        clear=now < silent + NO_LONGER,
        since=now,
        on_delay=0,
        off_delay=0,
        title=f"What became of {batch.start.batch}?",
        text=(
            f"{batch.start.batch} in {name} {'is not in sight of ready' if never else 'is past its best'}, and nothing was "
            f"logged of it since {clock(last_word(batch), zone, now)}. "
            f"Harvested or thrown away? Without a word it is closed at {closes} as ended, not logged: "
            f"it then teaches its tin nothing, and {name} is free."
        ),
        todo="Log the harvest or the discard with the time when it was; or log what you see, if it is still in there.",
        tell_return=False,
    )


def lapse(state: State, vessel: VesselState, now: Ms) -> Lapse | None:
    """The entry that closes a batch after a question that nobody answered; ``None`` before."""
    batch = vessel.batch
    memory = state.memories.get(f"{UNLOGGED}:{vessel.spec.id}")
    if batch is None or memory is None or memory.begun is None:
        return None
    silent = silent_since(batch)
    if silent is None or now < _closes(state, vessel, silent, now):
        return None
    return Lapse(now, now, batch.start.batch)
