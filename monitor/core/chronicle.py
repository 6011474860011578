"""The whole story of a batch in sentences, out of what the record knows of it. Pure, and the same each time it is told.

Times in a sentence are times of day at the site; the weekday goes with them when it is another day than the sentence's own.
What belongs together is one sentence: a forecast that moved is told with the look, the cold or the air that moved it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.log import Settle
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.core.tale_alarms import answered, gravest, ring_words, rings
from monitor.core.tale_courses import silences, spells, stops, summed
from monitor.core.tale_lines import silence_lines, spell_lines, stop_lines, unmeant
from monitor.core.tale_log import Line, doings, ended, looks, started, taken_back, work_times
from monitor.core.tale_told import expected, moves, net, reason
from monitor.core.tale_verdict import AT_ONCE, Air, how_good, summary, told_at_once
from monitor.core.wording import number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.lives import Life, ReadyTold
    from monitor.core.log import Deed, Undo
    from monitor.core.lots import Taught
    from monitor.core.model import Transition
    from monitor.core.tale_courses import AirLevel, Level

_SLACK: Final[Ms] = 10 * MINUTE
_OF_AIR: Final = {"stopped": "air-stopped", "weak": "air-weak"}
_OF_WATER: Final = {"cold": ("cold-snap",), "warm": ("too-hot",)}


@light
class Sentence:
    time: Ms
    kind: str
    text: str


@light
class Known:
    """What the record knows of one batch. ``deeds`` are entries about its vessel and its animals besides looks and its end."""

    life: Life
    timezone: str
    strain: str = ""
    deeds: tuple[Deed, ...] = ()
    undone: tuple[tuple[Deed, Undo], ...] = ()
    told: tuple[ReadyTold, ...] = ()
    water: tuple[Level, ...] = ()
    air: tuple[AirLevel, ...] | None = None  # None where no probe tells of it
    alarms: tuple[Transition, ...] = ()
    about: frozenset[str] = frozenset()  # subjects of its alarms: itself, its vessel, the probes of that
    taught: Taught | None = None


@light
class Chronicle:
    """``summary`` is the story in three sentences at most; ``sentences`` are in order of time."""

    summary: tuple[str, ...]
    sentences: tuple[Sentence, ...]


def chronicle(known: Known) -> Chronicle:
    life = known.life
    first = told_at_start(known)
    air = None if not known.air else Air(stops(known.air, "stopped"), stops(known.air, "weak"))
    lines = sorted(_Telling(known, first, air).lines(), key=lambda line: line.time)
    return Chronicle(
        tuple(summary(life, known.told, first, summed(known.water), air, known.timezone)),
        tuple(Sentence(line.time, line.kind, line.whole) for line in lines),
    )


def told_at_start(known: Known) -> ReadyTold | None:
    """The first estimate in which ready was in sight, soon after the start was written down; not one told after it came."""
    life = known.life
    _, came = life.came()
    ends = [instant for instant in (came, None if life.end is None else life.end.time) if instant is not None]
    by = min([max(life.start.time, life.start.logged) + AT_ONCE, *ends])
    return next((one for one in known.told if one.mid is not None and one.time <= by), None)


class _Telling:
    """Gathers the lines, and gives each move of the forecast and each alarm to the line that it belongs to."""

    def __init__(self, known: Known, first: ReadyTold | None, air: Air | None) -> None:
        self._known, self._first, self._air = known, first, air if air is not None else Air([], [])
        self._zone = known.timezone
        _, by = known.life.came()
        self._until = None if known.life.end is None else known.life.end.time
        self._moves = moves(known.told, by if by is not None else self._until)
        self._rings = [
            ring
            for ring in rings(known.alarms, known.about)
            # Before its start was written down, what rang about the vessel was about the batch before.
            if ring.rang >= max(known.life.start.time, known.life.start.logged)
            and (self._until is None or ring.rang <= self._until)
        ]

    def lines(self) -> list[Line]:
        known, life = self._known, self._known.life
        seen = looks(life.looks, self._zone)
        for line in seen:
            self._moved(line, line.time, line.until, look=True)
        lines = [self._begun(), *seen, *self._waters(), *self._airs(), *self._gaps()]
        lines += doings(known.deeds, self._zone)
        lines += taken_back(known.undone, self._zone)
        lines += self._left_moves()
        lines += self._left_rings()
        if life.end is not None:
            lines.append(ended(life.end, life.start.time, self._zone))
            lines += self._closing(life.end.time, max(line.time for line in lines))
        return lines

    # -- the start and the end

    def _begun(self) -> Line:
        known, start = self._known, self._known.life.start
        near = next((one.mean for one in known.water if one.time - start.time <= AT_ONCE), None)
        line = started(start, known.strain, near, self._zone)
        if self._first is not None:
            when = "Ready" if told_at_once(start, self._first) else "When that was noted, ready"
            line.more.append(f"{when} was expected {expected(self._first, self._zone, start.time)}.")
        return line

    def _closing(self, end: Ms, last: Ms) -> list[Line]:
        known = self._known
        lines = []
        if known.taught is not None:
            taught = known.taught
            lines.append(
                Line(
                    max(taught.time, end),
                    "taught",
                    f"It taught {known.life.start.lot}: {round(100 * taught.share)} % of its cysts hatch, "
                    f"half of them within {number(taught.half_h)} h at 25 °C",
                )
            )
        last = max([last, *(line.time for line in lines)])
        good = how_good(known.life, known.told, self._first, self._zone, last)
        lines.append(Line(last, "verdict", good.rstrip(".")))
        return lines

    # -- air and water

    def _airs(self) -> list[Line]:
        meant = [(one.time, one.until) for one in self._known.deeds if isinstance(one, Settle)]
        meant += work_times(self._known.deeds)
        lines = []
        for line, kind in stop_lines(unmeant(self._air.stops, meant), self._zone) + stop_lines(
            self._air.weak, self._zone
        ):
            self._moved(line, line.time, line.until, later=True)
            self._rang(line, (_OF_AIR[kind],))
            lines.append(line)
        return lines

    def _waters(self) -> list[Line]:
        lines = []
        for line, kind in spell_lines(spells(self._known.water), self._zone):
            self._moved(line, line.time, line.until, later=kind == "cold")
            self._rang(line, _OF_WATER[kind])
            lines.append(line)
        return lines

    def _gaps(self) -> list[Line]:
        gaps = silences(self._known.water, self._known.life.start.time, self._until)
        lines = silence_lines(gaps, self._zone)
        for line in lines:
            self._rang(line, ("probe-silent",))
        return lines

    # -- what belongs to what

    def _moved(self, line: Line, begin: Ms, end: Ms, *, look: bool = False, later: bool | None = None) -> None:
        """Takes the moves of the forecast that this explains; of ``later`` only those that way."""
        mine = [
            move
            for move in self._moves
            if move.since <= end + (0 if look else HOUR)
            and move.time >= (end - MINUTE if look else begin)
            and (later is None or (move.by is not None and (move.by > 0) == later))
        ]
        self._moves = [move for move in self._moves if move not in mine]
        line.tail.append(net(mine, self._zone, line.time))

    def _rang(self, line: Line, rules: Sequence[str]) -> None:
        """Takes the first alarm that says the same."""
        for ring in self._rings:
            if ring.rule in rules and line.time - _SLACK <= ring.rang <= line.until + HOUR:
                self._rings.remove(ring)
                line.more.append(answered(ring, self._zone, line.time))
                return

    def _left_moves(self) -> list[Line]:
        lines = []
        for move in self._moves:
            said = net([move], self._zone, move.time)
            if said:
                lines.append(Line(move.time, "told", f"{said[0].upper()}{said[1:]}{reason(move)}"))
        return lines

    def _left_rings(self) -> list[Line]:
        told, rest = gravest(self._rings)
        lines = [Line(ring.rang, "alarm", ring_words(ring, self._zone)) for ring in told]
        if rest:
            many = "1 lesser alarm" if len(rest) == 1 else f"{len(rest)} lesser alarms"
            lines.append(Line(rest[0].rang, "alarm", f"{many} rang from here on"))
        return lines
