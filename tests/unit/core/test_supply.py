"""What there will be to feed from: times as the forecast has them, and one course of the world in each row."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from monitor.core import supply
from monitor.core.eta import Belief, quantiles
from monitor.core.food import HarvestHeld
from monitor.core.history import SlotSeries
from monitor.core.lots import Lot
from monitor.core.model import DAY, HOUR, MINUTE, SLOT, Ms
from monitor.core.supply import failure_chance, held_sources, per_gram, planned_source, planned_sources
from monitor.core.supply_draws import normals, spread
from monitor.core.supply_times import keeper_from
from monitor.core.supply_tins import BAD_CHANCE
from tests.unit.core.larder import ALWAYS, fridge, known, pantry, tin, under_way, vessel
from tests.unit.core.worlds import T0, start

if TYPE_CHECKING:
    from monitor.core.food import Costs, Pantry
    from monitor.core.hatch import Array

N = 400
SURE = known(0.7)


def hours(times: Array) -> Array:
    return (times - T0) / HOUR


def fed(held: Pantry, at: Ms = T0, name: str = "ash", lot: str = "tin-8") -> tuple[Array, Array, Array]:
    return per_gram(held, name, lot, at, N, 7)


def utc(text: str) -> Ms:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


# -- as the forecast of a batch has it


@pytest.mark.parametrize("water_c", [21.0, 25.0, 27.0])
@pytest.mark.parametrize("lot", [tin(), tin(known=known(0.7, 0.3))], ids=["new", "learned"])
def test_a_batch_that_is_planned_for_now_is_forecast_like_one_just_started(water_c: float, lot: Any) -> None:
    """Its median and the width of its range are within 2 % of those that the batch itself would be told to have."""
    water = SlotSeries()
    for k in range(4 * 288):
        water.add(T0 - 4 * DAY + k * SLOT, round(1000 * (water_c + 1.5 * np.sin(2 * np.pi * k / 288))))
    belief = Belief(start(T0, lot="tin-8"), Lot.from_document(lot.known).before_next(), water, None)
    told = belief.estimate(T0, water_c, T0, "running")
    assert belief.future is not None
    mean, sd = belief.future.at(T0 + HOUR * np.arange(337.0))
    place = replace(vessel(), water_c=tuple(mean), water_sd_c=tuple(sd))
    since, _, _ = per_gram(pantry(vessels=(place,), lots=(lot,)), "ash", "tin-8", T0, 4000, 3)
    found = quantiles(since - 30 * MINUTE, np.full(4000, 1 / 4000))
    assert None not in (told.ready.lo, told.ready.mid, told.ready.hi, found.lo, found.mid, found.hi)
    assert (found.mid or 0) - T0 == pytest.approx((told.ready.mid or 0) - T0, rel=0.02)
    assert (found.hi or 0) - (found.lo or 0) == pytest.approx((told.ready.hi or 0) - (told.ready.lo or 0), rel=0.02)


def test_colder_water_is_later_and_not_fewer() -> None:
    """A colder vessel gives as many, but later."""
    warm, cold = (fed(pantry(vessels=(vessel(water_c=c),))) for c in (26.0, 20.0))
    assert (cold[0] > warm[0] + 4 * HOUR).all()
    assert cold[2] == pytest.approx(warm[2])


def test_a_cold_spell_on_the_way_makes_later() -> None:
    """What counts is the water of the hours in which the batch stands: a cold spell moves the starts before it, not after."""
    spell = tuple(18.0 if 10 <= k < 20 else 25.0 for k in range(337))
    plain, cold = (pantry(vessels=(one,)) for one in (vessel(), replace(vessel(), water_c=spell)))
    assert (fed(cold)[0] > fed(plain)[0] + 2 * HOUR).all()
    assert fed(cold, T0 + 30 * HOUR)[0] == pytest.approx(fed(plain, T0 + 30 * HOUR)[0])


def test_water_too_cold_to_hatch_never_gives_anything() -> None:
    """In water in which nothing develops the batch never comes, rather than at some late time."""
    assert np.isinf(fed(pantry(vessels=(vessel(water_c=4.0, sd_c=0.1),)))[0]).all()


def test_a_tin_that_hatches_half_as_well_gives_half() -> None:
    """Nauplii of a gram follow the share that hatches, the cysts of a gram, and what is lost in rinsing."""
    good, poor = (fed(pantry(lots=(tin(known=known(share, 0.001)),)))[2] for share in (0.8, 0.4))
    assert float(np.median(good)) == pytest.approx(250_000 * 0.8 * 0.9, rel=0.01)
    assert float(np.median(poor)) == pytest.approx(250_000 * 0.4 * 0.9, rel=0.01)
    fine = fed(pantry(lots=(tin(known=known(0.8, 0.001), cysts_per_g=300_000.0),)))[2]
    assert fine == pytest.approx(good * 1.2)


def test_a_falling_tin_is_taken_as_its_last_batches_were() -> None:
    """What is reckoned with is what the tin has taught, not its label."""
    lot = Lot.from_document(tin().known)
    assert float(np.median(fed(pantry())[2])) == pytest.approx(250_000 * 0.8 * 0.9, rel=0.03)
    low = replace(lot, prior=replace(lot.prior, mean=lot.prior.mean - 2.0), batches=6)
    assert float(np.median(fed(pantry(lots=(tin(known=low.document(), falling=True),)))[2])) < 250_000 * 0.7 * 0.9


# -- the keeper, and how long it keeps


def test_what_is_ready_at_night_is_harvested_when_the_keeper_comes() -> None:
    """Ready at night is harvested at seven, in the local time, and can be fed half an hour later."""
    costs = replace(ALWAYS, there_from=7 * 60, there_until=22 * 60)
    held = pantry(costs=costs, batches=(under_way("b1", ready_h=(23 - 8)), under_way("b2", ready_h=6)))
    first, second = held_sources(held, N, 7)[-2:]
    assert set(hours(first.since)) == {24 - 1 + 0.5}  # T0 is 08:00 in Berlin
    assert set(hours(second.since)) == {6.5}


@pytest.mark.parametrize(
    ("now", "ready", "harvest"),
    [
        ("2026-03-28T12:00", "2026-03-28T23:00", "2026-03-29T05:00"),  # the night in which an hour is missing
        ("2026-10-24T12:00", "2026-10-24T22:00", "2026-10-25T06:00"),  # the night in which one comes twice
        ("2026-03-28T12:00", "2026-03-29T06:30", "2026-03-29T06:30"),
        ("2026-03-28T12:00", "2026-03-29T20:00", "2026-03-30T05:00"),  # he leaves at 22:00, summer time
    ],
)
def test_nights_in_which_the_clock_is_set(now: str, ready: str, harvest: str) -> None:
    """Seven in the morning is seven by the clock on the wall, on the days as well on which it is set."""
    costs = replace(ALWAYS, there_from=7 * 60, there_until=22 * 60)
    held = pantry(now=utc(now), costs=costs)
    assert keeper_from(held, np.array([float(utc(ready))])).tolist() == [utc(harvest)]


@pytest.mark.parametrize(
    ("costs", "at", "harvest"),
    [
        (replace(ALWAYS, there_from=18 * 60, there_until=60), 15.5, 15.5),  # 23:30, and he is there until one
        (replace(ALWAYS, there_from=18 * 60, there_until=60), 17.5, 34.0),  # 01:30, until 18:00
        (replace(ALWAYS, there_from=0, there_until=0), 17.5, 17.5),
        (ALWAYS, -5.0, 0.0),  # what is ready already is harvested now
        (ALWAYS, np.inf, np.inf),
    ],
)
def test_hours_of_a_keeper(costs: Costs, at: float, harvest: float) -> None:
    """Hours may go past midnight, and from midnight to midnight is always; nothing is harvested before now."""
    found = keeper_from(
        pantry(costs=costs, now=T0 - 8 * HOUR if costs.there_until == 60 else T0), np.array([T0 + at * HOUR])
    )
    assert hours(found).tolist() == [harvest]


def test_chilled_ones_keep_as_long_as_the_store_says() -> None:
    """From the harvest they keep for the store's hours, soonest in one course of ten and latest in one of ten."""
    since, until, _ = fed(pantry(stores=(fridge(keeps_h=(30.0, 40.0, 50.0)),)))
    low, middle, high = np.quantile((until - since) / HOUR + 0.5, (0.1, 0.5, 0.9))
    assert (low, middle, high) == pytest.approx((30, 40, 50), rel=0.01)


