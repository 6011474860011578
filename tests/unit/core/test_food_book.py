"""The books of tins, stores and feedings: mass never appears from nowhere, and nothing is ever below nothing."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.bench import bench
from monitor.core.food import StrainSpec
from monitor.core.in_hand import BEST_H, harvests_in_hand
from monitor.core.log import Chill, Discard, Emptied, Harvest, Start
from monitor.core.log_food import Drawn, Fed, Tin, Weighed
from monitor.core.model import DAY, HOUR, MINUTE, LotSpec, Refused
from monitor.core.rules import can_ring
from monitor.core.store_book import Content, fold, in_time
from monitor.core.tins_held import balance, cysts_per_g, grams_left, length_um, lot_spec, opened, price_per_g
from tests.unit.core.cold_worlds import cold_site
from tests.unit.core.worlds import T0, Shed

if TYPE_CHECKING:
    from monitor.core.log import LogEntry
    from monitor.core.model import Ms

LOTS = {"tin-7": LotSpec("tin-7", "gsl", 85.0, grams=50.0)}


def shed_with(**changes: Any) -> Shed:
    return Shed(replace(cold_site(probes=False, lots=dict(LOTS)), **changes))


def nauplii(shed: Shed) -> float:
    content = shed.engine.state.cold_stores["fridge"].content
    return 0.0 if content is None else content.nauplii


# -- whatever is written down

MOVES = st.lists(
    st.tuples(
        st.sampled_from(["chill", "chill", "fed", "fed", "drawn", "emptied", "start", "weighed", "tin"]),
        st.floats(1.0, 300_000.0),
        st.integers(0, 90),
    ),
    min_size=1,
    max_size=20,
)


def made(kind: str, amount: float, time: Ms, logged: Ms) -> LogEntry:
    grams = 0.01 + amount / 10_000
    entries: dict[str, LogEntry] = {
        "chill": Chill(time, logged, "fridge", amount, 0.5),
        "fed": Fed(time, logged, "", amount, store="fridge"),
        "drawn": Drawn(time, logged, "fridge", amount),
        "emptied": Emptied(time, logged, "fridge"),
        "start": Start(time, logged, f"b-{logged}", "ash", "tin-7", grams, 1.0, 25.0),
        "weighed": Weighed(time, logged, "tin-7", grams),
        "tin": Tin(time, logged, "tin-7", grams=grams),
    }
    return entries[kind]


@given(MOVES)
@settings(max_examples=60, deadline=None)
def test_mass_never_appears_from_nowhere(moves: list[tuple[str, float, int]]) -> None:
    """What was fed, drawn, thrown away and is left of a store is what went in; a tin never holds more than was told of it."""
    shed = shed_with()
    taken: list[LogEntry] = []
    for kind, amount, late in moves:
        shed.now += 30 * MINUTE
        entry = made(kind, amount, shed.now - late * MINUTE, shed.now)
        try:
            shed.do(entry)
        except Refused:
            continue
        taken.append(entry)
        if isinstance(entry, Start):
            shed.do(Discard(shed.now, shed.now, entry.batch))
    state = shed.engine.state
    put = sum(one.nauplii for one in taken if isinstance(one, Chill))
    out = sum(one.nauplii for one in taken if isinstance(one, Fed | Drawn))
    assert out <= put + 0.5 * len(taken)
    lost, content = 0.0, None
    for entry in in_time([one for one in taken if isinstance(one, Chill | Fed | Drawn | Emptied)]):
        lost += content.nauplii if isinstance(entry, Emptied) and content is not None else 0.0
        content = fold(one for one in in_time(state.cold_stores["fridge"].entries) if one.time <= entry.time)
        assert content is None or content.nauplii > 0
    if len({one.time for one in taken}) == len(taken):
        assert out + lost + nauplii(shed) == pytest.approx(put, abs=0.5 * len(taken))
    told = [50.0, *(one.grams or 0.0 for one in taken if isinstance(one, Tin | Weighed))]
    left, by_record = grams_left(state, "tin-7", shed.now), balance(state, "tin-7", shed.now)
    assert left is not None
    assert by_record is not None
    assert 0 <= left <= max(told)
    assert left == max(by_record, 0.0)


@given(MOVES, st.randoms(use_true_random=False))
@settings(max_examples=40, deadline=None)
def test_when_it_was_written_down_does_not_matter(moves: list[tuple[str, float, int]], chance: Any) -> None:
    """The same deeds written down in another order, all later, give the same store and the same grams."""
    deeds: list[LogEntry] = []
    shed = shed_with()
    for kind, amount, _ in moves:
        shed.now += 30 * MINUTE
        entry = made(kind, amount, shed.now, shed.now)
        if isinstance(entry, Tin | Start) and any(isinstance(one, type(entry)) for one in deeds):
            continue
        try:
            shed.do(entry)
        except Refused:
            continue
        deeds.append(entry)
    late = list(deeds)
    chance.shuffle(late)
    logged = [replace(one, logged=shed.now + number) for number, one in enumerate(late)]
    other = shed_with()
    other.now = shed.now
    other.engine.recall_log(logged)
    one, two = shed.engine.state, other.engine.state
    assert one.cold_stores["fridge"].content == two.cold_stores["fridge"].content
    assert balance(one, "tin-7") == balance(two, "tin-7")


# -- tins


def test_a_tin_that_only_the_log_knows_is_as_good() -> None:
    """What is told of a tin goes before the configuration, and what it leaves out stays as configured."""
    shed = shed_with(strains={"sfb": StrainSpec("sfb", 440.0, 300_000.0)})
    told = Tin(shed.now, shed.now, "tin-9", "sfb", 90.0, 40.0, 20.0, opened=shed.now - DAY, kept="cool")
    shed.do(told)
    shed.do(Tin(shed.now, shed.now, "tin-7", price=10.0, length_um=470.0))
    state = shed.engine.state
    assert lot_spec(state, "tin-9") == LotSpec("tin-9", "sfb", 90.0, grams=40.0)
    assert (price_per_g(state, "tin-9"), price_per_g(state, "tin-7")) == (0.5, 0.2)
    assert (cysts_per_g(state, "tin-9"), cysts_per_g(state, "tin-7")) == (300_000.0, 250_000.0)
    assert (length_um(state, "tin-9"), length_um(state, "tin-7")) == (440.0, 470.0)
    assert opened(state, "tin-9") == shed.now - DAY
    assert lot_spec(state, "tin-7") == LOTS["tin-7"]
    assert "cysts-low:tin-9" in can_ring(state)
    fresh = shed.restarted().engine.state
    assert lot_spec(fresh, "tin-9") == lot_spec(state, "tin-9")


def test_a_label_that_is_told_counts_for_the_first_batch() -> None:
    """A tin that was told with its label begins from it, not from what is usual."""
    shed = shed_with()
    shed.do(Tin(shed.now, shed.now, "poor", label_hatch_percent=40.0))
    assert shed.engine.lot("poor").hatch_share < shed.engine.lot("tin-7").hatch_share - 0.2


def test_weighing_begins_anew() -> None:
    """What was started after a weighing counts, what was started before does not; a tin bought later holds what was told then."""
    shed = shed_with()

    def start(grams: float) -> None:
        name = f"b-{shed.now}"
        shed.do(Start(shed.now, shed.now, name, "ash", "tin-7", grams, 1.0, 25.0))
        shed.do(Discard(shed.now, shed.now, name))
        shed.now += HOUR

    def left() -> float | None:
        return grams_left(shed.engine.state, "tin-7", shed.now)

    start(3.0)
    assert left() == 47.0
    shed.do(Weighed(shed.now, shed.now, "tin-7", 40.0))
    shed.now += HOUR
    start(2.0)
    assert left() == 38.0
    start(38.5)
    assert left() == 0.0
    alarm = next(one for one in shed.engine.alarms() if one.id == "cysts-low:tin-7")
    assert alarm.title == "Record and tin-7 disagree"
    assert "40.5 g were started from tin-7 since that was told, but it held 40 g" in alarm.text
    shed.do(Tin(shed.now, shed.now, "tin-7", grams=100.0))
    assert left() == 100.0


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"lot": " "}, "has no name"),
        ({"grams": 0.0}, "0 g in it; allowed is more than 0"),
        ({"grams": math.nan}, "nan g in it"),
        ({"price": -1.0}, "the price is -1; allowed is 0"),
        ({"label_hatch_percent": 101.0}, "allowed is 1 to 100 %"),
        ({"cysts_per_g": 1000.0}, "allowed is 20000 to 2 000 000"),
        ({"length_um": 5.0}, "allowed is 200 to 1 500 um"),
        ({"opened": T0 + 1}, "opened later than now"),
    ],
)
def test_a_tin_that_cannot_be_is_refused(values: dict[str, Any], told: str) -> None:
    """What nobody can mean is told with what was found and what is allowed."""
    shed = shed_with()
    with pytest.raises(Refused, match=told.replace("(", r"\(")):
        shed.do(replace(Tin(shed.now, shed.now, "tin-9"), **values))
    assert shed.engine.state.food.tins == {}


def test_only_a_tin_that_is_known_is_weighed() -> None:
    """An unknown tin is refused with the names of those that are known: configured, told of, or started from."""
    shed = shed_with()
    shed.do(Tin(shed.now, shed.now, "tin-9"))
    shed.do(Start(shed.now, shed.now, "b1", "ash", "tin-5", 1.0, 1.0, 25.0))
    with pytest.raises(Refused, match="there is no tin tin-1; known are: tin-7, tin-9, tin-5"):
        shed.do(Weighed(shed.now, shed.now, "tin-1", 3.0))
    shed.do(Weighed(shed.now, shed.now, "tin-5", 3.0))
    with pytest.raises(Refused, match="without the tin itself"):
        shed.do(Weighed(shed.now, shed.now, "tin-5", -1.0))


# -- stores


def test_a_store_is_drawn_to_nothing() -> None:
    """Feeding takes nauplii with their water; drawn to nothing the store is empty, and its alarms have nothing to say."""
    shed = shed_with()
    shed.do(Chill(shed.now, shed.now, "fridge", 120_000.0, 0.6))
    begun = shed.now
    shed.now += HOUR
    shed.do(Fed(shed.now, shed.now, "", 80_000.0, store="fridge"))
    content = shed.engine.state.cold_stores["fridge"].content
    assert content is not None
    assert replace(content, litres=round(content.litres, 9)) == Content(begun, begun, 40_000.0, 0.2, "open", 0.0, False)
    assert bench(shed.engine, {}, shed.now)["stores"][0]["content"]["nauplii"] == 40_000.0
    shed.do(Drawn(shed.now, shed.now, "fridge", 40_000.0, "spilt"))
    assert bench(shed.engine, {}, shed.now)["stores"][0]["content"] is None
    with pytest.raises(Refused, match="fridge holds nothing then; say first what went in"):
        shed.do(Fed(shed.now, shed.now, "", 1.0, store="fridge"))


def test_drawing_changes_no_life() -> None:
    """What is left of a closed bag lasts as long as it would have: its water and gas are drawn with the rest."""
    shed = shed_with()
    shed.do(Chill(shed.now, shed.now, "fridge", 3_000_000.0, 0.5, "air", 0.5))
    store = shed.engine.state.cold_stores["fridge"]
    before = store.life(shed.now)
    shed.do(Fed(shed.now, shed.now, "", 2_000_000.0, store="fridge"))
    after = store.life(shed.now)
    assert before is not None
    assert after is not None
    assert after.until.mid == pytest.approx(before.until.mid, abs=MINUTE)


def test_more_than_there_is_is_refused_at_any_time() -> None:
    """What was fed earlier but written down now is held against all that came since."""
    shed = shed_with()
    shed.do(Chill(shed.now, shed.now, "fridge", 120_000.0, 0.5))
    shed.now += 2 * HOUR
    shed.do(Fed(shed.now, shed.now, "", 100_000.0, store="fridge"))
    shed.now += HOUR
    with pytest.raises(Refused, match="fridge holds about 20 000 then; take that, or say first what went in"):
        shed.do(Fed(shed.now, shed.now, "", 30_000.0, store="fridge"))
    with pytest.raises(Refused, match="too few of the 100 000 that were taken out of it at 10:00"):
        shed.do(Fed(shed.now - 2 * HOUR, shed.now, "", 30_000.0, store="fridge"))
    shed.do(Emptied(shed.now, shed.now, "fridge"))
    with pytest.raises(Refused, match="fridge was noted as empty at 11:00, after that"):
        shed.do(Chill(shed.now - HOUR, shed.now, "fridge", 1000.0, 0.1))
    assert nauplii(shed) == 0


# -- harvests in hand


def test_a_harvest_in_no_store_is_in_hand() -> None:
    """What was neither chilled nor fed is in hand until it is past its best; more of it can't be fed than was counted."""
    shed = shed_with()
    shed.do(Start(shed.now - DAY, shed.now, "b1", "ash", "tin-7", 1.0, 1.0, 25.0))
    shed.do(Harvest(shed.now, shed.now, "b1", None, 200_000.0))
    harvested = shed.now
    shed.now += MINUTE
    shed.do(Chill(shed.now, shed.now, "fridge", 120_000.0, 0.5, batch="b1"))
    shed.do(Fed(shed.now, shed.now, "", 30_000.0, batch="b1"))
    (held,) = harvests_in_hand(shed.engine.state, shed.now)
    assert (held.batch, held.lot, held.time, held.nauplii) == ("b1", "tin-7", harvested, 50_000.0)
    with pytest.raises(Refused, match="of b1 about 50 000 are left by its harvest"):
        shed.do(Fed(shed.now, shed.now, "", 60_000.0, batch="b1"))
    with pytest.raises(Refused, match="there is no batch b9; harvested were: b1"):
        shed.do(Fed(shed.now, shed.now, "", 60_000.0, batch="b9"))
    assert harvests_in_hand(shed.engine.state, harvested + round(BEST_H * HOUR)) == ()


def test_a_harvest_nobody_counted_is_reckoned() -> None:
    """Without a count its cysts, the share that was told and the loss of rinsing say how many there are."""
    shed = shed_with()
    shed.do(Start(shed.now - DAY, shed.now, "b1", "ash", "tin-7", 2.0, 1.0, 25.0))
    shed.do(Harvest(shed.now, shed.now, "b1", 0.8))
    (held,) = harvests_in_hand(shed.engine.state, shed.now)
    assert held.nauplii == pytest.approx(2.0 * 250_000 * 0.8 * 0.9)
