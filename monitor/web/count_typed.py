"""What a keeper types about counted drops. Says what is allowed when it can't be read; what cannot be is for the core to say."""

from __future__ import annotations

import re
from typing import Final

from monitor.core.counting import MOST_DROPS, Drops
from monitor.settings.errors import Unfit
from monitor.settings.units import Kind, dotted, plain, read, split
from monitor.web.given import count

_TOTAL: Final = re.compile(r"(\d{1,6}) in (\d{1,3})(?: drops?)?")
_TIMES: Final = re.compile(r"[x×]? ?(\d{1,6}(?:\.\d{1,6})?) ?(?:x|×|times)?", re.IGNORECASE)


def drops(text: str) -> Drops:
    """``12 15 9``, ``12, 15, 9``, or ``36 in 3`` where only the total was kept. Raises Unfit.

    A full stop parts two drops as well: some keyboards for numbers have no other mark.
    """
    tidy = " ".join(text.split())
    whole = _TOTAL.fullmatch(tidy)
    if whole is not None:
        return Drops(int(whole[1]), int(whole[2]))
    found = [part for part in re.split(r"[ ,;.]+", tidy) if part]
    if not found or not all(part.isascii() and part.isdigit() and len(part) <= 6 for part in found):
        raise Unfit('whole numbers, one for each drop, such as "12 15 9"; or all of them in "36 in 3"')
    if len(found) > 10 * MOST_DROPS:
        raise Unfit(f"at most {MOST_DROPS} drops")
    return Drops.of(tuple(int(part) for part in found))


def drop_ml(text: str) -> float:
    """``0.25 mL``, ``50 uL``, or a bare number of mL, in mL; ``0,25`` too, as no drop has thousands. Raises Unfit."""
    said = dotted(text.strip(), thousands=False)
    try:
        number, unit = split(said)
        value = number if not unit else round(1000 * read(said, Kind.VOLUME), 9)
    except Unfit as problem:
        raise Unfit('the volume of one drop such as "0.05 mL" or "50 uL"', problem.hint) from None
    if value <= 0:
        raise Unfit('the volume of one drop such as "0.05 mL", above 0')
    return value


def dilution(text: str) -> float:
    """``10``, ``10x`` or ``10 times``; nothing typed is not diluted. Raises Unfit."""
    tidy = " ".join(text.split())
    if not tidy:
        return 1.0
    match = _TIMES.fullmatch(dotted(tidy))
    if match is None:
        raise Unfit('how many times, such as "10" when 10 mL were filled up to 100 mL; 1 is not diluted')
    return float(match[1])


def cysts_per_g(text: str) -> float | None:
    """``270 000``, None when nothing is typed. Raises Unfit."""
    if not text.strip():
        return None
    try:
        return count(text.strip())
    except Unfit:
        raise Unfit("a whole number such as 270000") from None


def written(millilitres: float) -> str:
    """A drop as it is typed."""
    return f"{plain(round(millilitres, 9))} mL"
