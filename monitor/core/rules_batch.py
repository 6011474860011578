"""Alarms about how far a batch is: ready."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import MINUTE, Ms, Priority, Stage
from monitor.core.wording import clock, clock_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.state import State, VesselState

RULES: Final = ("ready",)
"""Of vessels."""


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:  # noqa: ARG001
    """What is looked at as time passes; ``slow`` once a slot."""
    yield ready(state, vessel, now)


def ready(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """Time to harvest."""
    name = vessel.spec.id
    alarm = f"ready:{name}"
    batch = vessel.batch
    estimate = None if batch is None else batch.estimate
    active = estimate is not None and estimate.stage in (Stage.READY, Stage.PAST)
    if not active and (state.idle(alarm) or (batch is not None and estimate is None)):
        return None  # nothing stands, or nothing is known yet after a restart
    if batch is None or estimate is None or estimate.ready.mid is None:
        return over(alarm, "ready", name, Priority.MEDIUM, 0, tell=False)
    zone = state.site.timezone
    best = int(estimate.best_until or estimate.ready.mid)
    share = round(100 * (estimate.hatched.mid or 0.0))
    past = " That is over: feed what is there, or give it to bigger mouths." if estimate.stage is Stage.PAST else ""
    return Condition(
        id=alarm,
        rule="ready",
        subject=name,
        priority=Priority.MEDIUM,
        active=active,
        clear=not active,
        since=int(estimate.ready.mid),
        on_delay=0,
        off_delay=10 * MINUTE,
        title=f"{name} is ready to harvest",
        text=(
            f"Ready since about {clock_range(estimate.ready, zone, now)}; about {share} % of the cysts have hatched. "
            f"At this temperature they are at their best until about {clock(best, zone, now)}: {estimate.best_reason}.{past}"
        ),
        todo="Air off, let it settle, harvest with a light at the bottom, rinse, feed; chill the surplus under slight air.",
        tell_return=False,
    )
