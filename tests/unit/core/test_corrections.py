"""Corrections: an entry that was wrong becomes what is right, as if it had been so from the beginning."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from monitor.core.amended import told_of
from monitor.core.log import Chill, Emptied, Harvest, Lapse, Seen, Sight, Start, Undo, key_of
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Eater, Fed, Tin, Weighed
from monitor.core.model import HOUR, MINUTE, SECOND, ColdStoreSpec, LotSpec, Refused
from monitor.core.tins_held import balance
from monitor.core.undo import without_undone
from tests.unit.core.worlds import T0, Shed, alike, slow_site

if TYPE_CHECKING:
    from monitor.core.log import LogEntry
    from monitor.core.model import SiteSpec
    from monitor.core.stores import ColdStore

VESSELS = ("ash", "birch")
PROBES = [f"{vessel}-{what}" for vessel in VESSELS for what in ("water", "air")]


def two_vessels() -> SiteSpec:
    where = slow_site(*VESSELS, cold_stores={"fridge": ColdStoreSpec("fridge"), "box": ColdStoreSpec("box")})
    lots = {name: LotSpec(name, "sfb", 85.0, grams=50.0) for name in ("tin-6", "tin-7")}
    return replace(where, lots=lots)


def stocked(ash: float = 27, birch: float = 26) -> Shed:
    """Two batches that began so many hours ago, of one tin."""
    shed = Shed(two_vessels())
    for name in PROBES:
        shed.remember(name, 30, lambda _: 1.0 if name.endswith("air") else 27.0)  # noqa: B023  (used at once)
        shed.say(name, True if name.endswith("air") else 27.0)
    for vessel, hours in (("ash", ash), ("birch", birch)):
        begun = shed.now - round(hours * HOUR)
        shed.do(Start(begun, begun, f"{vessel}-1", vessel, "tin-7", 1.0, 1.0, 25.0))
    shed.wait(MINUTE)
    return shed


def store(shed: Shed, name: str = "fridge") -> ColdStore:
    return shed.engine.state.cold_stores[name]


def nauplii(shed: Shed, name: str = "fridge") -> float:
    content = store(shed, name).content
    return 0.0 if content is None else content.nauplii


def correct(shed: Shed, made: LogEntry, **values: Any) -> Correct:
    kind, subject, at = key_of(made)
    entry = Correct(shed.now, shed.now, kind, subject, at, values)
    shed.do(entry)
    return entry


def take_away(shed: Shed, made: LogEntry) -> Correct:
    kind, subject, at = key_of(made)
    entry = Correct(shed.now, shed.now, kind, subject, at, gone=True)
    shed.do(entry)
    return entry


def undo(shed: Shed, made: LogEntry) -> None:
    shed.do(Undo(shed.now, shed.now, *key_of(made)))


def facts(shed: Shed) -> dict[str, object]:
    """What entries move, apart from alarms and what was foreseen."""
    state = shed.engine.state
    return {
        "batches": {n: (b.start, b.ended, b.belief is None) for n, b in sorted(state.batches.items())},
        "evidence": {n: b.belief.evidence for n, b in sorted(state.batches.items()) if b.belief is not None},
        "beliefs": {n: b.belief.start for n, b in sorted(state.batches.items()) if b.belief is not None},
        "vessels": {n: None if v.batch is None else v.batch.start for n, v in state.vessels.items()},
        "sown": {lot: sorted(sown) for lot, sown in state.sown.items()},
        "stores": {n: (s.entries, s.content) for n, s in state.cold_stores.items()},
        "tins": {lot: balance(state, lot) for lot in state.site.lots},
        "book": (state.food.tins, state.food.weighed, state.food.entries),
        "ledger": [(told.entry, told.corrections) for told in state.food.ledger],
        "broods": state.broods.entries,
    }


def same(one: Shed, other: Shed) -> None:
    """The same state, and the same estimates of it."""
    assert facts(one) == facts(other)
    assert one.engine.open_batches() == other.engine.open_batches()
    for batch in one.engine.open_batches():
        assert alike(one.engine.estimate(batch, one.now), other.engine.estimate(batch, one.now)), batch


# -- whatever is written down


def entry(shed: Shed, kind: str, vessel: str, number: int) -> LogEntry:
    """What a keeper may log next; some of it is refused."""
    now = shed.now - (number % 3) * 7 * MINUTE
    at = shed.now
    held = shed.engine.state.vessels[vessel].batch
    batch = held.start.batch if held is not None else f"{vessel}-1"
    name = "fridge" if number % 4 else "box"
    made: dict[str, LogEntry] = {
        "seen": Seen(now, at, batch, Sight.SOME),
        "harvest": Harvest(now, at, batch, None, 200_000.0 if number % 2 else None),
        "start": Start(at, at, f"{vessel}-{number + 2}", vessel, "tin-6", 2.0, 1.0, 25.0),
        "lapse": Lapse(at, at, batch),
        "chill": Chill(now, at, name, 40_000.0 * (1 + number % 3), 0.5, batch=f"{vessel}-1" if number % 2 else ""),
        "emptied": Emptied(now, at, name),
        "fed": Fed(now, at, "killi-1" if number % 2 else "", 30_000.0, store=name),
        "fresh": Fed(now, at, "", 30_000.0, batch=f"{vessel}-1"),
        "drawn": Drawn(now, at, name, 25_000.0, "counted"),
        "tin": Tin(now, at, "tin-8", "sfb", grams=20.0 + number, price=5.0),
        "weighed": Weighed(now, at, "tin-6", 10.0 + number),
        "brood": Brood(now - HOUR, at, "killi-1", "own", 40, ration=500, swim_up_days=12, wean_days=21),
        "counted": Counted(now, at, "killi-1", 40.0 - number),
        "broodended": BroodEnded(now, at, "killi-1", "moved"),
        "eater": Eater(now, at, "adults", 1000.0 * number),
    }
    return made[kind]


KINDS = [
    "seen",
    "harvest",
    "harvest",
    "start",
    "lapse",
    "chill",
    "chill",
    "chill",
    "emptied",
    "fed",
    "fed",
    "fresh",
    "drawn",
    "tin",
    "weighed",
    "brood",
    "counted",
    "broodended",
    "eater",
]
VALUES: dict[str, list[dict[str, Any]]] = {
    "start": [{"cysts_g": 3.5}, {"lot": "tin-6"}, {"time": T0 - 20 * HOUR}, {"litres": 2.0, "salinity_g_l": 15.0}],
    "harvest": [{"nauplii": 90_000.0}, {"time": T0 - 5 * MINUTE}, {"hatched_fraction": 0.5}],
    "chill": [{"nauplii": 45_000.0}, {"nauplii": 20_000.0}, {"store": "box"}, {"gas": "air", "gas_l": 0.5}],
    "emptied": [{"store": "box"}, {"time": T0 + 2 * MINUTE}],
    "fed": [{"nauplii": 10_000}, {"nauplii": 60_000.0}, {"brood": "killi-1"}, {"brood": ""}, {"store": "box"}],
    "drawn": [{"nauplii": 5_000.0}, {"why": "spilt"}, {"store": "fridge"}],
    "tin": [{"grams": 12.0}, {"price": None}, {"opened": T0 - HOUR}],
    "weighed": [{"grams": 7.5}, {"lot": "tin-7"}],
    "brood": [{"larvae": 30}, {"swam_up": T0}],
    "counted": [{"larvae": 12}],
    "broodended": [{"how": "lost"}],
    "eater": [{"nauplii_per_day": 500}],
}
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("log"), st.sampled_from(KINDS), st.sampled_from(VESSELS)),
        st.tuples(st.just("correct"), st.integers(0, 9), st.integers(0, 4)),
        st.tuples(st.just("gone"), st.integers(0, 9), st.just(0)),
        st.tuples(st.just("undo"), st.integers(0, 3), st.just(0)),
        st.tuples(st.just("restart"), st.just(0), st.just(0)),
    ),
    min_size=3,
    max_size=14,
)


def play(shed: Shed, steps: list[tuple[Any, Any, Any]]) -> Shed:
    """One step after the other, forty seconds apart; what is refused changes nothing."""
    for number, (what, which, how) in enumerate(steps):
        ledger = shed.engine.state.food.ledger
        before = facts(shed)
        try:
            if what == "log":
                shed.do(entry(shed, which, how, number))
            elif what == "restart":
                shed = shed.restarted()
            elif what == "undo":
                found = shed.engine.state.journal.undoable(shed.now)
                if found:
                    memo = found[which % len(found)]
                    shed.do(Undo(shed.now, shed.now, *memo.key))
            else:
                told = ledger[-1 - which % len(ledger)]
                kind, subject, at = told.key
                options = VALUES.get(kind, [{}])
                values = {} if what == "gone" else options[how % len(options)]
                shed.do(Correct(shed.now, shed.now, kind, subject, at, values, gone=what == "gone"))
            event(f"{what}: taken")
        except Refused:
            assert facts(shed) == before
        shed.wait(40 * SECOND)
    return shed


@given(STEPS)
@example([("log", "harvest", "ash"), ("gone", 0, 0), ("log", "harvest", "ash"), ("undo", 0, 0)])
@example([("log", "harvest", "ash"), ("gone", 0, 0), ("undo", 0, 0), ("log", "start", "ash"), ("gone", 1, 0)])
@example([("log", "lapse", "ash"), ("log", "start", "ash"), ("gone", 0, 0), ("log", "seen", "ash")])
@example(
    [("log", "chill", "birch"), ("gone", 0, 0), ("correct", 0, 1), ("correct", 0, 0), ("undo", 0, 0), ("undo", 0, 0)]
)
@example([("log", "harvest", "ash"), ("correct", 1, 0), ("restart", 0, 0), ("undo", 0, 0), ("undo", 0, 0)])
@settings(max_examples=30, deadline=None)
def test_corrected_is_as_if_it_had_been_right(steps: list[tuple[Any, Any, Any]]) -> None:
    """Any entries, corrections and undos, with restarts between, leave the state that the log gives after a restart."""
    shed = play(stocked(), steps)
    same(shed, shed.restarted())
    for name in ("fridge", "box"):
        content = store(shed, name).content
        assert content is None or (content.nauplii > 0 and content.litres > 0)


# -- what a keeper does


def test_a_feeding_is_corrected() -> None:
    """What was fed too much in the book is in the store again, and a correction can be corrected and undone."""
    shed = stocked()
    shed.do(Chill(shed.now, shed.now, "fridge", 100_000.0, 0.5))
    fed = Fed(shed.now + 1, shed.now + 1, "", 80_000.0, store="fridge")
    shed.wait(1)
    shed.do(fed)
    shed.wait(3 * HOUR)
    assert nauplii(shed) == 20_000
    correct(shed, fed, nauplii=30_000)
    assert nauplii(shed) == 70_000
    shed.wait(MINUTE)
    second = correct(shed, fed, nauplii=50_000)
    assert nauplii(shed) == 50_000
    shed.wait(MINUTE)
    undo(shed, second)
    assert nauplii(shed) == 70_000
    assert nauplii(shed.restarted()) == 70_000
    take_away(shed, fed)
    assert nauplii(shed) == 100_000
    shed.wait(MINUTE)
    correct(shed, fed, nauplii=10_000)
    assert nauplii(shed) == 90_000, "what is corrected once more is there again"


def test_an_entry_keeps_its_name() -> None:
    """After a correction of whom it was for, an entry is still found under the name under which it was logged."""
    shed = stocked()
    shed.do(Brood(shed.now, shed.now, "killi-1", "own", 40, ration=500, swim_up_days=12, wean_days=21))
    shed.do(Chill(shed.now, shed.now, "fridge", 100_000.0, 0.5))
    fed = Fed(shed.now + 1, shed.now + 1, "killi-1", 80_000.0, store="fridge")
    shed.wait(1)
    shed.do(fed)
    shed.wait(MINUTE)
    correct(shed, fed, brood="")
    told = shed.engine.state.food.find(key_of(fed))
    assert told is not None
    assert told.now == replace(fed, brood="")
    correct(shed, fed, brood="killi-1", nauplii=10_000.0)
    assert nauplii(shed) == 90_000
    assert told_of(shed.entries)[0][-1].key == key_of(fed)


def test_the_start_of_an_open_batch_is_corrected() -> None:
    """The batch is reckoned anew from the right start, its tins have what was not taken, and its looks count."""
    shed = stocked()
    shed.do(Seen(shed.now, shed.now, "ash-1", Sight.FIRST))
    wrong = shed.engine.state.batches["ash-1"].start
    correct(shed, wrong, time=wrong.time - 5 * HOUR, cysts_g=2.0, lot="tin-6")
    assert shed.engine.state.batches["ash-1"].start == replace(
        wrong, time=wrong.time - 5 * HOUR, cysts_g=2.0, lot="tin-6"
    )
    assert [balance(shed.engine.state, lot) for lot in ("tin-6", "tin-7")] == [48.0, 49.0]
    same(shed, shed.restarted())

    right = stocked()
    first = next(one for one in right.entries if isinstance(one, Start) and one.batch == "ash-1")
    assert without_undone(shed.entries)[0] == replace(first, time=wrong.time - 5 * HOUR, cysts_g=2.0, lot="tin-6")


def test_a_harvest_that_never_was() -> None:
    """The batch is in its vessel again; its tin does not learn twice from it."""
    shed = stocked()
    harvest = Harvest(shed.now, shed.now, "ash-1", 0.7)
    shed.do(harvest)
    taught = len(shed.engine.state.lots["tin-7"].taught)
    shed.run(20 * MINUTE, 27.0, air=True)
    take_away(shed, harvest)
    assert "ash-1" in shed.engine.open_batches()
    same(shed, shed.restarted())
    shed.wait(MINUTE)
    shed.do(Harvest(shed.now, shed.now, "ash-1", 0.6, 100_000.0))
    assert len(shed.engine.state.lots["tin-7"].taught) == taught
    same(shed, shed.restarted())


def refused(shed: Shed, made: LogEntry, *, gone: bool = False, **values: Any) -> str:
    before = facts(shed)
    kind, subject, at = key_of(made)
    with pytest.raises(Refused) as why:
        shed.do(Correct(shed.now, shed.now, kind, subject, at, values, gone=gone))
    assert facts(shed) == before
    return str(why.value)


def test_a_refusal_says_what_was_found_and_what_is_allowed() -> None:
    """A correction that can't be taken changes nothing, and says why in a keeper's words."""
    shed = stocked()
    start = shed.engine.state.batches["ash-1"].start
    harvest = Harvest(shed.now, shed.now, "ash-1", 0.7, 200_000.0)
    shed.do(harvest)
    chill = Chill(shed.now, shed.now, "fridge", 100_000.0, 0.5, batch="ash-1")
    shed.do(chill)
    shed.wait(MINUTE)
    fed = Fed(shed.now, shed.now, "", 80_000.0, store="fridge")
    shed.do(fed)
    fresh = Fed(shed.now, shed.now, "", 60_000.0, batch="ash-1")
    shed.do(fresh)
    seen = Seen(shed.now, shed.now, "birch-1", Sight.NONE)
    shed.do(seen)
    shed.wait(HOUR)
    assert "'seen' can't be corrected; what can is start, harvest" in refused(shed, seen)
    assert "what can is time, lot, cysts_g, litres, salinity_g_l" in refused(shed, start, vessel="birch")
    assert "cysts_g is 'two'; allowed is a number" in refused(shed, start, cysts_g="two")
    assert "allowed is more than 0 and at most 1000" in refused(shed, start, cysts_g=0)
    assert "give an earlier time" in refused(shed, start, time=shed.now - MINUTE)
    assert "take that away first" in refused(shed, start, gone=True)
    assert "gas is 'helium'; allowed is open or air or oxygen" in refused(shed, chill, gas="helium")
    assert "nothing of the nauplii put into fridge would be another" in refused(shed, chill, nauplii=100_000.0)
    short = refused(shed, chill, nauplii=50_000.0)
    assert short == (
        "then fridge would hold 30 000 too few of the 80 000 that were taken out of it at 08:02; correct that first"
    ), short
    assert "too few" in refused(shed, chill, gone=True)
    assert "too few" in refused(shed, fed, nauplii=120_000)
    assert "that is later than now" in refused(shed, fed, time=shed.now + HOUR)
    assert "there is no brood nobody" in refused(shed, fed, brood="nobody")
    assert "there is no store cellar" in refused(shed, fed, store="cellar")
    assert "the tin has learned from ash-1 already" in refused(shed, harvest, hatched_fraction=0.5)
    assert "60 000 of ash-1 were fed out of no store and 100 000 chilled" in refused(shed, harvest, nauplii=150_000)
    assert "came out of it; correct that first" in refused(shed, harvest, gone=True)
    assert "of ash-1 about 100 000 are left" in refused(shed, fresh, nauplii=110_000.0)
    assert "say one of the two" in refused(shed, fed, gone=True, nauplii=1.0)
    assert "there is no feeding of fridge that was logged at" in refused(shed, replace(fed, logged=5))


def test_a_vessel_that_was_used_since_takes_nothing_back() -> None:
    """A harvest can't be taken away when its vessel holds another batch."""
    shed = stocked()
    harvest = Harvest(shed.now, shed.now, "ash-1")
    shed.do(harvest)
    shed.wait(MINUTE)
    shed.do(Start(shed.now, shed.now, "ash-2", "ash", "tin-7", 1.0, 1.0, 25.0))
    assert "ash was started again with ash-2 since" in refused(shed, harvest, gone=True)


