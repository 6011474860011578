"""Tins as configuration and log know them together, and how much is left in each.

What the keeper has told of a tin goes before what the configuration says of it. A tin that only the log knows is as good.
"""

from __future__ import annotations

from dataclasses import replace
from math import fsum
from typing import TYPE_CHECKING

from monitor.core.food import CYSTS_PER_G
from monitor.core.model import LotSpec

if TYPE_CHECKING:
    from monitor.core.log_food import Storage
    from monitor.core.model import Ms
    from monitor.core.state import State


def known_lots(state: State) -> list[str]:
    """All tins: configured, told of, and those that batches were started from."""
    return list(dict.fromkeys([*state.site.lots, *state.food.tins, *state.food.weighed, *state.sown]))


def lot_spec(state: State, lot: str) -> LotSpec:
    """A tin's properties. ``grams`` is what was in it when it was bought."""
    spec = state.site.lots.get(lot, LotSpec(lot))
    told = state.food.tins.get(lot)
    if told is None:
        return spec
    label, grams, cysts = told.label_hatch_percent, told.grams, told.cysts_per_g
    return replace(
        spec,
        strain=told.strain or spec.strain,
        label_hatch_percent=spec.label_hatch_percent if label is None else label,
        grams=spec.grams if grams is None else grams,
        cysts_per_g=spec.cysts_per_g if cysts is None else cysts,
    )


def cysts_per_g(state: State, lot: str) -> float:
    """Of the tin, else of its strain, else the usual."""
    spec = lot_spec(state, lot)
    strain = state.site.strains.get(spec.strain)
    return spec.cysts_per_g or (None if strain is None else strain.cysts_per_g) or CYSTS_PER_G


def length_um(state: State, lot: str) -> float | None:
    """Of a newly hatched nauplius: as the keeper measured it, else of its strain; ``None`` when nobody knows."""
    told = state.food.tins.get(lot)
    if told is not None and told.length_um is not None:
        return told.length_um
    strain = state.site.strains.get(lot_spec(state, lot).strain)
    return None if strain is None else strain.length_um


def price_per_g(state: State, lot: str) -> float | None:
    """In the site's currency; ``None`` when price or weight was not told."""
    told = state.food.tins.get(lot)
    grams = lot_spec(state, lot).grams
    return None if told is None or told.price is None or not grams else told.price / grams


def opened(state: State, lot: str) -> Ms | None:
    """When it was opened, as it was told; else when the first batch was started from it."""
    told = state.food.tins.get(lot)
    if told is not None and told.opened is not None:
        return told.opened
    return min((time for time, _ in state.sown.get(lot, [])), default=None)


def kept(state: State, lot: str) -> Storage:
    told = state.food.tins.get(lot)
    return "room" if told is None else told.kept


def held(state: State, lot: str) -> tuple[float, Ms | None] | None:
    """What was known to be in a tin last, g, and when: weighed, bought, or as configured (``None``: from the beginning).

    ``None`` when nobody told. A tin that is bought, or told of, after it was weighed holds what was told then.
    """
    newest, told = state.food.weighed.get(lot), state.food.tins.get(lot)
    if told is not None and told.grams is not None and (newest is None or told.time > newest.time):
        return told.grams, told.time
    if newest is not None:
        return newest.grams, newest.time
    grams = lot_spec(state, lot).grams
    return None if grams is None else (grams, None)


def balance(state: State, lot: str, now: Ms | None = None) -> float | None:
    """What is left by the record, g, below 0 where record and tin disagree; ``None`` when nobody told what was in it."""
    known = held(state, lot)
    if known is None:
        return None
    grams, since = known
    sown = state.sown.get(lot, [])
    taken = (g for time, g in sown if (since is None or time >= since) and (now is None or time <= now))
    return grams - fsum(taken)  # the same in whatever order they are held


def grams_left(state: State, lot: str, now: Ms) -> float | None:
    """The same, never below nothing: ``rules_cysts`` tells when record and tin disagree."""
    left = balance(state, lot, now)
    return None if left is None else max(left, 0.0)
