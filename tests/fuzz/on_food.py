"""Documents about food: a pantry and what lies ahead for a process of its own, and the plan as a calendar."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

from icalendar import Calendar, Event
from pydantic import ValidationError

from monitor.core.food import FoodAhead, InHand, MealOutlook, Outlook
from monitor.core.model import Span
from monitor.core.pantry_codec import NotReadable, ahead_from_json, ahead_to_json, from_json, to_json
from monitor.web.calendar import calendar
from monitor.web.plan_answers import Food
from monitor.web.when import NotAnInstant, rfc3339
from tests.adapters.web import food_example
from tests.adapters.web.memory_desk import NOW
from tests.fuzz.on_decode import IN_JSON
from tests.fuzz.target import Target
from tests.unit.planner.rooms import NOW as THEN
from tests.unit.planner.rooms import PLAN, room

if TYPE_CHECKING:
    from collections.abc import Iterator


def pantry(data: bytes) -> bool:
    """The first byte says which document; what is taken is written as what it was read from."""
    ahead = bool(data[:1] and data[0] & 1)
    try:
        made: Any = ahead_from_json(data[1:]) if ahead else from_json(data[1:])
    except NotReadable as why:
        assert str(why)
        return False
    text = ahead_to_json(made) if ahead else to_json(made)
    again: Any = ahead_from_json(text) if ahead else from_json(text)
    assert (ahead_to_json(again) if ahead else to_json(again)) == text
    return True


def feed(data: bytes) -> bool:
    """Food as the API describes it is a calendar that another program reads, each event once and with its title."""
    try:
        told = Food.model_validate_json(data).model_dump()
        _instants(told)
    except (ValidationError, NotAnInstant):
        return False
    told["timezone"] = "Europe/Berlin"  # it is the configuration's, where it was looked up
    read = Calendar.from_ical(calendar(told, "shed", NOW))
    events = [event for event in read.walk("VEVENT") if isinstance(event, Event)]
    starts = told["plan"]["starts"]
    begun = [event for event in events if str(event["uid"]).startswith("start-")]
    assert len(begun) == len(starts)
    for event in events:
        assert str(event["summary"])
        assert event.duration > timedelta(0)
    return bool(events)


def _instants(told: Any, name: str = "") -> None:
    """Raises NotAnInstant where the description's ``date-time`` is none; the model has it as text."""
    if isinstance(told, dict):
        for key, value in told.items():
            _instants(value, f"{name}/{key}")
    elif isinstance(told, list):
        for value in told:
            _instants(value, name)
    elif isinstance(told, str) and name.rpartition("/")[2] in TIMES:
        rfc3339(told)


TIMES: Final = frozenset({"time", "made", "until", "start", "start_by", "feeds_from", "feeds_until", "lo", "mid", "hi"})


def _pantries() -> Iterator[bytes]:
    small = room(days=1)
    short = tuple(replace(one, water_c=one.water_c[:3], water_sd_c=one.water_sd_c[:3]) for one in small.vessels)
    yield b"\0" + to_json(replace(small, vessels=short))
    yield b"\0" + to_json(replace(small, vessels=short, last=PLAN))
    span = Span(1.0, None, 3.0)
    seen = Outlook(THEN, THEN + 5, (MealOutlook(THEN, "killi", span, span, 0.1, ""),), (InHand(THEN, span, span),))
    yield b"\1" + ahead_to_json(FoodAhead(THEN, seen, seen, PLAN, "none", {"a": [1, None]}))


def _feeds() -> Iterator[bytes]:
    for document in (food_example.food(), food_example.too_late(), food_example.switched_off()):
        small = {**document, "meals": document["meals"][:3], "bare": [], "in_hand": [], "tins": [], "broods": []}
        yield json.dumps(small).encode()
        small["plan"] = {**small["plan"], "starts": small["plan"]["starts"][:1]}
        small["meals"] = small["meals"][:1]
        yield json.dumps(small).encode()


TARGETS: Final = (
    Target("pantry", pantry, _pantries, (*IN_JSON, b"Infinity", b"NaN", b"9" * 400), 4096),
    Target(
        "calendar",
        feed,
        _feeds,
        (*IN_JSON, b"\\u0000", b"\\r\\n", b"9999-12-31T23:59:59Z", b"0001-01-01T00:00:00Z"),
        4096,
    ),
)
