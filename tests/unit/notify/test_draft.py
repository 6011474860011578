from __future__ import annotations

from dataclasses import replace

from monitor.core.model import Alarm, AlarmState, Priority, Transition
from monitor.core.wording import duration
from monitor.notify import draft

T0 = 1_770_000_000_000
ALARM = Alarm(
    id="air-stopped:birch",
    rule="air-stopped",
    subject="birch",
    priority=Priority.HIGH,
    state=AlarmState.UNACKNOWLEDGED,
    since=T0 - 60_000,
    changed=T0,
    title="Air stopped in birch",
    text="Since 05:10.",
    todo="Look at the pump.",
    reason="held for 60 s",
)


def test_trouble_says_what_and_what_to_do() -> None:
    """A letter about trouble carries the alarm's title, text and what to do, with its priority."""
    letter = draft(Transition(T0, ALARM, AlarmState.NORMAL, notify=True, reason="held for 60 s"))
    assert (letter.title, letter.body) == ("Air stopped in birch", "Since 05:10.\nLook at the pump.")
    assert (letter.alarm, letter.priority, letter.created) == ("air-stopped:birch", Priority.HIGH, T0)


def test_the_end_of_trouble_wakes_nobody() -> None:
    """A letter that it is over says so, asks for nothing, and has low priority."""
    after = replace(ALARM, state=AlarmState.RETURNED)
    letter = draft(Transition(T0, after, AlarmState.UNACKNOWLEDGED, notify=True, reason="clear for 600 s"))
    assert letter.title == "Over: Air stopped in birch"
    assert letter.body == f"It lasted {duration(T0 - ALARM.since)}; nothing needs doing about it now."
    assert "pump" not in letter.body
    assert letter.priority is Priority.LOW
