"""The check-up: from what is known of machine and service to what a keeper should know and do. Pure."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Final

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Iterable


class Level(StrEnum):
    FINE = "fine"
    LOOK = "look"
    """Nothing is lost yet: look at it within days."""
    ACT = "act"
    """Something does not work, or will not for long."""


RANKS: Final = {Level.ACT: 0, Level.LOOK: 1, Level.FINE: 2}


@light
class Finding:
    """``found``: the fact; ``means``: what follows from it; ``advice``: what to do, empty when nothing need be done."""

    about: str
    level: Level
    found: str
    means: str = ""
    advice: str = ""

    def document(self) -> dict[str, str]:
        return {
            "about": self.about,
            "level": self.level.value,
            "found": self.found,
            "means": self.means,
            "advice": self.advice,
        }


def fine(about: str, found: str, means: str = "") -> Finding:
    return Finding(about, Level.FINE, found, means)


def look(about: str, found: str, means: str, advice: str) -> Finding:
    return Finding(about, Level.LOOK, found, means, advice)


def act(about: str, found: str, means: str, advice: str) -> Finding:
    return Finding(about, Level.ACT, found, means, advice)


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Those of one level keep their order."""
    return tuple(sorted(findings, key=lambda one: RANKS[one.level]))


def worst(findings: Iterable[Finding]) -> Level:
    return min((one.level for one in findings), key=RANKS.__getitem__, default=Level.FINE)


def size(count: float) -> str:
    """``812 B``, ``4.1 MB``, ``32 GB``: decimal units, two figures at least."""
    for unit in ("B", "kB", "MB", "GB"):
        if abs(count) < 1000:
            return f"{count:.0f} {unit}" if unit == "B" or abs(count) >= 10 else f"{count:.1f} {unit}"
        count /= 1000
    return f"{count:.0f} TB" if count >= 10 else f"{count:.1f} TB"
