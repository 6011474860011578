"""What a cold store holds, what may be entered about it, and how long it is good, against published figures."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.bench import bench
from monitor.core.chill import UNCERTAIN, Bag, demand_mg_h, hours_of_oxygen
from monitor.core.history import SlotSeries
from monitor.core.log import Chill, Emptied
from monitor.core.model import DAY, HOUR, SLOT, Ms, Refused, Span
from monitor.core.oxygen import saturation, surface_per_h
from monitor.core.stores import Content, hours_in_the_open, hours_kept, reckon
from tests.unit.core.cold_worlds import ColdShed, cold_site
from tests.unit.core.worlds import T0

OPEN = Content(T0, T0, 200_000, 0.5, "open", 0.0, aerated=True)
BAG = Content(T0, T0, 1_000_000, 0.5, "oxygen", 1.0, aerated=False)


def at(celsius: float, hours: float = 0.0) -> SlotSeries:
    """So warm from an hour before T0 until ``hours`` after it."""
    series = SlotSeries()
    for slot in range(T0 // SLOT - 12, (T0 + round(hours * HOUR)) // SLOT + 1):
        series.put(slot, 1, round(celsius * 1000))
    return series


def hours_of(span: Span) -> tuple[float, float, float]:
    lo, mid, hi = ((math.inf if end is None else (end - T0) / HOUR) for end in (span.lo, span.mid, span.hi))
    return lo, mid, hi


@pytest.mark.parametrize(
    ("celsius", "published"),
    [(10.0, 24.0), (4.0, 48.0), (2.0, 48.0)],
    ids=["ghent-course", "kkt1-2005", "kkt1-2005-colder"],
)
def test_published_hours(celsius: float, published: float) -> None:
    """24 h at up to 10 C under slight aeration (Ghent course), 48 h at 2-4 C with over 90 % alive (KKT1, J. Biol. Res. 2005)."""
    assert hours_kept(celsius) == published
    lo, mid, hi = hours_of(reckon(OPEN, at(celsius), T0).until)
    assert mid == pytest.approx(published, rel=1e-6)
    assert (lo, hi) == pytest.approx((published / UNCERTAIN, published * UNCERTAIN), rel=1e-6)


@given(st.floats(-2, 35), st.floats(0.1, 10))
def test_warmer_is_never_longer(celsius: float, more: float) -> None:
    """Whatever ends it, a warmer store is good for no longer than a colder one, and its range is in order."""
    for content in (OPEN, BAG, replace(OPEN, aerated=False), replace(BAG, gas="air")):
        cold, warm = (hours_of(reckon(content, at(c), T0).until) for c in (celsius, celsius + more))
        assert all(w <= c + 1e-6 for w, c in zip(warm, cold, strict=True))
        assert list(cold) == sorted(cold)


def test_a_bag_lasts_as_long_as_its_oxygen_where_that_is_least() -> None:
    """A crowded bag ends by oxygen, near its budget less what they breathe until they are cold; a roomy one by age."""
    crowded = replace(BAG, nauplii=8_000_000)
    life = reckon(crowded, at(4.0), T0)
    budget = hours_of_oxygen(Bag(8_000_000, 0.5, 1.0, "oxygen"), 4.0)
    lo, mid, hi = hours_of(life.oxygen)
    assert life.cause == "oxygen"
    assert budget - 8 < mid < budget
    assert hi == pytest.approx(budget * UNCERTAIN, rel=1e-3)
    assert lo < mid / UNCERTAIN
    assert reckon(BAG, at(4.0), T0).cause == "age"


def test_what_is_used_up_stays_used_up() -> None:
    """Half of its hours at 10 C leave half of those at 4 C, and what is past has an end that does not move."""
    warm = at(10.0, 12)
    for slot in range((T0 + 12 * HOUR) // SLOT + 1, (T0 + 13 * HOUR) // SLOT + 1):
        warm.put(slot, 1, 4000)
    _, mid, _ = hours_of(reckon(OPEN, warm, T0 + 13 * HOUR).until)
    assert mid == pytest.approx(12 + 24, abs=0.2)
    ends = {reckon(OPEN, at(10.0, hours), T0 + hours * HOUR).until.mid for hours in (30, 40, 60)}
    assert max(end or 0.0 for end in ends) - min(end or 0.0 for end in ends) < 1.0
    assert (min(end or 0.0 for end in ends) - T0) / HOUR == pytest.approx(24.0, abs=0.1)


def test_an_unknown_temperature_widens_the_range() -> None:
    """With no probe the range spans what a refrigerator can be, and its middle is no better than that of a cold one."""
    lo, mid, hi = hours_of(reckon(OPEN, SlotSeries(), T0).until)
    known = hours_of(reckon(OPEN, at(4.0), T0).until)
    assert lo < known[0]
    assert known[0] < mid < known[1]
    assert hi == pytest.approx(48.0 * UNCERTAIN, rel=1e-6)


def test_eight_million_a_litre_need_their_air() -> None:
    """Up to 8 million/L keep only under slight aeration (Ghent course): still, below 10 C, they have less than an hour."""
    dense = replace(OPEN, nauplii=4_000_000)
    assert reckon(dense, at(10.0), T0).oxygen == Span(None, None, None)
    for factor in (UNCERTAIN, 1.0, 1 / UNCERTAIN):
        assert hours_in_the_open(dense, 10.0, factor) < 1.0
    few = replace(OPEN, nauplii=1000)
    assert hours_in_the_open(few, 4.0, UNCERTAIN) == math.inf
    assert hours_in_the_open(dense, 10.0, 1.0, after_air=True) < hours_in_the_open(dense, 10.0, 1.0)


def test_the_still_surface_agrees_with_its_own_law() -> None:
    """The hours solve dC/dt = k (Cs - C) - D from saturation to 2 mg/L, worked out here in small steps."""
    content = replace(OPEN, nauplii=400_000)
    full, use, through = float(saturation(6.0, 25.0)), demand_mg_h(400_000, 6.0) / 0.5, surface_per_h(0.5)
    oxygen, hours, step = full, 0.0, 1e-4
    while oxygen > 2.0:
        oxygen += (through * (full - oxygen) - use) * step
        hours += step
    assert hours_in_the_open(content, 6.0, 1.0) == pytest.approx(hours, rel=1e-2)


# -- entries


def held(shed: ColdShed) -> Content:
    assert shed.store.content is not None
    return shed.store.content


def test_what_is_added_is_mixed_and_as_old_as_its_oldest() -> None:
    """A second harvest poured into an open store adds up, and the mixture is as old as its oldest part."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    first = shed.now
    shed.keep(10 * HOUR, every=30 * 60_000)
    shed.chill(nauplii=50_000, litres=0.25)
    assert held(shed) == Content(first, shed.now, 250_000, 0.75, "open", 0.0, aerated=True)


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"store": "shelf"}, "there is no store shelf; known are: fridge"),
        ({"nauplii": 0}, "nauplii is 0; allowed is more than 0"),
        ({"nauplii": math.nan}, "nauplii is nan"),
        ({"nauplii": 2e9}, "at most 1e+09"),
        ({"litres": 0}, "litres is 0"),
        ({"gas_l": 1.0}, "say what it is closed over"),
        ({"gas": "oxygen"}, "how many litres of oxygen"),
        ({"gas": "air", "gas_l": -1.0}, "allowed is 0 to 1000 L"),
        ({"gas": "air", "gas_l": 1.0, "aerated": True}, "cannot be aerated"),
        ({"batch": "b9"}, "there is no batch b9"),
        ({"time": T0 - 13 * DAY}, "more than 12 days ago"),
    ],
)
def test_what_cannot_be_is_refused(entry: dict[str, Any], told: str) -> None:
    """An entry that makes no sense is told so, and the store is as it was."""
    shed = ColdShed.of()
    good = Chill(shed.now, shed.now, "fridge", 200_000, 0.5)
    with pytest.raises(Refused, match=told.replace("+", r"\+")):
        shed.do(replace(good, **entry))
    assert shed.store.content is None
    assert shed.moves == []


