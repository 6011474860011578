"""A pantry as JSON and back."""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from monitor.core.food import BatchHeld, FoodAhead, HarvestHeld, InHand, MealOutlook, Outlook
from monitor.core.model import Span
from monitor.core.pantry_codec import NotReadable, ahead_from_json, ahead_to_json, from_json, to_json
from tests.unit.planner.rooms import NOW, PLAN, room

BATCH = BatchHeld(
    id="b1", vessel="ash", lot="tin", start=NOW, cysts_g=2.0, ready=(1.5, inf), share=(0.1, 1 / 3), best_h=6.0
)


def test_a_pantry_comes_back_as_it_was() -> None:
    """All that a pantry holds, also what never comes and the plan before, is the same after the way through JSON."""
    harvest = HarvestHeld(batch="b0", lot="tin", time=NOW, nauplii=1e5, best_h=6.0)
    pantry = replace(room(3, 4, 3), batches=(BATCH,), harvests=(harvest,), last=PLAN)
    assert from_json(to_json(pantry)) == pantry


def test_what_lies_ahead_comes_back_as_it_was() -> None:
    """So does a plan with its outlooks."""
    span = Span(1.0, None, 3.0)
    meal = MealOutlook(time=NOW, eater="killi", need=span, got=span, short=0.1, why="")
    seen = Outlook(time=NOW, until=NOW + 5, meals=(meal,), in_hand=(InHand(NOW, span, span),))
    ahead = FoodAhead(time=NOW, bare=seen, outlook=seen, plan=PLAN, trouble="none", extra={"a": [1, None]})
    assert ahead_from_json(ahead_to_json(ahead)) == ahead


def test_numbers_of_arrays_are_numbers() -> None:
    """What was reckoned with arrays is written as any number."""
    pantry = replace(
        room(), now=np.int64(NOW).item(), salinity_g_l=np.float64(30.5), feeding_times=tuple(np.arange(60, 61))
    )
    assert from_json(to_json(pantry)).feeding_times == (60,)


@pytest.mark.parametrize(
    "text",
    [b"", b"[]", b"{}", b"\xff", b'{"now": 1}', b'{"now": "1", "timezone": "UTC", "feeding_times": []}', b"[" * 5000],
)
def test_anything_else_is_refused(text: bytes) -> None:
    """What is no pantry raises one kind of error, whatever it is."""
    with pytest.raises(NotReadable):
        from_json(text)


def test_an_unknown_field_is_refused() -> None:
    """A field that this version does not know is not silently left out."""
    text = to_json(room()).replace(b'"now"', b'"soon": 1, "now"', 1)
    with pytest.raises(NotReadable, match="soon"):
        from_json(text)
