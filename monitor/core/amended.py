"""A log as it stands: without what was undone, and with what was corrected as it is right.

An entry keeps its key, its place and when it was logged, whatever of it was corrected.
"""

from __future__ import annotations

from dataclasses import field, replace
from typing import TYPE_CHECKING, Any

from monitor.core.light import light
from monitor.core.log import Undo, key_of
from monitor.core.log_food import Correct

if TYPE_CHECKING:
    from collections.abc import Iterable

    from monitor.core.log import Key, LogEntry, Standing


@light(frozen=False)
class Told:
    """An entry as it was logged, and the corrections of it that stand, in the order in which they were logged."""

    entry: Standing
    corrections: list[Correct] = field(default_factory=list)

    @property
    def key(self) -> Key:
        """What tells it from all others: it does not change with a correction."""
        return key_of(self.entry)

    @property
    def now(self) -> Standing | None:
        """As it is right; ``None`` when it was taken away."""
        return amend(self.entry, self.corrections)


def amend(entry: Standing, corrections: Iterable[Correct]) -> Standing | None:
    """An entry with the values of these, one after the other; the last says whether it was taken away.

    What an entry does not know, from another version, is left as it was.
    """
    gone = False
    for correct in corrections:
        gone = correct.gone
        for name, value in correct.values.items():
            entry = _with(entry, name, value)
    return None if gone else entry


def _with(entry: Standing, name: str, value: Any) -> Standing:
    try:
        return replace(entry, **{name: value})
    except TypeError:
        return entry


def told_of(entries: Iterable[LogEntry]) -> tuple[list[Told], list[tuple[LogEntry, Undo]]]:
    """A log, in order of ``logged``: what was told and not undone, and what was undone with what took it back."""
    left: list[Told] = []
    undone: list[tuple[LogEntry, Undo]] = []
    for entry in entries:
        if isinstance(entry, Correct):
            told = _find(left, (entry.kind, entry.subject, entry.at))
            if told is not None:
                told.corrections.append(entry)
        elif not isinstance(entry, Undo):
            left.append(Told(entry))
        elif entry.kind == "correct":
            _undo_correction(left, undone, entry)
        else:
            told = _find(left, (entry.kind, entry.subject, entry.at))
            if told is not None:
                left.remove(told)
                undone.append((told.entry, entry))
    return left, undone


def correction_of(told: Iterable[Told], undo: Undo) -> tuple[Told, Correct] | None:
    """The correction that is to be undone, and what it is of."""
    for one in told:
        for correct in one.corrections:
            if key_of(correct) == (undo.kind, undo.subject, undo.at):
                return one, correct
    return None


def _undo_correction(left: list[Told], undone: list[tuple[LogEntry, Undo]], undo: Undo) -> None:
    found = correction_of(reversed(left), undo)
    if found is not None:
        told, correct = found
        told.corrections.remove(correct)
        undone.append((correct, undo))


def _find(left: list[Told], key: Key) -> Told | None:
    return next((told for told in reversed(left) if told.key == key), None)
