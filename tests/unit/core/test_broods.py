"""Broods: when they swim up, how many are left, what fits their mouths; the book they are written in."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core import brood_book
from monitor.core.brood_book import held
from monitor.core.broods import fits, fits_from, larvae_at, mouth_um, ration_at, swim_up
from monitor.core.food import FishSpec, StrainSpec
from monitor.core.log_food import Brood, BroodEnded, Counted, Eater
from monitor.core.model import DAY, HOUR, MINUTE, Measures, Ms, ProbeSpec, Refused
from tests.unit.core.worlds import T0, Shed, site

if TYPE_CHECKING:
    from monitor.core.food import BroodHeld
    from monitor.core.log_food import BroodEntry

GOURAMI = FishSpec(
    id="gourami",
    name="Gourami",
    ration=100.0,
    growth_per_day=0.19,
    meals=2,
    largest_um=430.0,
    largest_growth_um=12.0,
    swim_up_days=5.0,
    swim_up_c=27.0,
    swim_up_base_c=15.0,
    swim_up_log_sd=0.1,
    finer_days=7.0,
    wean_days=28.0,
)
SMALL = StrainSpec("small", length_um=428.0)
LARGE = StrainSpec("large", length_um=486.0)
UNKNOWN = StrainSpec("unknown")
TANK = ProbeSpec("fry-temp", Measures.TANK, None, 5 * MINUTE, low=-5, high=50, max_rate=5.0, tank="fry-1")


def shed() -> Shed:
    where = site(fish={"gourami": GOURAMI}, strains={one.id: one for one in (SMALL, LARGE, UNKNOWN)})
    return Shed(replace(where, probes={**where.probes, "fry-temp": TANK}))


def spawned(days_ago: float, **changes: Any) -> Brood:
    time = T0 - round(days_ago * DAY)
    values: dict[str, Any] = {"brood": "g-1", "fish": "gourami", "larvae": 200.0, "logged": T0 - 10 * MINUTE}
    return Brood(time=time, **{**values, **changes})


def tell(room: Shed, *entries: BroodEntry) -> None:
    room.engine.state.broods.entries.extend(entries)


def only(room: Shed, now: Ms = T0) -> BroodHeld:
    (one,) = held(room.engine.state, now)[0]
    return one


def middle(brood: BroodHeld, now: Ms = T0) -> float:
    span = swim_up(brood, now)
    assert span.mid is not None
    return span.mid


# -- swim-up


def test_without_a_probe_they_swim_up_as_the_table_says_within_a_wide_range() -> None:
    """The middle is the table's days after spawning; the range is wider than that of a tank whose temperature is told."""
    room = shed()
    tell(room, spawned(2))
    untold = only(room)
    assert middle(untold) == pytest.approx(T0 + 3 * DAY, abs=3 * HOUR)
    room.remember("fry-temp", 48, lambda _: 27.0)
    tell(room, spawned(2, tank="fry-1", logged=T0))
    known = only(room)
    assert middle(known) == pytest.approx(T0 + 3 * DAY, abs=3 * HOUR)
    wide, narrow = swim_up(untold, T0), swim_up(known, T0)
    assert None not in (wide.lo, wide.hi, narrow.lo, narrow.hi)
    assert wide.hi - wide.lo > narrow.hi - narrow.lo  # type: ignore[operator]


def test_a_cold_spell_that_the_tank_probe_tells_moves_swim_up_later() -> None:
    """A day at 21 C instead of 27 C is half a day's degree-hours above 15 C: they come half a day later."""
    warm, cold = shed(), shed()
    warm.remember("fry-temp", 96, lambda _: 27.0)
    cold.remember("fry-temp", 96, lambda hour: 21.0 if -84 <= hour < -60 else 27.0)
    for room in (warm, cold):
        tell(room, spawned(4, tank="fry-1"))
    assert middle(only(cold)) - middle(only(warm)) == pytest.approx(DAY / 2, abs=HOUR)


def test_a_tank_that_stays_too_cold_has_no_swim_up_in_sight() -> None:
    """Below the base nothing develops, and no instant is made up."""
    room = shed()
    room.remember("fry-temp", 72, lambda _: 11.0)
    tell(room, spawned(2, tank="fry-1"))
    assert swim_up(only(room), T0).mid is None


def test_a_probe_that_was_silent_for_days_is_not_believed() -> None:
    """What it told long ago is no temperature of now: the usual one counts, and nothing is called known."""
    room = shed()
    room.remember("fry-temp", 2, lambda _: 11.0)
    tell(room, spawned(0, tank="fry-1"))
    later = T0 + 4 * DAY
    one = only(room, later)
    assert (one.tank_known, one.tank_c) == (False, None)


