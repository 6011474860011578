"""What must never be lost: the keeper's log, and alarms with their transitions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.model import AlarmState
from monitor.store.records import (
    alarm_from_record,
    alarm_to_record,
    entry_from_record,
    entry_to_record,
    transition_from_record,
    transition_to_record,
)
from monitor.store.shelf import next_id

if TYPE_CHECKING:
    import sqlite3

    from monitor.core.log import LogEntry
    from monitor.core.model import Alarm, Ms, Transition


class LogShelf:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._next = next_id(connection, "event")
        self._new: dict[int, LogEntry] = {}

    @property
    def waiting(self) -> int:
        return len(self._new)

    def log(self, entry: LogEntry) -> int:
        number = self._next
        self._next += 1
        self._new[number] = entry
        return number

    def entries(self) -> list[LogEntry]:
        rows = self._connection.execute("SELECT logged, id, time, kind, fields FROM event").fetchall()
        found = [
            (logged, number, entry_from_record(time, logged, kind, text)) for logged, number, time, kind, text in rows
        ]
        found += [(entry.logged, number, entry) for number, entry in self._new.items()]
        return [entry for _, _, entry in sorted(found, key=lambda item: item[:2])]

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany(
            "INSERT INTO event (id, time, logged, kind, fields) VALUES (?, ?, ?, ?, ?)",
            [(number, entry.time, entry.logged, *entry_to_record(entry)) for number, entry in self._new.items()],
        )

    def saved(self) -> None:
        self._new.clear()


class AlarmShelf:
    """Standing alarms are held in memory too; an alarm that is back to normal lives on in its transitions only."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._next = next_id(connection, "transition")
        self._new: dict[int, Transition] = {}
        rows = connection.execute("SELECT fields FROM alarm ORDER BY id").fetchall()
        self._standing = {alarm.id: alarm for alarm in (alarm_from_record(text) for (text,) in rows)}

    @property
    def waiting(self) -> int:
        return len(self._new)

    def put(self, transition: Transition) -> int:
        number = self._next
        self._next += 1
        self._new[number] = transition
        if transition.alarm.state is AlarmState.NORMAL:
            self._standing.pop(transition.alarm.id, None)
        else:
            self._standing[transition.alarm.id] = transition.alarm
        return number

    def knows(self, number: int) -> bool:
        return 0 < number < self._next

    def standing(self) -> list[Alarm]:
        return [self._standing[name] for name in sorted(self._standing)]

    def transitions(self, since: Ms) -> list[Transition]:
        rows = self._connection.execute(
            "SELECT id, time, before, notify, reason, fields FROM transition WHERE time >= ?", (since,)
        ).fetchall()
        found = {number: transition_from_record(*values) for number, *values in rows}
        found.update({number: new for number, new in self._new.items() if new.time >= since})
        return [found[number] for number in sorted(found)]

    def write(self, connection: sqlite3.Connection) -> None:
        connection.executemany(
            "INSERT INTO transition (id, time, alarm, before, after, notify, reason, fields) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [(number, *transition_to_record(transition)) for number, transition in self._new.items()],
        )
        for name in {transition.alarm.id for transition in self._new.values()}:
            alarm = self._standing.get(name)
            if alarm is None:
                connection.execute("DELETE FROM alarm WHERE id = ?", (name,))
            else:
                connection.execute("INSERT OR REPLACE INTO alarm VALUES (?, ?)", (name, alarm_to_record(alarm)))

    def saved(self) -> None:
        self._new.clear()
