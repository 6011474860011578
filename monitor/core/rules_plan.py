"""The reminder of the plan: a batch is to be started now, so that the meals it is for are full."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import HOUR, MINUTE, Priority
from monitor.core.plan_words import grams
from monitor.core.planned import pending
from monitor.core.wording import about, clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.food import PlannedStart
    from monitor.core.model import Ms
    from monitor.core.state import State, VesselState

DUE: Final = "start-due"
RULES: Final = (DUE,)
"""Of vessels."""
AHEAD: Final[Ms] = 2 * HOUR  # water is mixed and warmed before cysts go in; common practice, no source
SOON: Final[Ms] = HOUR  # from so long before the last hour on it weighs more
LATE: Final[Ms] = 6 * HOUR  # so long after its last hour a reminder helps nobody: the next plan says what does


def on_tick(state: State, vessel: VesselState, now: Ms, *, slow: bool) -> Iterator[Condition | None]:
    """What is looked at as time passes; ``slow`` once a slot and after an entry or a new plan."""
    if slow or f"{DUE}:{vessel.spec.id}" in state.memories:
        yield start_due(state, vessel, now)


def start_due(state: State, vessel: VesselState, now: Ms) -> Condition | None:
    """The next planned start of this vessel is due, and the vessel is free for it."""
    name = vessel.spec.id
    alarm = f"{DUE}:{name}"
    start = next((one for one in pending(state, now) if one.vessel == name), None)
    due = start is not None and start.start - AHEAD <= now < max(start.start_by, start.start) + LATE
    if start is None or not due or vessel.batch is not None:
        return None if state.idle(alarm) else over(alarm, DUE, name, Priority.LOW, 0, tell=False)
    near = now >= start.start_by - SOON and not start.backup
    title, text, todo = _words(state, start, now)
    return Condition(
        id=alarm,
        rule=DUE,
        subject=name,
        priority=Priority.MEDIUM if near else Priority.LOW,
        active=True,
        clear=False,
        since=start.start - AHEAD,
        on_delay=0,
        off_delay=0,
        title=title,
        text=text,
        todo=todo,
        tell_return=False,
    )


def _words(state: State, start: PlannedStart, now: Ms) -> tuple[str, str, str]:
    zone = state.site.timezone
    last = max(start.start_by, start.start)
    what = f"{grams(start.grams)} of {start.lot}"
    spec = state.site.lots.get(start.lot)
    strain = f" ({spec.strain})" if spec is not None and spec.strain else ""
    before = f"before {clock(about(last), zone, now)}" if last > now + 5 * MINUTE else "now"
    ready = ""
    if start.harvest.mid is not None:
        ready = f" To be harvested at about {clock(about(int(start.harvest.mid)), zone, now)}."
    salt = f"{start.litres * start.salinity_g_l:.3g} g of salt in {start.litres:g} L"
    why = start.reason[:1].upper() + start.reason[1:]
    return (
        f"Start {what} in {start.vessel} {before}",
        f"{why}.{ready}",
        f"{what}{strain}, {salt}, in {start.vessel}; then note the start, or say that it is not to be now.",
    )
