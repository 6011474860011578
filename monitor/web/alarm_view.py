"""What the page of one alarm says: how it stands, what may be done with it, and what was decided about it. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from monitor.core.light import light
from monitor.guide import ENTRIES
from monitor.web import words
from monitor.web.bench_alarms import STATES, URGENCY
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.model import Ms
    from monitor.guide import Entry

LENGTHS: Final = ((30, "30 min"), (120, "2 h"), (24 * 60, "1 day"), (7 * 24 * 60, "7 days"))
URGENT_LENGTHS: Final = 2
"""Of these, what is urgent may be put off for the first two; the core says when even that is too long."""


@light
class Decided:
    time: str
    told: bool
    reason: str


@light
class Story:
    id: str
    title: str
    priority: str  # "" while nothing stands
    urgency: str
    state: str  # "normal", or the words for its state
    since: str
    until: str  # of a shelf
    reason: str  # why the last decision was what it was
    text: str
    todo: str
    decisions: tuple[Decided, ...]  # the newest first
    entry: Entry | None
    lengths: tuple[tuple[int, str], ...]  # for how long it may be put off
    to_acknowledge: bool
    shelved: bool
    out: bool


def make_story(found: Mapping[str, Any], now: Ms, timezone: str) -> Story:
    """From what the desk tells of an alarm."""
    zone = ZoneInfo(timezone)
    alarm = found["alarm"]
    state = "normal" if alarm is None else alarm["state"]
    entry = ENTRIES.get(found["rule"])
    title = f"{entry.title if entry else found['rule']}: {found['subject']}" if alarm is None else alarm["title"]
    priority = "" if alarm is None else alarm["priority"]
    out = state == "out-of-service"
    lengths = LENGTHS[:URGENT_LENGTHS] if priority == "high" else LENGTHS
    return Story(
        id=found["id"],
        title=title or found["id"],
        priority=priority,
        urgency=URGENCY.get(priority, "Act"),
        state=STATES.get(state, state) or "not acknowledged",
        since=_moment(alarm, "since", now, zone),
        until=_moment(alarm, "until", now, zone),
        reason="" if alarm is None else alarm["reason"],
        text="" if alarm is None else alarm["text"],
        todo="" if alarm is None else alarm["todo"],
        decisions=tuple(
            Decided(words.moment(rfc3339(one["time"]), now, zone), bool(one["notify"]), one["reason"])
            for one in reversed(found["decisions"])
        ),
        entry=entry,
        lengths=() if out else lengths,
        to_acknowledge=state in ("unacknowledged", "returned-unacknowledged"),
        shelved=state == "shelved",
        out=out,
    )


def _moment(alarm: Mapping[str, Any] | None, key: str, now: Ms, zone: ZoneInfo) -> str:
    text = None if alarm is None else alarm.get(key)
    return words.moment(rfc3339(text), now, zone) if text else ""
