"""What a cold store held at each instant: its entries, folded in the order of their times, whenever they were logged.

What is drawn takes its share of the water and of the gas along, so that drawing makes the rest last neither longer nor
shorter: common practice, no source. Drawn to nothing, a store is empty.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, Literal

from monitor.core.light import light
from monitor.core.log import Chill, Emptied
from monitor.core.log_food import Drawn, Fed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from monitor.core.log import Gas
    from monitor.core.model import Ms

NOTHING: Final = 0.5
"""Fewer nauplii than that are none."""

NAMED: Final = 40
"""Batches that are named of what is in a store: one that is filled up and never emptied has them all."""

AmountEntry = Chill | Fed | Drawn | Emptied
"""What moves the amount in a cold store."""


@light
class Content:
    """What a store holds. ``since`` is when its oldest part went in, ``newest`` when its youngest did."""

    since: Ms
    newest: Ms
    nauplii: float
    litres: float
    gas: Gas
    gas_l: float
    aerated: bool
    batches: tuple[str, ...] = ()  # that went in last


@light
class Snag:
    """An entry that does not go with those before it.

    ``short``: more is taken than there is, ``by`` so many nauplii. ``closed``: something was put to what is closed up, or
    something closed to what is there. ``held`` is what there is then.
    """

    entry: AmountEntry
    what: Literal["short", "closed"]
    held: Content | None
    by: float = 0.0


def in_time(entries: Iterable[AmountEntry]) -> list[AmountEntry]:
    """In the order in which it happened; what happened at the same time in the order in which it was written down."""
    return sorted(entries, key=lambda entry: (entry.time, entry.logged))


def fold(entries: Iterable[AmountEntry], content: Content | None = None) -> Content | None:
    """What a store that held ``content`` holds after all of these, which are in order of time; ``None`` when it is empty."""
    for entry in entries:
        content = after(content, entry)
    return content


def after(content: Content | None, entry: AmountEntry) -> Content | None:
    """What a store holds after an entry, that held ``content`` before it."""
    if isinstance(entry, Emptied):
        return None
    if isinstance(entry, Fed | Drawn):
        return _drawn(content, entry.nauplii)
    batches = (entry.batch,) if entry.batch else ()
    if content is None or content.gas != "open" or entry.gas != "open":
        return Content(
            entry.time, entry.time, entry.nauplii, entry.litres, entry.gas, entry.gas_l, entry.aerated, batches
        )
    return replace(
        content,
        newest=entry.time,
        nauplii=content.nauplii + entry.nauplii,
        litres=content.litres + entry.litres,
        aerated=entry.aerated,
        batches=tuple(dict.fromkeys((*content.batches, *batches)))[-NAMED:],
    )


def _drawn(content: Content | None, nauplii: float) -> Content | None:
    if content is None or content.nauplii - nauplii < NOTHING:
        return None
    left = content.nauplii - nauplii
    share = left / content.nauplii
    return replace(content, nauplii=left, litres=content.litres * share, gas_l=content.gas_l * share)


def snags(entries: Iterable[AmountEntry], content: Content | None = None) -> Iterator[Snag]:
    """All that does not go together, of entries in order of time; before them the store held ``content``."""
    for entry in entries:
        if isinstance(entry, Fed | Drawn):
            held = 0.0 if content is None else content.nauplii
            if entry.nauplii - held >= NOTHING:
                yield Snag(entry, "short", content, entry.nauplii - held)
        elif isinstance(entry, Chill) and content is not None and (content.gas, entry.gas) != ("open", "open"):
            yield Snag(entry, "closed", content)
        content = after(content, entry)
