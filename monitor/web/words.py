"""Times, ages and shares in the plain words of the page and the command line. Pure."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from monitor.core.model import SECOND, Ms
from monitor.core.wording import about, number, time_of_day, whole
from monitor.core.wording import length as duration

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

__all__ = ["about", "duration", "number", "whole"]  # the core's own words, beside what stands here

STAGES: Final = {
    "soaking": "soaking",
    "developing": "growing in the shell",
    "hatching": "hatching",
    "ready": "ready to harvest",
    "past": "past its best",
    "ended": "ended",
    "lost": "lost",
}
SIGHTS: Final = {
    "none": "nothing swims yet",
    "first": "the first few swim",
    "some": "some swim",
    "most": "most swim",
}
REASONS: Final = ("did not hatch", "smelt bad", "air was off")
"""Why a batch is thrown away, most often; common practice, no source."""
QUALITIES: Final = {
    "ok": "",
    "clamped": "",
    "suspect": "doubtful, not used",
    "last-known": "last known",
    "queued": "waited at the broker",
    "unreadable": "not readable",
}
_HELD: Final = re.compile(r"(?<=\d) (?=\d{3}(?!\d)|(?:m?L|g|g/L|g/kg|%|°[CF])(?![\w/]))")
RANKS: Final = {"high": 0, "medium": 1, "low": 2}
DEGREE: Final = " °C"
WAITS: Final = "Its alarms and those of its probes wait."
"""While somebody works on a vessel."""
STILL_RINGS: Final = (
    "Still rings: heat that kills, and animals that swim whose air has stopped or is not heard of, "
    "once they may have less than 2 min of oxygen left."
)
"""What work on a vessel never holds back; the core decides it (``monitor.core.causes.covers_life``)."""


def local(instant: Ms, zone: ZoneInfo) -> datetime:
    return datetime.fromtimestamp(instant / SECOND, UTC).astimezone(zone)


def clock(instant: Ms, zone: ZoneInfo) -> str:
    """``06:40``; with the zone's letters in the hour that comes twice in autumn."""
    return time_of_day(local(instant, zone))


def day_word(instant: Ms, now: Ms, zone: ZoneInfo) -> str:
    """``today``, ``Tue`` within six days, otherwise ``2 Mar``. "Tomorrow" is avoided: at 2 a.m. it means two things."""
    there, here = local(instant, zone).date(), local(now, zone).date()
    if there == here:
        return "today"
    if abs(there - here) <= timedelta(days=6):
        return f"{there:%a}"
    return f"{there.day} {there:%b}"


def moment(instant: Ms, now: Ms, zone: ZoneInfo) -> str:
    """``today 06:40`` or ``Tue 13:00``."""
    return f"{day_word(instant, now, zone)} {clock(instant, zone)}"


def between(start: Ms | None, end: Ms | None, now: Ms, zone: ZoneInfo) -> str:
    """A range of instants, saying the day once if it is one: ``today 05:10 to 08:30``. None is open."""
    if start is None and end is None:
        return "not in sight"
    if start is None:
        return f"by {moment(end, now, zone)}" if end is not None else ""
    if end is None:
        return f"{moment(start, now, zone)} or later, or never"
    same_day = day_word(start, now, zone) == day_word(end, now, zone)
    last = clock(end, zone) if same_day else moment(end, now, zone)
    return f"{moment(start, now, zone)} to {last}"


def unbroken(text: str) -> str:
    """For a page: a number stays on one line with its thousands and its unit."""
    return _HELD.sub("\N{NO-BREAK SPACE}", text)


def percent(share: float) -> str:
    return f"{round(100 * min(1.0, max(0.0, share)))} %"


def shares(low: float | None, high: float | None) -> str:
    """``20 to 45 %``, or one number where they round to the same."""
    if low is None or high is None:
        return "not known"
    first, last = percent(low), percent(high)
    return first if first == last else f"{first[:-2]} to {last}"


def work_noted(vessel: str, until: str) -> str:
    """What is said when work is noted; ``until`` is empty when it is done."""
    if not until:
        return f"Noted: the work on {vessel} is done. Its alarms ring again."
    return f"Noted: you work on {vessel} until {until}. {WAITS} {STILL_RINGS}"
