"""Spells of cold and heat, stops of the air and silences of probes as sentences. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.model import MINUTE, Ms
from monitor.core.tale_log import Line
from monitor.core.wording import clock, length, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.tale_courses import Spell, Stop

ONE_BY_ONE: Final = 3
"""Of more than these only the number is told, and the worst of them."""
_SLACK: Final[Ms] = 10 * MINUTE
_WHAT: Final = {"stopped": "Air stopped", "weak": "Air was weak"}


def unmeant(of: Sequence[Stop], meant: Sequence[tuple[Ms, Ms]]) -> list[Stop]:
    """Without what lies within a span in which somebody had a hand in it, or hardly outlasts it."""
    return [
        one for one in of if not any(begin - _SLACK <= one.begin and one.end <= end + _SLACK for begin, end in meant)
    ]


def stop_lines(of: Sequence[Stop], timezone: str) -> list[tuple[Line, str]]:
    """Each with its kind; all of one kind."""
    if len(of) <= ONE_BY_ONE:
        return [(Line(one.begin, "air", f"{_WHAT[one.kind]}{_lasted(one)}", one.end), one.kind) for one in of]
    first, last = of[0], of[-1]
    together, longest = length(sum(one.length for one in of)), length(max(one.length for one in of))
    upto = clock(last.end, timezone, first.begin)
    text = f"{_WHAT[first.kind]} {len(of)} times up to {upto}, {together} together and {longest} at the longest"
    return [(Line(first.begin, "air", text, last.end), first.kind)]


def _lasted(stop: Stop) -> str:
    return f" for {length(stop.length)}" if stop.over else f", and still so {length(stop.length)} later"


def spell_lines(found: Sequence[Spell], timezone: str) -> list[tuple[Line, str]]:
    """Each with its kind."""
    lines: list[tuple[Line, str]] = []
    for kind in ("cold", "warm"):
        mine = [spell for spell in found if spell.kind == kind]
        if len(mine) > ONE_BY_ONE:
            lines.append((_swung(mine, timezone), kind))
        else:
            lines += [(_spell(spell, timezone), kind) for spell in mine]
    return lines


def _spell(spell: Spell, timezone: str) -> Line:
    end = clock(spell.end, timezone, spell.begin)
    furthest, usual = number(spell.extreme), number(spell.usual)
    if spell.from_start and spell.kind == "cold":
        text = f"The water began cold, at {furthest} °C"
        text += f", and was up by {end}" if spell.over else f", and was no warmer at {end}"
    else:
        moved = "fell" if spell.kind == "cold" else "rose"
        text = f"The water {moved} to {furthest} °C, from {usual} °C as usual"
        text += f"; back by {end}" if spell.over else f"; still so at {end}"
    return Line(spell.begin, "water", text, spell.end)


def _swung(of: Sequence[Spell], timezone: str) -> Line:
    worst = max(of, key=lambda spell: abs(spell.extreme - spell.usual))
    side = "colder" if worst.kind == "cold" else "warmer"
    upto = clock(of[-1].end, timezone, of[0].begin)
    text = (
        f"The water was clearly {side} than its usual {number(worst.usual)} °C {len(of)} times up to {upto}, "
        f"{number(worst.extreme)} °C at the furthest"
    )
    return Line(of[0].begin, "water", text, of[-1].end)


def silence_lines(gaps: Sequence[tuple[Ms, Ms]], timezone: str) -> list[Line]:
    what = "No water temperature came in"
    if len(gaps) <= ONE_BY_ONE:
        return [
            Line(begin, "silence", f"{what} until {clock(end, timezone, begin)}, for {length(end - begin)}", end)
            for begin, end in gaps
        ]
    first, last = gaps[0][0], gaps[-1][1]
    together = length(sum(end - begin for begin, end in gaps))
    return [
        Line(
            first, "silence", f"{what} for {together} in {len(gaps)} times, up to {clock(last, timezone, first)}", last
        )
    ]