def test_hours_of_which_the_probe_told_nothing_widen_the_range() -> None:
    """A probe that came two days after the spawning leaves those days in doubt."""
    whole, half = shed(), shed()
    whole.remember("fry-temp", 96, lambda _: 27.0)
    half.remember("fry-temp", 48, lambda _: 27.0)
    for room in (whole, half):
        tell(room, spawned(4, tank="fry-1"))
    assert only(whole).doubt_dh == 0
    assert only(half).doubt_dh == pytest.approx(48 * 1.5, rel=0.05)
    assert only(half).done_dh == pytest.approx(only(whole).done_dh, rel=0.01)


def test_what_was_seen_settles_it() -> None:
    """Seen to swim up, it is that instant and no range."""
    room = shed()
    tell(room, spawned(6, swam_up=T0 - DAY))
    span = swim_up(only(room), T0)
    assert (span.lo, span.mid, span.hi) == (T0 - DAY, T0 - DAY, T0 - DAY)


def test_what_is_born_swimming_swims_at_once() -> None:
    """A fish without days to swim-up swims from the instant that was told."""
    room = shed()
    tell(room, spawned(1, swim_up_days=0.0))
    assert middle(only(room)) == T0 - DAY


def test_the_tank_is_known_again_after_a_restart() -> None:
    """Degree-hours come back with the slots, and broods with the log."""
    room = shed()
    room.remember("fry-temp", 72, lambda hour: 24.0 + hour / 24)
    room.do(spawned(3, tank="fry-1"))
    assert held(room.restarted().engine.state, T0) == held(room.engine.state, T0)


def test_readings_of_a_tank_are_counted_as_they_come() -> None:
    """What the probe tells live is what swim-up is reckoned with, and no alarm of vessels looks at it."""
    room = shed()
    room.do(spawned(0, tank="fry-1", logged=T0))
    for _ in range(24):
        room.say("fry-temp", 20.0)
        room.wait(5 * MINUTE)
    one = only(room, room.now)
    assert (one.tank_known, one.tank_c) == (True, pytest.approx(20.0))
    assert one.done_dh == pytest.approx(2 * (20.0 - GOURAMI.swim_up_base_c), rel=0.05)
    assert [move.alarm.id for move in room.moves if "fry" in move.alarm.id] == []


# -- mouths and rations


def test_which_strain_fits_which_mouth_on_which_day() -> None:
    """Nothing on days of finer food, then the small strain, then the large one; a strain of unknown size is not kept back."""
    strains = (SMALL, LARGE, UNKNOWN)
    assert fits(strains, GOURAMI, 6.9) == ()
    assert fits(strains, GOURAMI, 7.0) == ("small", "unknown")
    assert fits(strains, GOURAMI, 12.0) == ("small", "large", "unknown")
    assert fits(strains, GOURAMI, 28.0) == ()
    assert fits_from(486.0, GOURAMI) == pytest.approx(7 + 56 / 12)
    assert fits_from(486.0, replace(GOURAMI, largest_growth_um=0.0)) is None
    assert fits_from(667.0, replace(GOURAMI, wean_days=14.0)) is None
    assert mouth_um(replace(GOURAMI, largest_um=None), 3.0) is None


def test_a_ration_grows_from_the_first_nauplius_to_weaning() -> None:
    """It begins after the finer food, doubles in four days at 19 % a day, and ends at weaning."""
    first, doubled = (float(ration_at(GOURAMI, day)) for day in (7.0, 7.0 + 3.985))
    assert first == 100.0
    assert doubled == pytest.approx(200, rel=0.01)
    assert [float(ration_at(GOURAMI, day)) for day in (6.99, 28.0)] == [0.0, 0.0]


# -- counts


def test_losses_go_on_as_two_counts_have_shown() -> None:
    """200, then 100 four days later: half are lost in four days, also in the coming ones; one count alone tells no loss."""
    room = shed()
    tell(room, spawned(9), Counted(time=T0 - 4 * DAY, logged=T0 - 4 * DAY, brood="g-1", larvae=200))
    assert only(room).loss_per_day == 0.0
    tell(room, Counted(time=T0, logged=T0, brood="g-1", larvae=100))
    one = only(room)
    assert (one.larvae, one.recounted) == (100, True)
    assert float(larvae_at(one, float(T0 + 4 * DAY))) == pytest.approx(50)


def test_a_recount_that_finds_more_is_taken_and_is_no_growth() -> None:
    """Larvae don't become more: the newest count stands, and nothing is lost or gained after it."""
    room = shed()
    counts = [Counted(time=T0 - k * DAY, logged=T0 - k * DAY, brood="g-1", larvae=200 - 20 * k) for k in (2, 1)]
    tell(room, spawned(9, logged=T0 - 5 * DAY), *counts)
    brood_book.check(room.engine.state, Counted(time=T0, logged=T0, brood="g-1", larvae=999))
    assert (only(room).larvae, only(room).loss_per_day) == (180, 0.0)


