from __future__ import annotations

from dataclasses import replace

import numpy as np

from monitor.core.lots import Lot
from monitor.core.model import DAY
from monitor.core.supply import held_sources, per_gram
from monitor.core.supply_tins import BAD_CHANCE, BAD_KEEPS, FALLING_CHANCE, FALLING_KEEPS, keeps, likely_share
from tests.unit.core.larder import known, pantry, tin, under_way, vessel
from tests.unit.core.worlds import T0

N = 1000


def test_a_tin_that_shows_nothing_may_have_gone_bad_all_the_same() -> None:
    """In one world of a hundred it gives some part of what was learned of it, in all others all of it."""
    found = keeps(tin(), N, 7)
    assert (found < 1).sum() == N * BAD_CHANCE
    assert ((found == 1) | ((BAD_KEEPS[0] <= found) & (found <= BAD_KEEPS[1]))).all()


def test_a_falling_tin_may_fall_further() -> None:
    """In half of the worlds it gives less than was learned of it."""
    found = keeps(tin(falling=True), N, 7)
    assert (found < 1).sum() == N * FALLING_CHANCE
    assert found.min() >= FALLING_KEEPS[0]


def test_what_befell_a_tin_befell_all_its_batches() -> None:
    """Under way and planned, in whatever vessel; other tins go bad in other worlds."""
    surely = known(0.7, 1e-6)
    held = pantry(
        vessels=(vessel(), vessel("birch")),
        lots=(tin(known=surely, falling=True), tin("tin-9", known=surely, falling=True)),
        batches=(under_way("b1"),),
    )
    (batch,) = held_sources(held, N, 7)
    planned = [per_gram(held, name, "tin-8", at, N, 7)[2] for name, at in (("ash", T0), ("birch", T0 + DAY))]
    bad = keeps(held.lots[0], N, 7) < 0.6
    for gives in (batch.nauplii, *planned):
        assert np.median(gives[bad]) < 0.7 * np.median(gives[~bad])
    other = per_gram(held, "ash", "tin-9", T0, N, 7)[2]
    assert np.median(other[bad]) > 0.9 * np.median(other[~bad])


def test_the_cheapest_is_told_by_what_was_learned() -> None:
    """A tin counts with what it has taught, less what it may lose while it falls, and not with its label."""
    low = Lot.from_document(tin().known)
    low = replace(low, prior=replace(low.prior, mean=low.prior.mean - 2.0), batches=6)
    assert likely_share(tin(known=low.document())) < 0.7 < likely_share(tin())
    assert likely_share(tin(falling=True)) < likely_share(tin())
