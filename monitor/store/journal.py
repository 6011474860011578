"""What must never be lost: the keeper's log, alarms with their transitions, and the letters about them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from monitor.core.model import DAY, AlarmState
from monitor.store.records import (
    LETTER_COLUMNS,
    Draft,
    Letter,
    alarm_from_record,
    alarm_to_record,
    entry_from_record,
    entry_to_record,
    letter_from_record,
    plain,
    transition_from_record,
    transition_to_record,
)

if TYPE_CHECKING:
    import sqlite3

    from monitor.core.log import LogEntry
    from monitor.core.model import Alarm, Ms, Transition

LETTERS_KEPT: Ms = 30 * DAY
"""How long a letter that was told or given up stays in the outbox."""


def _next_id(connection: sqlite3.Connection, table: str) -> int:
    (newest,) = connection.execute(f"SELECT coalesce(max(id), 0) FROM {table}").fetchone()  # noqa: S608
    return int(newest) + 1


class LogShelf:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._next = _next_id(connection, "event")
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
        self._next = _next_id(connection, "transition")
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


LetterState = Literal["waiting", "told", "given-up"]

# The column names are those of the dataclass, so that the two cannot drift apart.
_SELECT_WAITING = (
    f"SELECT {', '.join(f'outbox.{column}' for column in LETTER_COLUMNS)}, transition.fields FROM outbox "  # noqa: S608
    "LEFT JOIN transition ON transition.id = transition_id WHERE state = 'waiting' ORDER BY outbox.id"
)
_WRITE_LETTER = (
    f"INSERT INTO outbox ({', '.join(LETTER_COLUMNS)}, state, told, error) "  # noqa: S608
    f"VALUES ({'?, ' * len(LETTER_COLUMNS)}?, ?, ?) ON CONFLICT (id) DO UPDATE SET state = excluded.state, "
    "tries = excluded.tries, next_try = excluded.next_try, told = excluded.told, error = excluded.error"
)


class LetterShelf:
    """Letters not yet told are held in memory too, so that a full disk stops no message."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._next = _next_id(connection, "outbox")
        rows = connection.execute(_SELECT_WAITING)
        self._letters = {letter.id: letter for letter in (letter_from_record(row) for row in rows.fetchall())}
        self._changed: dict[int, tuple[Letter, LetterState, Ms | None, str]] = {}
        self._prune_before: Ms | None = None
        self._urgent = False

    @property
    def waiting(self) -> int:
        return len(self._changed)

    @property
    def urgent(self) -> bool:
        """Whether more than a postponement waits."""
        return self._urgent

    def enqueue(self, transition_id: int | None, channel: str, draft: Draft) -> Letter:
        letter = draft.to_letter(self._next, transition_id, channel)
        self._next += 1
        self._letters[letter.id] = letter
        self._changed[letter.id] = (letter, "waiting", None, "")
        self._urgent = True
        return letter

    def undelivered(self) -> list[Letter]:
        return list(self._letters.values())

    def told(self, letter_id: int, now: Ms) -> None:
        letter = self._letters.pop(letter_id)
        self._changed[letter_id] = (letter, "told", now, "")
        self._prune_before = now - LETTERS_KEPT
        self._urgent = True

    def postpone(self, letter_id: int, next_try: Ms, error: str) -> None:
        letter = self._letters[letter_id]
        letter = replace(letter, tries=letter.tries + 1, next_try=next_try)
        self._letters[letter_id] = letter
        self._changed[letter_id] = (letter, "waiting", None, plain(error))

    def hasten(self, letter_id: int, next_try: Ms) -> None:
        """Held in memory only: after a restart the letter merely waits as long as was written before."""
        self._letters[letter_id] = replace(self._letters[letter_id], next_try=next_try)

    def give_up(self, letter_id: int, error: str) -> None:
        letter = self._letters.pop(letter_id)
        self._changed[letter_id] = (replace(letter, tries=letter.tries + 1), "given-up", None, plain(error))
        self._urgent = True

    def write(self, connection: sqlite3.Connection) -> None:
        rows = [
            (*(getattr(letter, column) for column in LETTER_COLUMNS), state, told, error)
            for letter, state, told, error in self._changed.values()
        ]
        connection.executemany(_WRITE_LETTER, rows)
        if self._prune_before is not None:
            connection.execute("DELETE FROM outbox WHERE state != 'waiting' AND created < ?", (self._prune_before,))

    def saved(self) -> None:
        self._changed.clear()
        self._prune_before = None
        self._urgent = False