# -- the book


def test_own_figures_come_before_the_table() -> None:
    """What the keeper told of this brood is reckoned with; all else is the fish's."""
    room = shed()
    tell(room, spawned(1, ration=77.0, wean_days=14.0))
    assert only(room).fish == replace(GOURAMI, ration=77.0, wean_days=14.0)


def test_a_brood_told_again_takes_the_place_of_what_was_told_and_keeps_its_counts() -> None:
    """The newest telling counts, whatever was counted since stays."""
    room = shed()
    count = Counted(time=T0 - HOUR, logged=T0 - HOUR, brood="g-1", larvae=90)
    tell(room, spawned(8, logged=T0 - 2 * HOUR), count, spawned(7, larvae=500.0, logged=T0))
    assert (only(room).spawned, only(room).larvae) == (T0 - 7 * DAY, 90)


def test_the_same_entries_in_any_order_give_the_same_book() -> None:
    """A log that was corrected is folded anew: only when each entry was logged counts."""
    entries: list[BroodEntry] = [
        spawned(9, logged=T0 - 9 * DAY),
        Counted(time=T0 - 5 * DAY, logged=T0 - 5 * DAY, brood="g-1", larvae=200),
        spawned(9, ration=50.0, logged=T0 - 4 * DAY),
        Counted(time=T0 - 1 * DAY, logged=T0 - 3 * DAY, brood="g-1", larvae=150),
        Eater(time=T0, logged=T0 - 2 * DAY, eater="adults", nauplii_per_day=500),
        Eater(time=T0, logged=T0 - DAY, eater="adults", nauplii_per_day=700),
    ]
    room = shed()
    tell(room, *entries)
    expected = held(room.engine.state, T0)
    for order in permutations(entries):
        room.engine.state.broods = brood_book.refold(order)
        assert held(room.engine.state, T0) == expected


def test_ended_broods_and_eaters_of_nothing_are_held_no_more() -> None:
    """Nothing is planned for who needs nothing."""
    room = shed()
    tell(
        room,
        spawned(9),
        BroodEnded(time=T0, logged=T0, brood="g-1"),
        Eater(time=T0, logged=T0, eater="adults", nauplii_per_day=0),
    )
    assert held(room.engine.state, T0) == ((), ())


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        (Counted(time=T0, logged=T0, brood="g-9", larvae=5), "there is no brood g-9; there are: g-1"),
        (Counted(time=T0, logged=T0, brood="g-1", larvae=-1), "larvae: -1 is out of bounds; allowed is 0 to"),
        (Counted(time=T0 - 20 * DAY, logged=T0, brood="g-1", larvae=5), "before g-1 was spawned"),
        (Counted(time=T0 + HOUR, logged=T0, brood="g-1", larvae=5), "still to come"),
        (Counted(time=T0, logged=T0, brood="old", larvae=5), "brood old has already ended"),
        (spawned(3, brood="old"), "brood old has ended; give a new one another name"),
        (spawned(3, fish="gurami"), "there is no fish gurami in the table, did you mean gourami?"),
        (spawned(3, fish="axolotl"), "for one of your own say as well: ration, swim_up_days, wean_days"),
        (spawned(3, tank="fry-2"), "there is no tank fry-2; tanks whose temperature is told: fry-1"),
        (spawned(3, swam_up=T0 - 4 * DAY), "can't have swum up before they were spawned"),
        (spawned(3, meals=99), "meals: 99 is out of bounds; allowed is 1 to 24"),
        (Eater(time=T0, logged=T0, eater="g-1", nauplii_per_day=5), "g-1 is the name of a brood"),
        (Eater(time=T0, logged=T0, eater="adults", nauplii_per_day=-5), "nauplii a day: -5"),
    ],
)
def test_what_cannot_be_is_refused_in_words(entry: BroodEntry, told: str) -> None:
    """What was found and what is allowed is said, and names that there are."""
    room = shed()
    tell(room, spawned(9), spawned(30, brood="old"), BroodEnded(time=T0 - DAY, logged=T0 - DAY, brood="old"))
    with pytest.raises(Refused) as refused:
        brood_book.check(room.engine.state, entry)
    assert told in str(refused.value)


def test_a_fish_of_the_keepers_own_is_taken_with_its_figures() -> None:
    """A word that is in no table is enough once ration, swim-up and weaning are told."""
    room = shed()
    entry = spawned(3, fish="axolotl", ration=30.0, swim_up_days=18.0, wean_days=40.0)
    brood_book.check(room.engine.state, entry)
    tell(room, entry)
    assert (only(room).fish.name, only(room).fish.ration) == ("axolotl", 30.0)