def test_without_a_store_they_are_fed_within_their_best() -> None:
    """Where nothing is chilled, the hours at their best are all there is."""
    held = pantry(cooled=False, stores=(), batches=(under_way("b1", ready_h=10.0),))
    (batch,) = held_sources(held, N, 7)
    assert set(hours(batch.until)) == {16.0}
    since, until, _ = fed(held)
    assert ((until - since) / HOUR < 9).all()


def test_what_was_left_in_the_vessel_for_days_gives_nothing() -> None:
    """Hours that a batch waits beyond its best are lost to its store life, until nothing is left of it."""
    held = pantry(batches=(under_way("b1", ready_h=-10.0), under_way("b2", ready_h=-120.0)))
    first, second = held_sources(held, N, 7)
    assert np.median((first.until - first.since) / HOUR) == pytest.approx(40 - 4 - 0.5, rel=0.02)
    assert (second.until <= second.since).all()


def test_a_store_ends_when_it_is_said_to() -> None:
    """What is in a store can be fed at once, until the end that is known of it; an empty one is no source."""
    until = (T0 + 10 * HOUR, T0 + 20 * HOUR, T0 + 30 * HOUR)
    (store,) = held_sources(pantry(stores=(fridge(5000.0, until=until), fridge(0.0, id="shed"))), N, 7)
    assert (store.kind, store.name, store.lot) == ("store", "fridge", "tin-8")
    assert set(store.nauplii) == {5000.0}
    assert set(hours(store.since)) == {0.0}
    assert np.quantile(hours(store.until), (0.1, 0.5, 0.9)) == pytest.approx((10, 20, 30), rel=0.02)


