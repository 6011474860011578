"""The plan as the engine holds it: which of its starts still wait, which the keeper does not want, and what of it is kept."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from monitor.core.food import FoodAhead, Outlook, Plan
from monitor.core.model import HOUR, Learned, Refused
from monitor.core.pantry_codec import NotReadable, ahead_from_json, document

if TYPE_CHECKING:
    from monitor.core.food import PlannedStart, SkipStart
    from monitor.core.model import Effect, Ms
    from monitor.core.state import State

PLAN_KEY: Final = "food/plan"
SKIPS_KEY: Final = "food/not-before"
FOOD_KEYS: Final = (PLAN_KEY, SKIPS_KEY)
SKIPPED: Final[Ms] = 12 * HOUR  # what is not wanted now is not proposed again for so long; common practice, no source
FOLLOWS: Final[Ms] = 12 * HOUR  # a batch begun so much earlier or later is the one that was planned
STALE: Final[Ms] = 24 * HOUR  # nobody is told to follow a plan that is older


def take(state: State, ahead: FoodAhead) -> Effect:
    """A newer look ahead. The plan alone is kept: what else it found is found anew soon after a restart."""
    state.food_ahead = ahead
    state.not_before = {vessel: until for vessel, until in state.not_before.items() if until > ahead.time}
    return _kept(ahead)


def _kept(ahead: FoodAhead) -> Learned:
    nothing = Outlook(ahead.time, ahead.plan.until)
    bare = FoodAhead(ahead.time, nothing, nothing, ahead.plan, ahead.trouble)
    return Learned(ahead.time, PLAN_KEY, document(bare))


def recall(state: State, key: str, kept: dict[str, Any]) -> None:
    """Raises ValueError for another version's."""
    if key == SKIPS_KEY:
        state.not_before = {str(vessel): int(until) for vessel, until in kept.items()}
    elif key == PLAN_KEY:
        try:
            state.food_ahead = ahead_from_json(json.dumps(kept).encode())
        except NotReadable as why:
            raise ValueError(str(why)) from why


def pending(state: State, now: Ms) -> tuple[PlannedStart, ...]:
    """Starts of the plan that nobody has made yet, the soonest first; none of a plan that is too old to be followed."""
    ahead = state.food_ahead
    if ahead is None or now - ahead.plan.made > STALE:
        return ()
    begun = _begun(state, ahead.plan)
    waiting = []
    for start in sorted(ahead.plan.starts, key=lambda one: one.start):
        times = begun.get(start.vessel, [])
        match = next((time for time in times if abs(time - start.start) <= FOLLOWS), None)
        if match is None:
            waiting.append(start)
        else:
            times.remove(match)
    return tuple(waiting)


def _begun(state: State, plan: Plan) -> dict[str, list[Ms]]:
    """By vessel, when batches were begun that the plan did not know of."""
    found: dict[str, list[Ms]] = {}
    for batch in state.batches.values():
        if batch.start.logged >= plan.made:
            found.setdefault(batch.start.vessel, []).append(batch.start.time)
    return found


def skip(state: State, event: SkipStart) -> list[Effect]:
    """The keeper does not want a start now. Raises Refused for one that is not in the plan."""
    ahead = state.food_ahead
    start = None if ahead is None else next((one for one in ahead.plan.starts if one.id == event.start), None)
    if ahead is None or start is None:
        raise Refused(f"there is no planned start {event.start}; the plan has changed")
    state.not_before[start.vessel] = max(event.time, start.start) + SKIPPED
    left = tuple(one for one in ahead.plan.starts if one.id != start.id)
    state.food_ahead = replace(ahead, plan=replace(ahead.plan, starts=left))
    return [Learned(event.time, SKIPS_KEY, dict(state.not_before)), _kept(state.food_ahead)]
