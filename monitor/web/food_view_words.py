"""Amounts, chances and meals in the plain words of the page "Food". Pure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

from monitor.web import words
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from monitor.core.model import Ms

_SURE: Final = 0.97
_FRACTIONS: Final = (
    (1, 2), (1, 3), (2, 3), (1, 4), (3, 4), (2, 5), (3, 5), (4, 5), (9, 10),
    *((1, below) for below in (5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 70, 100)),
)  # fmt: skip
_LEAST: Final = 0.008
_DIGITS: Final = 2
"""Nobody counts young brine shrimp more finely."""


def chance(share: float) -> str:
    """``1 chance in 4``: a chance as people say it, the nearest of the simple ones."""
    if share >= _SURE:
        return "almost surely"
    if share < _LEAST:
        return "hardly any chance"
    top, below = min(_FRACTIONS, key=lambda one: abs(math.log(one[0] / one[1] / share)))
    return f"{top} chance{'' if top == 1 else 's'} in {below}"


def some(value: float) -> str:
    """``24 000``: to two digits, and from a million on ``1.2 million``."""
    rounded = _rounded(value)
    if rounded >= 1e6:
        return f"{words.number(rounded / 1e6, 2)} million"
    return words.whole(rounded)


def _rounded(value: float) -> float:
    if value < 1:
        return 0.0
    step = 10.0 ** max(0, math.floor(math.log10(value)) - _DIGITS + 1)
    return round(value / step) * step


def some_range(span: Mapping[str, float | None]) -> str:
    """``150 000 to 230 000``, or one number where both ends are the same."""
    low, high = some(span["lo"] or 0.0), some(span["hi"] or 0.0)
    if low == high:
        return low
    if low.endswith(" million") and high.endswith(" million"):
        low = low.removesuffix(" million")
    return f"{low} to {high}"


def listed(names: Sequence[str]) -> str:
    """``killi-3, gourami-1 and adults``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else ""


def grams(value: float) -> str:
    return f"{words.number(value, 2)} g"


def money(value: float, currency: str) -> str:
    return f"{value:.2f} {currency}".strip()


def sentence(text: str) -> str:
    """With a capital in front and a full stop behind, unless it has them. A name that begins it stays as it is."""
    if not text:
        return ""
    first = text.split(maxsplit=1)[0]
    told = text if any(sign.isdigit() or sign == "-" for sign in first) else f"{text[0].upper()}{text[1:]}"
    return told if told.endswith((".", "!", "?")) else f"{told}."


def instant(text: str | None) -> Ms | None:
    return rfc3339(text) if text else None


def span(ends: Mapping[str, str | None]) -> tuple[Ms | None, Ms | None, Ms | None]:
    """Instants, ``None`` where it never comes."""
    return instant(ends["lo"]), instant(ends["mid"]), instant(ends["hi"])


def spread(ends: Mapping[str, str | None], now: Ms, zone: ZoneInfo) -> str:
    """``Tue 05:10 to 11:00``: the range, rounded outwards."""
    low, _, high = span(ends)
    return words.between(
        None if low is None else words.about(low, -1), None if high is None else words.about(high, 1), now, zone
    )


def about_when(ends: Mapping[str, str | None], now: Ms, zone: ZoneInfo) -> str:
    """``Tue 07:10``: the likeliest instant."""
    mid = span(ends)[1]
    return "not in sight" if mid is None else words.moment(words.about(mid), now, zone)


def is_short(meal: Mapping[str, Any], least: float) -> bool:
    """Whether a meal is short more often than the keeper wants; ``least`` is the chance with which it is to be full."""
    return float(meal["short"]) > 1 - least + 1e-9
