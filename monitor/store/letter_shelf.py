"""The outbox as the store keeps it: letters that wait are held in memory too, so that a full disk stops no message."""

from __future__ import annotations

from collections import defaultdict, deque
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, Final, Literal

from monitor.core.dispatch import Kind
from monitor.core.light import light
from monitor.core.model import DAY, Priority
from monitor.store.letters import (
    LETTER_COLUMNS,
    Posted,
    letter_from_record,
    letter_to_columns,
    parts_from_column,
)
from monitor.store.records import plain
from monitor.store.shelf import next_id

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from monitor.core.model import Ms
    from monitor.store.letters import Draft, Letter

LETTERS_KEPT: Ms = 30 * DAY
"""How long a letter that was told or given up stays in the outbox."""
PUSHES_KEPT: Final = 100

State = Literal["waiting", "told", "given-up", "merged", "withdrawn"]

# The column names are those of the dataclass, so that the two cannot drift apart.
_SELECT_WAITING: Final = (
    f"SELECT {', '.join(f'outbox.{column}' for column in LETTER_COLUMNS)}, transition.fields FROM outbox "  # noqa: S608
    "LEFT JOIN transition ON transition.id = transition_id WHERE state = 'waiting' ORDER BY outbox.id"
)
_FATE: Final = ("state", "told", "error", "merged_into", "went")
_WRITE_LETTER: Final = (
    f"INSERT INTO outbox ({', '.join((*LETTER_COLUMNS, *_FATE))}) "  # noqa: S608
    f"VALUES ({', '.join('?' * len((*LETTER_COLUMNS, *_FATE)))}) ON CONFLICT (id) DO UPDATE SET "
    + ", ".join(f"{column} = excluded.{column}" for column in ("tries", "next_try", "hold", "cause", "why", *_FATE))
)
_POSTED: Final = tuple(field.name for field in fields(Posted) if field.name not in ("alarms", "rules"))
_SELECT_POSTED: Final = f"SELECT {', '.join(_POSTED)}, alarm, parts FROM outbox WHERE created >= ? ORDER BY id"  # noqa: S608


@light
class _Fate:
    """What has become of a letter; the columns beside those of the letter itself."""

    state: State = "waiting"
    told: Ms | None = None
    error: str = ""
    merged_into: int | None = None
    went: Ms | None = None


