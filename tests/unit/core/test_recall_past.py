"""A long history is taken back at once, as if slot by slot."""

from __future__ import annotations

from random import Random

import pytest

from monitor.core.engine import Engine
from monitor.core.model import DAY, SLOT, Air, Ms, SlotClosed
from tests.unit.core.worlds import T0, site

LENGTH = 12 * DAY // SLOT  # as long as is kept


def history(seed: int, name: str) -> list[tuple[Ms, int, int]]:
    """Slots with gaps; of air some in which it was weak or stopped."""
    dice, told = Random(seed), []  # noqa: S311  (chance, not secrecy)
    for slot in range(T0 // SLOT - LENGTH, T0 // SLOT):
        if dice.random() < 0.9:
            values = [1000 if dice.random() < 0.99 else dice.choice((0, Air.WEAK.milli)) for _ in range(5)]
            milli = values if name.endswith("air") else [dice.randrange(20_000, 26_000) for _ in range(5)]
            told.append((slot * SLOT, 5, sum(milli)))
    return told


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("name", ["ash-water", "ash-air"])
def test_a_history_at_once_is_a_history_slot_by_slot(seed: int, name: str) -> None:
    """Series, newest value, air and the hours behind it are the same, whichever way they were taken back."""
    at_once, one_by_one = Engine(site(), T0), Engine(site(), T0)
    told = history(seed, name)
    at_once.recall_past(name, told)
    for slot, count, total in told:
        one_by_one.recall_slot(SlotClosed(name, slot, count, total))
    ours, theirs = at_once.state.probes[name], one_by_one.state.probes[name]
    assert ours.newest is not None
    assert ours.newest == theirs.newest
    assert (ours.air_state, ours.air_since, ours.air_seen, ours.seen_weak) == (
        theirs.air_state,
        theirs.air_since,
        theirs.air_seen,
        theirs.seen_weak,
    )
    assert ours.trail.spread(0) == theirs.trail.spread(0)
    assert ours.trail.hours_told(0) == theirs.trail.hours_told(0)
    vessels = [engine.state.vessels["ash"] for engine in (at_once, one_by_one)]
    for mine, its in ((vessels[0].water, vessels[1].water), (vessels[0].air, vessels[1].air)):
        assert (mine.first, mine.last) == (its.first, its.last)
        for slot in range(T0 // SLOT - LENGTH, T0 // SLOT):
            assert mine.cell(slot) == its.cell(slot)
