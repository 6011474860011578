"""How what was told of a batch moved: only what a keeper would have noticed, and each move once. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, Ms
from monitor.core.wording import about, clock, length, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.lives import ReadyTold

STEPS: Final = (30 * MINUTE, HOUR, 2 * HOUR, 4 * HOUR)
"""Less than the first is not told; where that gives more than ``MOST_MOVES``, less than the next is not."""
MOST_MOVES: Final = 5
ONE_MOVE: Final[Ms] = 2 * HOUR  # steps the same way, nearer to each other than this, are one move
CLEARLY_C: Final = 0.7  # so much other water is named as the reason; common practice, no source


@light
class Move:
    """Ready was told anew: between ``since`` and ``time`` it moved from ``before`` to ``after``; None is out of sight."""

    since: Ms
    time: Ms
    before: ReadyTold
    after: ReadyTold

    @property
    def by(self) -> Ms | None:
        """Above 0 is later; None when one of the two was out of sight."""
        return None if self.before.mid is None or self.after.mid is None else self.after.mid - self.before.mid


def moves(told: Sequence[ReadyTold], until: Ms | None) -> list[Move]:
    """Those before ``until``, in order of time."""
    ahead = [one for one in told if until is None or one.time < until]
    found: list[Move] = []
    for step in STEPS:
        found = _moves(ahead, step)
        if len(found) <= MOST_MOVES:
            break
    return found[:MOST_MOVES] if len(found) > MOST_MOVES else found


def _moves(told: Sequence[ReadyTold], step: Ms) -> list[Move]:
    found: list[Move] = []
    for anchor, before, one in _steps(told, step):
        last = found[-1] if found else None
        move = Move(before.time, one.time, anchor, one)
        if last is not None and last.after is anchor and _one_way(last, move):
            found[-1] = Move(last.since, one.time, last.before, one)
        else:
            found.append(move)
    return found


def _one_way(last: Move, move: Move) -> bool:
    if last.by is None or move.by is None:
        return False
    return (last.by > 0) == (move.by > 0) and move.time - last.time <= ONE_MOVE


def _steps(told: Sequence[ReadyTold], step: Ms) -> list[tuple[ReadyTold, ReadyTold, ReadyTold]]:
    """What stood, what was told just before, and what was told: wherever it is clearly another."""
    found = []
    anchor = before = None
    for one in told:
        if anchor is None or before is None:
            anchor = one if one.mid is not None else None
        elif (one.mid is None) != (anchor.mid is None) or abs((one.mid or 0) - (anchor.mid or 0)) > step:
            found.append((anchor, before, one))
            anchor = one
        before = one
    return found


def net(of: Sequence[Move], timezone: str, now: Ms) -> str:
    """``ready moved 2 h 10 min later, to 20:50``; empty when it came to nothing in the end."""
    if not of:
        return ""
    whole = Move(of[0].since, of[-1].time, of[0].before, of[-1].after)
    if whole.after.mid is None:
        return "ready was not in sight any more"
    to = clock(about(whole.after.mid), timezone, now)
    if whole.by is None:
        return f"ready came in sight again, at {to}"
    by = about(abs(whole.by))
    return f"ready moved {length(by)} {'later' if whole.by > 0 else 'earlier'}, to {to}" if by else ""


def reason(move: Move) -> str:
    """What of the water says why, with a blank before; empty where it does not."""
    was, came = move.before.water_c, move.after.water_c
    if was is None or came is None or abs(came - was) < CLEARLY_C or move.by is None:
        return ""
    if (move.by > 0) != (came < was):
        return ""
    return f": the water went from {number(was)} to {number(came)} °C"


def expected(one: ReadyTold, timezone: str, now: Ms) -> str:
    """``Fri 18:40, 8 chances in 10 between 16:50 and 21:30``; empty when it was not in sight."""
    if one.mid is None:
        return ""
    said = clock(about(one.mid), timezone, now)
    if one.lo is None or one.hi is None:
        return said
    low, high = clock(about(one.lo, -1), timezone, one.mid), clock(about(one.hi, 1), timezone, one.mid)
    return f"{said}, 8 chances in 10 between {low} and {high}"
