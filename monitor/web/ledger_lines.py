"""The ledger out of the log: every entry that amounts rest on, as it stands and as it was first written. Pure."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from monitor.core.amended import Told, amend, told_of
from monitor.core.light import light
from monitor.core.log import Undo, kind_of
from monitor.core.log_food import Correct
from monitor.core.wording import rfc3339_ms
from monitor.web.food_bodies import INSTANTS
from monitor.web.ledger_fields import FIELDS
from monitor.web.ledger_words import KINDS, sentence
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.log import Key, Standing
    from monitor.core.model import Ms
    from monitor.store.record import Noted


@light
class Line:
    """An entry, with the corrections of it that stand. ``id`` is its number in the log."""

    id: int
    told: Told
    undone: bool

    @property
    def key(self) -> Key:
        """It stays the same, whatever is corrected."""
        return self.told.key

    @property
    def original(self) -> Standing:
        return self.told.entry

    @property
    def now(self) -> Standing:
        """As it is right; what was taken away as it was before that."""
        return (
            self.told.now
            or amend(self.original, [one for one in self.told.corrections if not one.gone])
            or self.original
        )

    @property
    def gone(self) -> bool:
        return self.told.now is None

    @property
    def standing(self) -> bool:
        return not (self.undone or self.gone)

    @property
    def correctable(self) -> bool:
        return self.standing and self.key[0] in FIELDS


def lines_of(noted: Sequence[Noted]) -> list[Line]:
    """A log in order of ``logged``, folded; newest first by when it happened."""
    numbers = {id(one.entry): one.id for one in noted}
    left, undone = told_of(one.entry for one in noted)
    lines = [Line(numbers[id(told.entry)], told, undone=False) for told in left if kind_of(told.entry) in KINDS]
    lines += [
        Line(numbers[id(entry)], Told(entry), undone=True)
        for entry, _ in undone
        if not isinstance(entry, Correct | Undo) and kind_of(entry) in KINDS
    ]
    return sorted(lines, key=lambda line: (line.now.time, line.original.logged), reverse=True)


def find(lines: Iterable[Line], kind: str, subject: str, at: Ms) -> Line | None:
    return next((line for line in lines if line.key == (kind, subject, at)), None)


def document(line: Line, timezone: str) -> dict[str, Any]:
    kind, subject, at = line.key
    original, now = fields_of(line.original), fields_of(line.now)
    changed = original != now or line.original.time != line.now.time
    return {
        "id": line.id,
        "kind": kind,
        "subject": subject,
        "at": rfc3339_ms(at),
        "time": as_rfc3339(line.now.time),
        "fields": now,
        "text": sentence(line.now, timezone),
        "standing": line.standing,
        "undone": line.undone,
        "was": {"time": as_rfc3339(line.original.time), "fields": original} if changed else None,
        "corrected": [
            {"at": rfc3339_ms(one.logged), "values": _told(one.values), "gone": one.gone}
            for one in line.told.corrections
        ],
    }


def fields_of(entry: Standing) -> dict[str, Any]:
    """Names and values as a correction takes them, instants as RFC 3339."""
    return _told({name: value for name, value in asdict(entry).items() if name not in ("time", "logged")})


def _told(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: as_rfc3339(value) if name in INSTANTS and value is not None else value for name, value in values.items()
    }
