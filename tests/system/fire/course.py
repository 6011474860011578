"""The course of a long run: whose turn it is, how far it is, how long it will take, and its end ahead of time."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tests.system.fire.fault import Tried

Clock = Callable[[], float]


def turns(rows: Sequence[Tried]) -> list[Tried]:
    """Try by try: each first as often as in the suite, then all in equal shares, so that they can be cut anywhere."""
    first = [row for row in rows for _ in range(_at_least(row))]
    later = [
        ((number + 1) / row.asked, place)
        for place, row in enumerate(rows)
        for number in range(_at_least(row), row.asked)
    ]
    return first + [rows[place] for _, place in sorted(later)]


def _at_least(row: Tried) -> int:
    return min(row.fault.short, row.asked)


@dataclass(slots=True)
class Course:
    """``ends``: by ``clock``, s; what would last longer is cut, but none is tried less often than in the suite."""

    rows: Sequence[Tried]
    ends: float | None = None
    clock: Clock = field(default=time.monotonic)

    def run(self, seed: int, begins: Callable[[Tried], object], ended: Callable[[Tried, str], object]) -> bool:
        """Try all; whether time was enough. ``begins`` before each try, ``ended`` after it, with what went wrong if anything."""
        for row in turns(self.rows):
            if row.tried >= _at_least(row) and self._too_long(row):
                return False
            begins(row)
            ended(row, row.again(seed))
        return True

    def _too_long(self, row: Tried) -> bool:
        return self.ends is not None and self.clock() + self._each_s(row) > self.ends

    def _each_s(self, row: Tried) -> float:
        """How long a try of it lasts, by those before; of one that was not tried yet, by the others."""
        known = [row] if row.tried else [one for one in self.rows if one.tried]
        tried = sum(one.tried for one in known)
        return sum(one.seconds for one in known) / tried if tried else 0.0

    def left_s(self) -> float:
        """How long it will last yet."""
        all_of_it = sum((row.asked - row.tried) * self._each_s(row) for row in self.rows)
        if self.ends is None:
            return all_of_it
        owed = sum(max(_at_least(row) - row.tried, 0) * self._each_s(row) for row in self.rows)
        return min(all_of_it, max(self.ends - self.clock(), owed))

    def says(self, row: Tried) -> str:
        """What is under way, for whoever waits; what is of most interest first, as a screen may be narrow."""
        done, broken = sum(one.tried for one in self.rows), sum(len(one.failures) for one in self.rows)
        told = [f"{done + 1} of {sum(one.asked for one in self.rows)}"]
        if done:
            told.append(f"{duration(self.left_s())} left")
        if broken:
            told.append(f"{broken} BROKEN")
        return f"{', '.join(told)}: {row.fault.name}, {row.tried + 1} of {row.asked}"


def duration(seconds: float) -> str:
    """As a person says it."""
    minutes = round(seconds / 60)
    if minutes < 1:
        return "less than a minute"
    return f"{minutes // 60} h {minutes % 60:02} min" if minutes >= 60 else f"{minutes} min"


def show(line: str) -> None:
    """One line on the screen that changes; in a file, a line each time."""
    if sys.stderr.isatty():
        click.echo(f"\r\x1b[K{line[: shutil.get_terminal_size().columns - 1]}", nl=False, err=True)
    else:
        click.echo(line, err=True)


def clear() -> None:
    """Before something else is written on the screen."""
    if sys.stderr.isatty():
        click.echo("\r\x1b[K", nl=False, err=True)