def test_a_closed_bag_is_not_mixed() -> None:
    """Nothing is poured into a closed bag, nor a bag on what is there: the keeper is told to empty it first."""
    shed = ColdShed.of(gas="oxygen", gas_l=1.0)
    before = held(shed)
    with pytest.raises(Refused, match=r"fridge holds a closed bag or bottle.*note that it is empty first"):
        shed.chill()
    assert held(shed) == before
    shed.empty()
    shed.chill()
    with pytest.raises(Refused, match="fridge holds an open vessel"):
        shed.chill(gas="oxygen", gas_l=1.0)


def test_only_what_is_there_is_used_up() -> None:
    """An empty store cannot be emptied, nor one before it was filled."""
    shed = ColdShed.of()
    with pytest.raises(Refused, match="fridge holds nothing"):
        shed.empty()
    shed.chill()
    with pytest.raises(Refused, match="before the last nauplii went into fridge"):
        shed.do(Emptied(shed.now - HOUR, shed.now, "fridge"))
    shed.empty()
    assert shed.store.content is None


def test_without_stores_there_is_nothing_to_enter() -> None:
    """A keeper who configured none is told how to."""
    shed = ColdShed(cold_site(probes=False))
    shed.engine.state.cold_stores.clear()
    with pytest.raises(Refused, match=r"known are: none; add one to the configuration as \[\[cold_store\]\]"):
        shed.empty()


