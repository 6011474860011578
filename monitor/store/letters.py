"""Letters as they wait in the outbox, and between their words and the columns of its table."""

from __future__ import annotations

import json
from dataclasses import asdict, fields, replace
from hashlib import blake2b
from typing import TYPE_CHECKING, Any, Final

from monitor.core.dispatch import Cause, Hold, Kind
from monitor.core.light import light
from monitor.core.model import Priority
from monitor.store.records import alarm_from_record, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.model import Ms

TOKENS_KEPT: Final = 10


@light
class Part:
    """What a letter tells of one alarm.

    ``begun`` and ``ended`` are when the trouble did, ``time`` is that of the newest transition told, all in the engine's time.
    ``times``: how often it came, where a digest tells of more than one. ``tokens``: the letters this was in before they were
    merged, the newest last.
    """

    alarm: str
    rule: str
    subject: str
    priority: Priority
    title: str
    text: str
    todo: str
    reason: str
    begun: Ms
    time: Ms
    ended: Ms | None = None
    deadline: Ms | None = None
    times: int = 1
    tokens: tuple[str, ...] = ()


def part_from_record(values: dict[str, Any]) -> Part:
    return Part(**values | {"priority": Priority(values["priority"]), "tokens": tuple(values["tokens"])})


def common_todo(parts: Sequence[Part], kind: Kind) -> str:
    """What to do, where it is the same for all that a letter tells; a digest says it line by line."""
    todos = {part.todo for part in parts if part.ended is None}
    return todos.pop() if len(todos) == 1 and kind in (Kind.TROUBLE, Kind.REPEAT) else ""


@light
class Letter:
    """One message to one channel. ``token`` stays the same over all tries, so that a duplicate can be recognised.

    ``todo`` is the part of the body that says what to do, ``deadline`` when harm may begin. Both are no columns, since the
    parts have them. ``next_try`` is real time, for what happens outside; ``hold`` is the engine's, which may be simulated:
    the letter waits for both. ``why``: why it goes when and where it does. ``link``: where a person can act on it; put on as
    it goes, and not kept.
    """

    id: int
    transition_id: int | None
    alarm: str
    channel: str
    title: str
    body: str
    priority: Priority
    created: Ms
    token: str
    tries: int = 0
    next_try: Ms = 0
    todo: str = ""
    deadline: Ms | None = None
    link: str = ""
    kind: Kind = Kind.TROUBLE
    hold: Ms = 0
    cause: Cause = Cause.NOW
    why: str = ""
    parts: tuple[Part, ...] = ()

    @property
    def alarms(self) -> tuple[str, ...]:
        """The ids of all alarms it tells of, the most pressing first."""
        return tuple(part.alarm for part in self.parts) or (self.alarm,)

    @property
    def rule(self) -> str:
        """The rule all its alarms have in common, or nothing."""
        rules = {part.rule for part in self.parts}
        return rules.pop() if len(rules) == 1 else ""

    @property
    def reason(self) -> str:
        """Why it rang, and why the letter goes when it does."""
        reasons = dict.fromkeys(part.reason for part in self.parts if part.reason)
        return "; ".join([*list(reasons)[:3], *([self.why] if self.why else [])])


@light
class Draft:
    """What a letter shall say, before it has a place in the outbox. ``todo`` is the end of the body, or nothing.

    ``identity``: what the token is made of, where that is not the transition.
    """

    alarm: str
    title: str
    body: str
    priority: Priority
    created: Ms
    todo: str = ""
    deadline: Ms | None = None
    kind: Kind = Kind.TROUBLE
    parts: tuple[Part, ...] = ()
    hold: Hold | None = None
    identity: str = ""

    def to_letter(self, letter_id: int, transition_id: int | None, channel: str) -> Letter:
        identity = self.identity or f"{self.alarm}|{self.created}|{transition_id or letter_id}"
        token = blake2b(f"{identity}|{channel}".encode("utf-8", "replace"), digest_size=4).hexdigest()
        held = self.hold or Hold(0, Cause.NOW, "")
        return Letter(
            letter_id,
            transition_id,
            plain(self.alarm),
            channel,
            plain(self.title),
            plain(self.body),
            self.priority,
            self.created,
            token,
            next_try=self.created,
            todo=plain(self.todo),
            deadline=self.deadline,
            kind=self.kind,
            hold=held.until,
            cause=held.cause,
            why=plain(held.why),
            parts=self.parts,
        )


LETTER_COLUMNS: Final = tuple(field.name for field in fields(Letter) if field.name not in ("todo", "deadline", "link"))
_PARTS: Final = LETTER_COLUMNS.index("parts")


def letter_to_columns(letter: Letter) -> tuple[Any, ...]:
    """In the order of ``LETTER_COLUMNS``."""
    values = [getattr(letter, column) for column in LETTER_COLUMNS]
    values[_PARTS] = plain(json.dumps([asdict(part) for part in letter.parts], ensure_ascii=False))
    return tuple(values)


def parts_from_column(text: str) -> tuple[Part, ...]:
    return tuple(part_from_record(values) for values in json.loads(text))


def letter_from_record(values: tuple[Any, ...]) -> Letter:
    """From the columns, and last the alarm the letter is about as it is kept, or None."""
    *columns, alarm = values
    kept = dict(zip(LETTER_COLUMNS, columns, strict=True))
    kept |= {"priority": Priority(kept["priority"]), "kind": Kind(kept["kind"]), "cause": Cause(kept["cause"])}
    letter = Letter(**kept | {"parts": parts_from_column(kept["parts"])})
    if letter.parts:
        deadlines = [part.deadline for part in letter.parts if part.deadline is not None and part.ended is None]
        return replace(
            letter, todo=plain(common_todo(letter.parts, letter.kind)), deadline=min(deadlines, default=None)
        )
    return letter if alarm is None else _of_before(letter, alarm)


def _of_before(letter: Letter, alarm: str) -> Letter:
    """A letter of a time when letters had no parts: its transition tells."""
    about = alarm_from_record(alarm)
    if about.over:
        return replace(letter, kind=Kind.OVER)
    return replace(letter, todo=plain(about.todo), deadline=about.deadline)


@light
class Posted:
    """A letter as a report reads it. ``created`` and ``told`` are real time, ``went`` is the engine's.

    ``state``: waiting, told, given-up (no further try), merged (into ``merged_into``) or withdrawn (there was no need any more;
    ``error`` says why). ``alarms`` and ``rules`` of a letter that told several have the most pressing first.
    """

    id: int
    transition_id: int | None
    channel: str
    kind: Kind
    priority: Priority
    state: str
    created: Ms
    told: Ms | None
    went: Ms | None
    title: str
    why: str
    error: str
    token: str
    merged_into: int | None
    alarms: tuple[str, ...]
    rules: tuple[str, ...]
