"""What is read from topics beside readings: listening without a trace, commands, and what other rooms tell of themselves."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Final

from monitor.core.model import Shelve
from monitor.intake.commands import AHEAD, LATEST, family, read_command
from monitor.intake.incoming import Incoming
from monitor.intake.places import Heard
from monitor.intake.proposal import Known
from monitor.intake.propose import propose
from monitor.intake.room_news import read_status, read_summary, write_summary
from monitor.intake.unreadable import Unreadable
from monitor.settings.blocks import block, table
from monitor.settings.tomlfile import parse_toml
from tests.fuzz.on_decode import ARRIVED, IN_JSON, IN_SENML, IN_TEXT, OBJECTS, PACKS, TEXTS, refused
from tests.fuzz.target import Target

if TYPE_CHECKING:
    from collections.abc import Iterator

TOPICS: Final = ("shed/ash/water", "x/2/Temp_Air", "", "Wärme/büro\x00", "a/+/b", "fridge/store/pumpe")
KNOWN: Final = Known("shed", ("ash", "birch"), ("fridge",))
MOST_HEARD: Final = 6
WEEK_MIN: Final = 7 * 24 * 60


def listen(data: bytes) -> bool:
    """The first byte is the topic and whether the first message was retained; the rest are messages, ``0xff`` between them."""
    head = data[0] if data else 0
    heard = [
        Heard(payload, ARRIVED + number * 10_000, retained=bool(head & 1) and number == 0)
        for number, payload in enumerate(data[1:].split(b"\xff")[:MOST_HEARD])
    ]
    verdict = propose(TOPICS[(head >> 1) % len(TOPICS)], heard, KNOWN)
    for sentence in verdict.passed:
        assert sentence
        assert len(sentence) < 600
    for proposal in verdict.proposals:
        pasted = parse_toml(block(proposal, {"ash-water"}), "it")
        assert pasted == ({"probe": [table(proposal, {"ash-water"})]} if proposal.decided else {})
    return bool(verdict.proposals)


def commands(data: bytes) -> bool:
    """The first byte says whether the broker held it back; the rest is the payload."""
    queued = bool(data[:1] and data[0] & 1)
    alarm = "air-stopped:birch"
    message = Incoming(f"{family('shed')}/{alarm}", data[1:], 1, False, False, 7, ARRIVED, queued, 1, 1)
    try:
        command = read_command(message, ARRIVED)
    except Unreadable as why:
        return refused(why)
    assert command.alarm == alarm
    assert command.time == ARRIVED
    if isinstance(command, Shelve):
        assert ARRIVED <= command.until <= ARRIVED + WEEK_MIN * 60_000
    return True


def rooms(data: bytes) -> bool:
    """The first byte says whether it is a word on the state or a summary; what is taken says the same when it is told on."""
    payload = data[1:]
    try:
        if data[:1] and data[0] & 1:
            assert read_status(payload) in ("", "up", "stopped", "lost")
            return True
        news = read_summary("yard", payload)
    except Unreadable as why:
        return refused(why)
    told = write_summary(dict(news.told), news.run, news.time, news.every, news.page)
    assert read_summary("yard", told.encode()) == news
    for text in json.loads(told)["alarms"]:
        assert all(letter.isprintable() for letter in text["title"] + text["id"])
    return True


def _heard_seeds() -> Iterator[bytes]:
    for number, messages in enumerate((TEXTS, OBJECTS, PACKS)):
        for message in messages:
            yield bytes([number << 1]) + message.replace(b"\xff", b"") + b"\xff" + message.replace(b"\xff", b"")
    yield b'\x01{"temp": 70.1, "n": 1}\xff{"temp": 70.3, "n": 2}\xff{"temp": 70.2, "n": 3}'


def _command_seeds() -> Iterator[bytes]:
    for queued in (b"\0", b"\1"):
        yield queued + b"acknowledge"
        yield queued + b'{"do": "shelve", "minutes": 30, "by": "ann", "time": "2026-03-02T06:59:00Z"}'
        yield queued + b'{"do": "unshelve", "time": "2026-03-02T07:00:00+01:00"}'


def _measured(value: float | str, unit: str | None) -> dict[str, object]:
    return {"value": value, "unit": unit, "time": "2026-03-02T06:59:00Z", "quality": "ok", "fresh": True}


def _room_seeds() -> Iterator[bytes]:
    for state in ("up", "stopped", "lost"):
        yield b"\1" + json.dumps({"state": state}).encode()
    when = {"lo": "2026-03-02T06:59:00Z", "mid": None, "hi": None}
    summary = {
        "version": 1,
        "site": "yard",
        "run": "0123abcd",
        "time": "2026-03-02T07:00:00Z",
        "every_s": 30,
        "page": "http://yard.local:8417",
        "simulated": False,
        "linked": True,
        "waiting": 0,
        "alarms": [],
        "vessels": [],
        "stores": [],
    }
    yield b"\0" + json.dumps(summary).encode()
    alarm = {
        "id": "cold:ash",
        "priority": "high",
        "state": "unacknowledged",
        "since": "2026-03-02T06:59:00Z",
        "title": "Cold",
    }
    batch = {"id": "ash-1", "stage": "hatching", "ready": when}
    vessel = {"id": "ash", "water": _measured(24.5, "Cel"), "air": _measured("weak", None), "batch": batch}
    store = {"id": "fridge", "temperature": None, "content": {"nauplii": 1e5, "good_until": when}}
    yield b"\0" + json.dumps({**summary, "alarms": [alarm], "vessels": [vessel], "stores": [store]}).encode()


assert LATEST > AHEAD  # what the seeds of commands rest on

TARGETS: Final = (
    Target("listen", listen, _heard_seeds, (*IN_JSON, *IN_SENML, *IN_TEXT, b"temp", b"hum", b"count", b"time"), 1024),
    Target("commands", commands, _command_seeds, (*IN_JSON, *IN_TEXT, b'"do"', b'"minutes"', b'"by"', b'"time"'), 1100),
    Target("rooms", rooms, _room_seeds, (*IN_JSON, b"last-known", b"running", b"[::1]", b"http://", b"\\u202e"), 2048),
)