class LetterShelf:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self._next = next_id(connection, "outbox")
        rows = connection.execute(_SELECT_WAITING)
        self._letters = {letter.id: letter for letter in (letter_from_record(row) for row in rows.fetchall())}
        self._changed: dict[int, tuple[Letter, _Fate]] = {}
        self._prune_before: Ms | None = None
        self._urgent = False
        self._told: dict[tuple[str, str], Ms] = {}
        self._pushes: dict[str, deque[Ms]] = defaultdict(lambda: deque(maxlen=PUSHES_KEPT))
        self._recall_told()

    def _recall_told(self) -> None:
        rows = self._connection.execute(
            "SELECT channel, kind, alarm, parts, created, went FROM outbox WHERE state = 'told' ORDER BY went"
        )
        for channel, kind, alarm, parts, created, went in rows.fetchall():
            told = [(part.alarm, part.time, part.ended) for part in parts_from_column(parts)]
            self._note(channel, Kind(kind), told or [(alarm, created, None)], went)

    def _note(self, channel: str, kind: Kind, told: Sequence[tuple[str, Ms, Ms | None]], went: Ms | None) -> None:
        if went is not None:
            self._pushes[channel].append(went)
        for alarm, time, ended in told:
            if kind is not Kind.OVER and ended is None:
                self._told[channel, alarm] = max(time, self._told.get((channel, alarm), time))

    @property
    def waiting(self) -> int:
        return len(self._changed)

    @property
    def urgent(self) -> bool:
        """A further try that failed need not be on the disk at once; a new letter and its end must."""
        return self._urgent

    def enqueue(self, transition_id: int | None, channel: str, draft: Draft) -> Letter:
        letter = draft.to_letter(self._next, transition_id, channel)
        self._next += 1
        self._letters[letter.id] = letter
        self._changed[letter.id] = (letter, _Fate())
        self._urgent = True
        return letter

    def undelivered(self) -> list[Letter]:
        return list(self._letters.values())

    def last_told(self, channel: str, alarm: str) -> Ms | None:
        return self._told.get((channel, alarm))

    def pushes(self, channel: str) -> list[Ms]:
        return list(self._pushes.get(channel, ()))

    def told(self, letter_id: int, now: Ms, went: Ms) -> None:
        letter = self._end(letter_id, _Fate("told", told=now, went=went))
        told = [(part.alarm, part.time, part.ended) for part in letter.parts]
        self._note(letter.channel, letter.kind, told or [(letter.alarm, letter.created, None)], went)
        self._prune_before = now - LETTERS_KEPT

    def postpone(self, letter_id: int, next_try: Ms, error: str) -> None:
        letter = self._letters[letter_id]
        letter = replace(letter, tries=letter.tries + 1, next_try=next_try)
        self._letters[letter_id] = letter
        self._changed[letter_id] = (letter, _Fate(error=plain(error)))

    def hasten(self, letter_id: int, next_try: Ms) -> None:
        """Held in memory only: after a restart the letter merely waits as long as was written before."""
        self._letters[letter_id] = replace(self._letters[letter_id], next_try=next_try)

    def hold(self, letter: Letter) -> None:
        if letter.id not in self._letters:
            raise KeyError(letter.id)
        self._letters[letter.id] = letter
        self._changed[letter.id] = (letter, _Fate())
        self._urgent = True

    def give_up(self, letter_id: int, error: str) -> None:
        letter = self._letters[letter_id]
        self._letters[letter_id] = replace(letter, tries=letter.tries + 1)
        self._end(letter_id, _Fate("given-up", error=plain(error)))

    def withdraw(self, letter_id: int, reason: str) -> None:
        self._end(letter_id, _Fate("withdrawn", error=plain(reason)))

    def merge(self, letter_ids: Sequence[int], into: int, reason: str) -> None:
        for letter_id in letter_ids:
            self._end(letter_id, _Fate("merged", error=plain(reason), merged_into=into))

    def _end(self, letter_id: int, fate: _Fate) -> Letter:
        letter = self._letters.pop(letter_id)
        self._changed[letter_id] = (letter, fate)
        self._urgent = True
        return letter

    def since(self, since: Ms) -> list[Posted]:
        found = {row[0]: _posted(row) for row in self._connection.execute(_SELECT_POSTED, (since,)).fetchall()}
        for letter, fate in self._changed.values():
            if letter.created >= since:
                found[letter.id] = _as_posted(letter, fate)
        return [found[number] for number in sorted(found)]

    def write(self, connection: sqlite3.Connection) -> None:
        rows = [
            (*letter_to_columns(letter), *(getattr(fate, column) for column in _FATE))
            for letter, fate in self._changed.values()
        ]
        connection.executemany(_WRITE_LETTER, rows)
        if self._prune_before is not None:
            connection.execute("DELETE FROM outbox WHERE state != 'waiting' AND created < ?", (self._prune_before,))

    def saved(self) -> None:
        self._changed.clear()
        self._prune_before = None
        self._urgent = False


def _posted(row: tuple[Any, ...]) -> Posted:
    *values, alarm, text = row
    kept: dict[str, Any] = dict(zip(_POSTED, values, strict=True))
    kept |= {"kind": Kind(kept["kind"]), "priority": Priority(kept["priority"])}
    parts = parts_from_column(text)
    alarms = tuple(part.alarm for part in parts) or (alarm,)
    rules = tuple(dict.fromkeys(part.rule for part in parts)) or (alarm.partition(":")[0],)
    return Posted(**kept, alarms=alarms, rules=rules)


def _as_posted(letter: Letter, fate: _Fate) -> Posted:
    kept: dict[str, Any] = {name: getattr(letter if hasattr(letter, name) else fate, name) for name in _POSTED}
    rules = tuple(dict.fromkeys(part.rule for part in letter.parts)) or (letter.alarm.partition(":")[0],)
    return Posted(**kept, alarms=letter.alarms, rules=rules)