def test_what_was_corrected_is_undone_from_the_newest_back() -> None:
    """An entry that was corrected can't be undone before its correction; then it can."""
    shed = stocked()
    chill = Chill(shed.now, shed.now, "fridge", 100_000.0, 0.5)
    shed.do(chill)
    shed.wait(MINUTE)
    made = correct(shed, chill, nauplii=70_000.0)
    with pytest.raises(Refused, match="the correction about fridge was logged since; undo that first"):
        undo(shed, chill)
    undo(shed, made)
    undo(shed, chill)
    assert nauplii(shed) == 0
    same(shed, shed.restarted())


def test_an_undo_never_leaves_too_few() -> None:
    """What makes an amount that was taken since can't be undone: a correction, and what went in."""
    shed = stocked()
    chill = Chill(shed.now, shed.now, "fridge", 100_000.0, 0.5)
    shed.do(chill)
    shed.wait(MINUTE)
    more = correct(shed, chill, nauplii=200_000.0)
    shed.do(Fed(shed.now, shed.now, "", 150_000.0, store="fridge"))
    with pytest.raises(Refused, match="too few"):
        undo(shed, more)
    with pytest.raises(Refused, match="logged since; undo that first"):
        undo(shed, chill)
    assert nauplii(shed) == 50_000


def test_a_gone_start_is_a_batch_that_never_was() -> None:
    """Its vessel is free, its cysts are in the tin, and undoing that puts the batch back."""
    shed = stocked()
    start = shed.engine.state.batches["ash-1"].start
    made = take_away(shed, start)
    assert shed.engine.open_batches() == ["birch-1"]
    assert balance(shed.engine.state, "tin-7") == 49.0
    same(shed, shed.restarted())
    shed.wait(MINUTE)
    undo(shed, made)
    assert shed.engine.open_batches() == ["ash-1", "birch-1"]
    same(shed, shed.restarted())
