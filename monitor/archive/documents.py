"""Log, estimates as they were told, alarms and what was learned: one JSON object a line, and back."""

from __future__ import annotations

import base64
import binascii
import json
from typing import TYPE_CHECKING, Any, Final

from monitor.archive.fit import check_fit
from monitor.archive.forms import Unfit, instant, instant_from
from monitor.core.light import light
from monitor.core.phones import PHONES_KEY
from monitor.store.history import QUARANTINED
from monitor.store.records import (
    ENTRY_KINDS,
    alarm_from_record,
    entry_from_record,
    entry_to_record,
    told_from_record,
    told_to_record,
    transition_from_record,
    transition_to_record,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.archive.tables import Names, Row

Document = dict[str, Any]

SECRET_KEYS: Final = (PHONES_KEY,)
"""Of what is kept: the push subscriptions of phones, with which anybody could push to them."""
RUN_KEYS: Final = ("broker.session", "run/clean", "run/alive", "run/anew", "run/backup")
"""Of what is kept: marks of a process and its connection, which mean nothing to another."""
LEDGER_KEYS: Final = ("run/sizes", "run/ends")
"""Of what is kept: how this machine and its file fared."""
KEYS_LEFT_OUT: Final = SECRET_KEYS + RUN_KEYS + LEDGER_KEYS

_ENTRY_TIMES: Final = ("until", "at", "opened", "swam_up")
_CORRECTED_TIMES: Final = ("time", "opened", "swam_up")
_ALARM_TIMES: Final = ("since", "changed", "deadline", "told", "again", "until")


@light
class Lines:
    """``document`` and ``row`` are each other's inverse; ``row`` raises Unfit, ValueError, KeyError, TypeError or OverflowError.

    ``row`` is told the number of the line, which is the number of an entry of the log.
    """

    stem: str
    select: str
    time: str  # the column that says when; empty when it has none
    insert: str
    document: Callable[[Row, Names], Document]
    row: Callable[[Document, Names, int], Row]
    whole_only: bool = False


def _entry(row: Row, _names: Names) -> Document:
    """In the shape that replay takes."""
    time, logged, kind, fields = row
    document = {"time": instant(time), "event": kind, **_with_texts(json.loads(fields), _ENTRY_TIMES)}
    if isinstance(document.get("values"), dict):
        document["values"] = _with_texts(document["values"], _CORRECTED_TIMES)
    return document if logged == time else {**document, "logged": instant(logged)}


def _entry_row(document: Document, _names: Names, number: int) -> Row:
    time = instant_from(document.pop("time"))
    logged = instant_from(document.pop("logged")) if "logged" in document else time
    kind = document.pop("event")
    if kind not in ENTRY_KINDS:
        raise Unfit(f"event {str(kind)[:60]!r}; allowed are {', '.join(ENTRY_KINDS)}")
    if isinstance(document.get("values"), dict):
        document["values"] = _with_numbers(document["values"], _CORRECTED_TIMES)
    fields = json.dumps(_with_numbers(document, _ENTRY_TIMES))
    entry = entry_from_record(time, logged, kind, fields)
    check_fit(entry)
    kind, fields = entry_to_record(entry)
    return number, time, logged, kind, fields


def _told(row: Row, _names: Names) -> Document:
    number, batch, time, fields = row
    return {"id": number, **told_from_record(instant(time), batch, fields)}


def _told_row(document: Document, _names: Names, _number: int) -> Row:
    return document["id"], document["batch"], instant_from(document["time"]), told_to_record(document)


def _transition(row: Row, _names: Names) -> Document:
    number, time, before, notify, reason, fields = row
    return {
        "id": number,
        "time": instant(time),
        "before": before,
        "notify": bool(notify),
        "reason": reason,
        "alarm": _with_texts(json.loads(fields), _ALARM_TIMES),
    }


def _transition_row(document: Document, _names: Names, _number: int) -> Row:
    fields = json.dumps(_with_numbers(document["alarm"], _ALARM_TIMES))
    time, before = instant_from(document["time"]), document["before"]
    transition = transition_from_record(time, before, int(document["notify"]), document["reason"], fields)
    return document["id"], *transition_to_record(transition)


def _alarm(row: Row, _names: Names) -> Document:
    return _with_texts(json.loads(row[0]), _ALARM_TIMES)


def _alarm_row(document: Document, _names: Names, _number: int) -> Row:
    fields = json.dumps(_with_numbers(document, _ALARM_TIMES), sort_keys=True)
    return alarm_from_record(fields).id, fields


def _kept(row: Row, _names: Names) -> Document:
    """As JSON where that gives the very same text again, else as text."""
    key, value = row
    try:
        document = json.loads(value)
    except ValueError:
        return {"key": key, "text": value}
    return {"key": key, "document": document} if json.dumps(document) == value else {"key": key, "text": value}


def _kept_row(document: Document, _names: Names, _number: int) -> Row:
    key = document["key"]
    if key in KEYS_LEFT_OUT:
        raise Unfit(f"key {key!r}, which no archive holds")
    return key, document["text"] if "text" in document else json.dumps(document["document"])


def _quarantine(row: Row, names: Names) -> Document:
    series, nth, time, reason, payload = row
    return {
        "probe": names.probes[series],
        "nth": nth,
        "time": instant(time),
        "reason": reason,
        "base64": base64.b64encode(payload).decode(),
    }


def _quarantine_row(document: Document, names: Names, _number: int) -> Row:
    series, nth = names.number(document["probe"]), int(document["nth"])
    try:
        payload = base64.b64decode(document["base64"], validate=True)
    except binascii.Error as error:
        raise Unfit(f"base64 that can't be read: {error}") from None
    return series, nth % QUARANTINED, nth, instant_from(document["time"]), document["reason"], payload


def _with_texts(values: Document, times: tuple[str, ...]) -> Document:
    return {
        name: instant(value) if name in times and isinstance(value, int) else value for name, value in values.items()
    }


def _with_numbers(values: Document, times: tuple[str, ...]) -> Document:
    return {
        name: instant_from(value) if name in times and isinstance(value, str) else value
        for name, value in values.items()
    }


LOG: Final = Lines(
    stem="log",
    select="SELECT time, logged, kind, fields FROM event {where} ORDER BY id",
    time="time",
    insert="INSERT INTO event (id, time, logged, kind, fields) VALUES (?, ?, ?, ?, ?)",
    document=_entry,
    row=_entry_row,
)
TOLD: Final = Lines(
    stem="told",
    select="SELECT id, batch, time, fields FROM told_estimate {where} ORDER BY id",
    time="time",
    insert="INSERT INTO told_estimate (id, batch, time, fields) VALUES (?, ?, ?, ?)",
    document=_told,
    row=_told_row,
)
TRANSITIONS: Final = Lines(
    stem="transitions",
    select="SELECT id, time, before, notify, reason, fields FROM transition {where} ORDER BY id",
    time="time",
    insert="INSERT INTO transition (id, time, alarm, before, after, notify, reason, fields) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
    document=_transition,
    row=_transition_row,
)
ALARMS: Final = Lines(
    stem="alarms",
    select="SELECT fields FROM alarm {where} ORDER BY id",
    time="",
    insert="INSERT INTO alarm (id, fields) VALUES (?, ?)",
    document=_alarm,
    row=_alarm_row,
    whole_only=True,
)
KEPT: Final = Lines(
    stem="kept",
    select=f"SELECT key, value FROM kept WHERE key NOT IN ({', '.join(map(repr, KEYS_LEFT_OUT))}) ORDER BY key",
    time="",
    insert="INSERT INTO kept (key, value) VALUES (?, ?)",
    document=_kept,
    row=_kept_row,
    whole_only=True,
)
QUARANTINE: Final = Lines(
    stem="unreadable",
    select="SELECT series, nth, time, reason, payload FROM quarantine {where} ORDER BY series, nth",
    time="",
    insert="INSERT INTO quarantine (series, place, nth, time, reason, payload) VALUES (?, ?, ?, ?, ?, ?)",
    document=_quarantine,
    row=_quarantine_row,
    whole_only=True,
)
DOCUMENTS: Final = (LOG, TOLD, TRANSITIONS, ALARMS, KEPT, QUARANTINE)
