"""The ledger out of the log: every entry that amounts rest on, as it stands and as it was first written. Pure."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from monitor.core.log import Key, Undo, key_of, kind_of
from monitor.core.log_food import Correct
from monitor.core.wording import rfc3339, rfc3339_ms
from monitor.web.food_bodies import INSTANTS
from monitor.web.ledger_fields import FIELDS
from monitor.web.ledger_words import KINDS, sentence

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.log import Standing
    from monitor.core.model import Ms
    from monitor.store.record import Noted


@dataclass(slots=True)
class Line:
    """An entry. ``original`` is how it was written, and gives its key for ever; ``now`` is how it stands."""

    id: int
    original: Standing
    corrections: list[Correct] = field(default_factory=list)
    undone: bool = False

    @property
    def key(self) -> Key:
        return key_of(self.original)

    @property
    def now(self) -> Standing:
        entry = self.original
        for one in self.corrections:
            entry = replace(entry, **one.values)
        return entry

    @property
    def gone(self) -> bool:
        """The newest correction tells: what was taken away by mistake can be put back by another."""
        return bool(self.corrections) and self.corrections[-1].gone

    @property
    def standing(self) -> bool:
        return not (self.undone or self.gone)

    @property
    def correctable(self) -> bool:
        return self.standing and self.key[0] in FIELDS


def lines_of(noted: Iterable[Noted]) -> list[Line]:
    """A log in order of ``logged``, folded; newest first by when it happened."""
    lines: dict[Key, Line] = {}
    about: dict[Key, tuple[Line, Correct]] = {}
    for one in noted:
        entry = one.entry
        if isinstance(entry, Correct):
            line = lines.get((entry.kind, entry.subject, entry.at))
            if line is not None:
                line.corrections.append(entry)
                about[key_of(entry)] = line, entry
        elif isinstance(entry, Undo):
            _undo(entry, lines, about)
        elif kind_of(entry) in KINDS:
            lines[key_of(entry)] = Line(one.id, entry)
    return sorted(lines.values(), key=lambda line: (line.now.time, line.original.logged), reverse=True)


def _undo(undo: Undo, lines: dict[Key, Line], about: dict[Key, tuple[Line, Correct]]) -> None:
    key = undo.kind, undo.subject, undo.at
    if key in lines:
        lines[key].undone = True
    elif key in about:
        line, correction = about.pop(key)
        line.corrections.remove(correction)


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
        "time": rfc3339(line.now.time),
        "fields": now,
        "text": sentence(line.now, timezone),
        "standing": line.standing,
        "undone": line.undone,
        "was": {"time": rfc3339(line.original.time), "fields": original} if changed else None,
        "corrected": [
            {"at": rfc3339_ms(one.logged), "values": _told(one.values), "gone": one.gone} for one in line.corrections
        ],
    }


def fields_of(entry: Standing) -> dict[str, Any]:
    """Names and values as a correction takes them, instants as RFC 3339."""
    return _told({name: value for name, value in asdict(entry).items() if name not in ("time", "logged")})


def _told(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: rfc3339(value) if name in INSTANTS and value is not None else value for name, value in values.items()
    }