@pytest.mark.parametrize(
    ("until", "least", "most"),
    [
        ((None, None, None), 20, 70),
        ((1.0, None, None), np.inf, np.inf),
        ((-9.0, -1.0, 5.0), 0, 0),
        ((-1.0, 4.0, None), 0, 30),
    ],
)
def test_a_store_of_which_little_is_known(until: tuple[float | None, ...], least: float, most: float) -> None:
    """Unknown ends fall back on what keeps in such a store, one that never comes never ends it, and a past one has."""
    ends: Any = tuple(None if one is None else T0 + one * HOUR for one in until)
    (store,) = held_sources(pantry(stores=(fridge(5000.0, until=ends),)), N, 7)
    assert least <= hours(store.until).min() <= hours(store.until).max() <= most


def test_a_mixture_is_as_long_as_its_longest() -> None:
    """Small mouths are safe only from what is small throughout."""
    lots = (tin(length_um=430.0), tin("tin-9", length_um=490.0))
    (store,) = held_sources(pantry(lots=lots, stores=(fridge(5000.0, lots=("tin-8", "tin-9")),)), N, 7)
    assert (store.length_um, store.lot) == (490.0, "")


def test_a_harvest_in_hand_goes_into_the_store() -> None:
    """What was harvested just now will be chilled; what stands about for hours will not."""
    values: dict[str, Any] = {"batch": "b1", "lot": "tin-8", "nauplii": 9000.0, "best_h": 6.0}
    just, old = HarvestHeld(time=T0 - 10 * MINUTE, **values), HarvestHeld(time=T0 - 3 * HOUR, **values)
    found = held_sources(pantry(harvests=(just, old)), N, 7)
    assert np.median(hours(found[0].until)) == pytest.approx(40, rel=0.02)
    assert set(hours(found[1].until)) == {3.0}
    assert set((found[0].since - just.time) / MINUTE) == {30}


# -- chance


def test_a_batch_fails_as_often_as_the_record_says() -> None:
    """About one in twenty when nothing is known (common practice, no source), else by the record."""
    assert failure_chance(pantry(failed=(0, 0))) == pytest.approx(0.05)
    assert failure_chance(pantry(failed=(8, 30))) == pytest.approx(8.5 / 40)
    held = pantry(failed=(0, 0), batches=(under_way("b1"),))
    assert np.isinf(held_sources(held, N, 7)[0].since).mean() == pytest.approx(0.05, abs=0.003)
    assert np.isinf(fed(held)[0]).mean() == pytest.approx(0.05, abs=0.003)


def test_batches_fail_each_by_itself() -> None:
    """That one fails says nothing of another, in another vessel or on another day."""
    held = pantry(failed=(10, 40), vessels=(vessel(), vessel("birch")))
    names = [("ash", T0), ("birch", T0), ("ash", T0 + DAY), ("ash", T0 + 2 * DAY)]
    failed = np.array([np.isinf(per_gram(held, name, "tin-8", at, 2000, 7)[0]) for name, at in names])
    together = np.corrcoef(failed)[np.triu_indices(len(names), 1)]
    assert (np.abs(together) < 0.1).all()


