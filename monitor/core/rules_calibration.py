"""The alarm about a probe that was held against a true temperature so long ago that it is time to do it again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.alarms import Condition, over
from monitor.core.model import Priority
from monitor.core.wording import clock

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.core.model import Ms, ProbeSpec
    from monitor.core.state import State

RULE: Final = "calibration-due"
TODO: Final = (
    "Hold it in ice water (0 C) and beside a fever thermometer in water of 37 C; "
    "write what it told into the configuration."
)


def alarm_id(probe: str) -> str:
    return f"{RULE}:{probe}"


def on_tick(state: State, now: Ms) -> Iterator[Condition | None]:
    """Looks at every probe; one that was never calibrated has nothing to say."""
    for probe in state.probes.values():
        yield calibration_due(state, probe.spec, now)


def calibration_due(state: State, spec: ProbeSpec, now: Ms) -> Condition | None:
    """Rings once, and stands until a newer date is configured, which ends it without a word."""
    alarm, due = alarm_id(spec.id), spec.calibrate_by
    if due is None or now < due:
        return None if state.idle(alarm) else over(alarm, RULE, spec.id, Priority.LOW, 0, tell=False)
    return Condition(
        id=alarm,
        rule=RULE,
        subject=spec.id,
        priority=Priority.LOW,
        active=True,
        clear=False,
        since=due,
        on_delay=0,
        off_delay=0,
        title=f"Probe {spec.id} is due for calibration",
        text=(
            f"The calibration of {spec.id} was good until {clock(due, state.site.timezone, now)}. Sensors drift by tenths "
            "of a degree over the years, and a degree moves the hatch by hours. Its readings are used as before."
        ),
        todo=TODO,
        tell_return=False,
    )
