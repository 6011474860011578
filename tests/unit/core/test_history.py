"""What a series of slots tells of any stretch of time."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.history import SlotSeries

SLOTS = st.dictionaries(st.integers(1000, 1060), st.integers(-5000, 35_000), max_size=40)


@given(SLOTS, st.integers(990, 1070), st.integers(0, 40), st.none() | st.integers(990, 1070))
def test_a_stretch_is_the_same_wherever_one_begins_to_look(
    told: dict[int, int], begin: int, length: int, upto: int | None
) -> None:
    """A gap is a straight line between what is known on both sides, also from before the stretch; at both ends it is held."""
    series = SlotSeries()
    for slot, milli in told.items():
        series.put(slot, 1, milli)
    end = begin + length
    known = sorted(slot for slot in told if slot < (end if upto is None else upto))
    found = series.filled(begin, end, upto)
    if not known:
        assert np.isnan(found).all()
    else:
        whole = np.interp(np.arange(begin, end), known, [told[slot] / 1000 for slot in known])
        assert found.tolist() == whole.tolist()
    assert len(found) == length
