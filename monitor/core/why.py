"""Why it rang and why it did not: every decision about telling a person, with its reason, the newest of each alarm."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, Final

from monitor.core.alarms import HELD_BY_A_PERSON, STANDING
from monitor.core.light import light
from monitor.core.model import AlarmState

if TYPE_CHECKING:
    from monitor.core.alarms import Condition, Memory
    from monitor.core.model import Ms, Transition

KEPT: Final = 24
"""Decisions kept of each alarm."""
SHOWN: Final = 8
"""Of these, so many go out with the bench."""


@light
class Decision:
    """To tell a person, or not to. ``cause`` stays the same as long as the decision does, ``reason`` is its first wording."""

    time: Ms
    alarm: str
    notify: bool
    reason: str
    cause: str = ""


def silent_because(memory: Memory, found: Condition, now: Ms) -> tuple[str, str] | None:
    """Cause and reason why nobody is told, when a step from ``memory`` brings no transition; ``None`` when all is well."""
    state = memory.state
    if state in HELD_BY_A_PERSON:
        if memory.alarm is None or not found.active:
            return None
        held = state.value.replace("-", " ")
        return held, f"the trouble is there, but it is {held}: {memory.alarm.reason}"
    if state in STANDING:
        return _while_standing(memory, found)
    if found.active and found.suppressed:
        return f"suppressed {found.suppressed}", found.suppressed
    if found.active:
        return "on-delay", f"waits for its on-delay of {found.on_delay // 1000} s"
    if state is AlarmState.NORMAL and memory.begun is not None:
        lasted = (now - memory.begun) // 1000
        return "short", f"gone after {lasted} s, sooner than its on-delay of {found.on_delay // 1000} s"
    return None if found.clear else ("deadband", "inside its deadband: not there, and not clear of its limit either")


def _while_standing(memory: Memory, found: Condition) -> tuple[str, str]:
    if found.clear:
        return "off-delay", f"clear; waits for its off-delay of {found.off_delay // 1000} s before it is over"
    if not found.active:
        return "deadband", "inside its deadband: it goes on standing"
    if memory.state is AlarmState.ACKNOWLEDGED:
        return "acknowledged", "it stands, and somebody has acknowledged it"
    return "told", "it stands, and was told already"


class Decisions:
    """The newest decisions of each alarm. A silence is kept once for each cause, not once for each step."""

    def __init__(self) -> None:
        self._kept: dict[str, deque[Decision]] = {}

    def of(self, alarm: str) -> list[Decision]:
        """Oldest first; empty when nothing was ever decided about it."""
        return list(self._kept.get(alarm, ()))

    def newest(self) -> dict[str, list[Decision]]:
        """The newest few of each alarm, oldest first."""
        return {alarm: list(kept)[-SHOWN:] for alarm, kept in self._kept.items()}

    def moved(self, transition: Transition) -> None:
        """Keep what a transition decided."""
        alarm = transition.alarm
        decision = Decision(transition.time, alarm.id, transition.notify, transition.reason, _cause(transition))
        self._add(decision)

    def silent(self, alarm: str, now: Ms, because: tuple[str, str] | None) -> None:
        """Keep why nobody is told, unless that is what was decided last."""
        if because is None:
            return
        cause, reason = because
        kept = self._kept.get(alarm)
        if kept and kept[-1].cause == cause:
            return
        self._add(Decision(now, alarm, False, reason, cause))

    def _add(self, decision: Decision) -> None:
        self._kept.setdefault(decision.alarm, deque(maxlen=KEPT)).append(decision)


def _cause(transition: Transition) -> str:
    """So that the silence that a transition begins is not kept a second time."""
    match transition.alarm.state:
        case AlarmState.UNACKNOWLEDGED:
            return "told"
        case AlarmState.ACKNOWLEDGED:
            return "acknowledged"
        case AlarmState.SUPPRESSED:
            return f"suppressed {transition.reason}"
        case state:
            return state.value