def test_a_store_survives_a_restart() -> None:
    """Content, history and life are the same for an engine that knows only what was kept."""
    shed = ColdShed.of(nauplii=500_000, litres=0.5)
    shed.keep(5 * HOUR, lambda hours: 4 + hours)
    shed.chill(nauplii=1000, litres=0.1)
    fresh = shed.restarted().engine.state.cold_stores["fridge"]
    assert fresh.content == held(shed)
    assert fresh.life(shed.now) == shed.store.life(shed.now)
    shed.empty()
    assert shed.restarted().engine.state.cold_stores["fridge"].content is None


def test_a_store_that_is_no_longer_configured_is_let_go() -> None:
    """Entries of a store that is gone from the configuration are no trouble at a restart."""
    shed = ColdShed.of(nauplii=500_000, litres=0.5)
    where = cold_site(probes=False)
    where.cold_stores.clear()
    assert shed.restarted(where).engine.state.cold_stores == {}


def test_the_bench_tells_of_the_store() -> None:
    """Content, temperature, air and the end with its range, each with its unit, time, age and quality."""
    shed = ColdShed.of(nauplii=200_000, litres=0.5)
    begun: Ms = shed.now
    shed.keep(2 * HOUR)
    (fridge,) = bench(shed.engine, {}, shed.now)["stores"]
    assert fridge["id"] == "fridge"
    assert (fridge["warm_above"], fridge["cold_below"]) == (10.0, 1.0)
    assert fridge["temperature"] == {
        "value": 4.0,
        "unit": "Cel",
        "time": "2026-03-02T09:59:00Z",
        "age_s": 60,
        "quality": "ok",
        "fresh": True,
        "probe": "cold",
    }
    assert fridge["air"]["value"] == "running"
    assert fridge["content"] == {
        "nauplii": 200_000,
        "litres": 0.5,
        "gas": "open",
        "gas_l": 0.0,
        "aerated": True,
        "since": "2026-03-02T08:00:00Z",
        "age_s": (shed.now - begun) // 1000,
        "batches": [],
        "good_until": {
            "lo": "2026-03-03T16:00:00Z",
            "mid": "2026-03-04T08:00:00Z",
            "hi": "2026-03-05T08:00:00Z",
        },
        "ends_by": "age",
        "why": "kept longer at this temperature more and more of them die",
        "oxygen_until": {"lo": None, "mid": None, "hi": None},
    }
    shed.empty()
    (fridge,) = bench(shed.engine, {}, shed.now)["stores"]
    assert fridge["content"] is None