def test_a_bad_tin_is_bad_for_all_its_batches() -> None:
    """What a tin gives leans on the tin, in whatever vessel and on whatever day, and not on another tin."""
    held = pantry(vessels=(vessel(), vessel("birch")), lots=(tin(), tin("tin-9")))
    one, other, another = (
        per_gram(held, name, lot, at, 2000, 7)[2]
        for name, lot, at in [("ash", "tin-8", T0), ("birch", "tin-8", T0 + DAY), ("birch", "tin-9", T0 + DAY)]
    )
    assert np.corrcoef(one, other)[0, 1] > 0.5
    assert abs(np.corrcoef(one, another)[0, 1]) < 0.1


def test_a_batch_under_way_is_as_good_as_its_tin_in_each_course_of_the_world(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Samples of a batch keep their pairs and each its weight, and the better ones stand where the tin is better."""
    monkeypatch.setattr(supply, "keeps", lambda _lot, scenarios, _seed: np.ones(scenarios))
    shares = np.linspace(0.3, 0.9, 200)
    batch = replace(under_way("b1"), share=tuple(shares), ready=tuple(T0 + (40 - 20 * shares) * HOUR))
    held = pantry(batches=(batch,))
    (found,) = held_sources(held, N, 7)
    got = found.nauplii / (250_000 * 0.9)
    assert np.sort(got) == pytest.approx(np.repeat(shares, 2))
    assert hours(found.since) == pytest.approx(40 - 20 * got + 0.5)
    assert np.corrcoef(got, fed(held)[2])[0, 1] > 0.5


def test_weather_is_the_same_for_all_vessels() -> None:
    """Where the water of one vessel turns out colder than foreseen, so does that of the other."""
    held = pantry(
        vessels=(vessel(sd_c=3.0), vessel("birch", sd_c=3.0)), lots=(tin(known=SURE), tin("tin-9", known=SURE))
    )
    one, other = (per_gram(held, name, lot, T0, 2000, 7)[0] for name, lot in [("ash", "tin-8"), ("birch", "tin-9")])
    assert np.corrcoef(one, other)[0, 1] > 0.7


def test_the_same_question_has_the_same_answer() -> None:
    """It depends on the seed and on what is asked, not on what was asked before or is there beside."""
    alone = fed(pantry())
    held = pantry(vessels=(vessel("birch"), vessel()), lots=(tin("tin-9"), tin()))
    per_gram(held, "birch", "tin-9", T0 + DAY, N, 7)
    for one, other in zip(alone, fed(held), strict=True):
        assert (one == other).all()
    assert (fed(pantry())[0] != per_gram(pantry(), "ash", "tin-8", T0, N, 8)[0]).any()


def test_grams_scale_what_is_planned() -> None:
    """A planned batch gives its grams times what each gives, at the same times."""
    held = pantry()
    since, until, each = fed(held)
    one = planned_source(held, "ash", "tin-8", 2.5, T0, N, 7)
    assert (one.since == since).all()
    assert (one.until == until).all()
    assert one.nauplii == pytest.approx(2.5 * each)
    many = planned_sources(held, [("ash", "tin-8", 2.5, T0), ("ash", "tin-8", 5.0, T0)], N, 7)
    assert many[1].nauplii == pytest.approx(2 * many[0].nauplii)
    assert many[0].kind == "planned"


@pytest.mark.parametrize(("name", "lot"), [("elm", "tin-8"), ("ash", "tin-0")])
def test_an_unknown_vessel_or_tin_is_said(name: str, lot: str) -> None:
    """Nothing can be planned with what is not there."""
    with pytest.raises(KeyError):
        per_gram(pantry(), name, lot, T0, N, 7)


def test_a_batch_of_a_tin_that_is_gone_still_counts() -> None:
    """Cysts of a tin that nobody knows any more are taken as usual ones, which may have gone bad as others."""
    (found,) = held_sources(pantry(lots=(), batches=(under_way("b1"),)), N, 7)
    assert found.nauplii.max() == pytest.approx(250_000 * 0.9 * 0.7)
    assert float((found.nauplii == found.nauplii.max()).mean()) == pytest.approx(1 - BAD_CHANCE, abs=0.003)
    assert found.length_um is None


def test_draws_are_even() -> None:
    """Each level of a draw comes once, so that few courses of the world tell as much as many."""
    drawn = normals(1, "x", 100, 2)
    assert np.sort(drawn[0]) == pytest.approx(np.sort(drawn[1]))
    assert float(drawn.mean()) == pytest.approx(0, abs=1e-9)
    assert (spread(1.0, 1.0, 1.0, drawn[0]) == 1.0).all()
