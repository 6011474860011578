"""What is long over leaves memory, and nobody can tell: what is shown, decided and corrected is as if all of it were there."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core import forgetting
from monitor.core.bench import bench
from monitor.core.broods_document import broods_document
from monitor.core.engine import Engine
from monitor.core.log import Chill, Discard, Emptied, Harvest, Start, Undo, key_of
from monitor.core.log_food import Brood, BroodEnded, Correct, Counted, Drawn, Fed, Tin, Weighed
from monitor.core.model import DAY, HOUR, MINUTE, ColdStoreSpec, LotSpec, Refused, VesselSpec
from monitor.core.pantry import gather
from monitor.core.tins_document import tins_document
from tests.unit.core.cold_worlds import cold_site
from tests.unit.core.worlds import T0, Shed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.core.log import LogEntry

DAYS = 130
FISH: dict[str, Any] = {"ration": 100.0, "swim_up_days": 3.0, "wean_days": 20.0}


def house() -> Shed:
    """Two vessels, one of them used once only; two stores, one of which is never empty."""
    stores = {name: ColdStoreSpec(name) for name in ("fridge", "cellar")}
    vessels = {name: VesselSpec(name, 1.0, 10.0, 32.0) for name in ("ash", "birch")}
    where = cold_site(probes=False, lots={"tin-7": LotSpec("tin-7", "sfb", 85.0, grams=900.0)})
    shed = Shed(replace(where, cold_stores=stores, vessels=vessels))
    shed.engine = Engine(shed.site, T0, rules=False, learns=False)  # neither forecasts nor lessons are of interest
    return shed


def year(days: int = DAYS) -> Iterable[tuple[int, LogEntry]]:
    """What a keeper writes, by the day: batches, tins, broods, meals, and now and then something that went wrong."""
    chance = Random(5)  # noqa: S311  (the same each time)
    yield 0, Start(T0, T0, "old", "birch", "tin-5", 1.5, 1.0, 25.0)
    for day in range(days):
        now, batch, tin = T0 + day * DAY, f"ash-{day}", f"tin-{7 + day // 40}"
        if day == 1:
            yield day, Discard(now, now, "old", "spilt")
        if day % 40 == 0:
            yield day, Tin(now - 9 * DAY, now, tin, "sfb", grams=60.0, price=30.0)
            yield day, Brood(now, now, f"killi-{day}", "killi", 300.0, **FISH)
        if day % 40 in (3, 30):
            yield day, Counted(now, now, f"killi-{day // 40 * 40}", 290.0 - day % 40)
        if day % 40 == 38:
            yield day, BroodEnded(now, now, f"killi-{day // 40 * 40}")
        if day % 7 == 5:
            yield day, Weighed(now, now, tin, 55.0 - day % 40)
        yield day, Start(now, now + MINUTE, batch, "ash", tin, 1.0 + day % 3 / 4, 1.0, 25.0)
        if day % 9 == 4:
            yield day, Discard(now + 20 * HOUR, now + 20 * HOUR, batch, "no air")
            continue
        yield day, Harvest(now + 20 * HOUR, now + 20 * HOUR, batch, None, 90_000.0)
        store = chance.choice(("fridge", "cellar"))
        yield day, Chill(now + 20 * HOUR, now + 21 * HOUR, store, 60_000.0, 0.5, batch=batch)
        yield day, Fed(now + 21 * HOUR, now + 22 * HOUR, "", 10_000.0, batch=batch)
        yield day, Fed(now + 22 * HOUR, now + 22 * HOUR, f"killi-{day // 40 * 40}" * (day % 40 < 38), 5e3, "cellar")
        if store == "fridge":
            yield day, Drawn(now + 22 * HOUR, now + 22 * HOUR, store, chance.randrange(100, 9000))
        if store == "fridge" and day % 3:
            yield day, Emptied(now + 23 * HOUR, now + 23 * HOUR, store)


def lived(*, lets_go: bool) -> Shed:
    """That year in an engine. What cannot be taken, of a store that is empty yet, is in neither log."""
    shed, seen = house(), -1
    for day, entry in year():
        if lets_go and day != seen:
            seen = day
            forgetting.let_go(shed.engine.state, T0 + day * DAY)
        shed.now = entry.logged
        try:
            say(shed, entry)
        except Refused:
            continue
    shed.now = T0 + DAYS * DAY
    if lets_go:
        forgetting.let_go(shed.engine.state, shed.now)
    return shed


def say(shed: Shed, entry: LogEntry) -> None:
    """As the service does it: what is spoken of comes back first."""
    if forgetting.asked_for(shed.engine.state, entry):
        forgetting.take_back(shed.engine.state, shed.entries)
    shed.do(entry)


def shown(shed: Shed) -> dict[str, Any]:
    """All that is told of food and batches now."""
    engine, now = shed.engine, shed.now
    view = bench(engine, {}, now)
    return {
        "tins": tins_document(engine, now),
        "broods": broods_document(engine.state, now),
        "pantry": gather(engine.state, now),
        "vessels": view["vessels"],
        "last used first": list(dict.fromkeys(one.start.lot for one in reversed(engine.state.batches.values()))),
        "stores": view["stores"],
        "log": [told.now for told in engine.state.food.ledger],
    }


@pytest.fixture(scope="module")
def whole() -> Shed:
    return lived(lets_go=False)


@pytest.fixture(scope="module")
def ran_on() -> Shed:
    return lived(lets_go=True)


@pytest.fixture
def lean(ran_on: Shed) -> Shed:
    """The same, to be changed: a start finds what running on has left."""
    fresh = ran_on.restarted()
    forgetting.let_go(fresh.engine.state, fresh.now)
    return fresh


def without_log(shed: Shed) -> dict[str, Any]:
    return {name: value for name, value in shown(shed).items() if name != "log"}


def test_what_is_shown_is_the_same(whole: Shed, ran_on: Shed) -> None:
    """A monitor that has let go of what is over tells of tins, stores, broods and needs what one with all of it tells."""
    assert without_log(ran_on) == without_log(whole)
    state = ran_on.engine.state
    assert state.cold_stores["cellar"].before is not None
    assert len(state.food.ledger) < 0.7 * len(whole.engine.state.food.ledger)
    assert len(state.batches) < 0.6 * len(whole.engine.state.batches)
    assert "old" in state.batches  # the last one in its vessel


def test_it_does_not_grow_with_the_years(lean: Shed) -> None:
    """Sixty days later, with nothing written since, what is left is of tins, broods and the newest batches."""
    state = lean.engine.state
    forgetting.let_go(state, lean.now + 61 * DAY)
    entries = [told.entry for told in state.food.ledger]
    rest = [entry for entry in entries if not isinstance(entry, Tin | Weighed | Brood | BroodEnded)]
    assert {entry.brood for entry in rest if isinstance(entry, Counted)} == {"killi-120"}  # which has not ended
    assert {getattr(entry, "batch", "") for entry in rest if not isinstance(entry, Counted)} == set(state.batches)
    assert len(state.batches) < 60
    assert [store.entries for store in state.cold_stores.values()] == [[], []]


def test_a_start_finds_the_same(ran_on: Shed, lean: Shed) -> None:
    """A monitor that was started anew holds what one holds that has run on."""
    assert shown(lean) == shown(ran_on)
    assert lean.engine.state.food.gone == ran_on.engine.state.food.gone
    assert list(lean.engine.state.batches) == list(ran_on.engine.state.batches)


def of_day(shed: Shed, kind: type, day: int) -> LogEntry:
    """The first entry of a kind that was logged on that day or later."""
    return next(entry for entry in shed.entries if isinstance(entry, kind) and entry.logged >= T0 + day * DAY)


def put_right(entry: LogEntry, now: int, *, gone: bool = False, **values: Any) -> Correct:
    return Correct(now, now, *key_of(entry), values, gone)


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        (Start, {"cysts_g": 5.0}),
        (Start, {"lot": "tin-99"}),
        (Harvest, {"nauplii": 150_000.0}),
        (Chill, {"nauplii": 75_000.0}),
        (Emptied, {"gone": True}),
        (Drawn, {"gone": True}),
        (Weighed, {"grams": 12.0}),
        (BroodEnded, {"gone": True}),
        (Counted, {"larvae": 200.0}),
    ],
)
def test_an_old_entry_can_still_be_put_right(lean: Shed, kind: type, change: dict[str, Any]) -> None:
    """A correction of what has left memory does what it would have done, can be undone, and stays done later."""
    before = without_log(lean)
    correct = put_right(of_day(lean, kind, 20), lean.now, **change)
    say(lean, correct)
    all_of_it = lean.restarted()
    assert without_log(lean) == without_log(all_of_it)
    told = lean.engine.state.food.find((correct.kind, correct.subject, correct.at))
    assert told is not None
    assert told.corrections == [correct]
    forgetting.let_go(lean.engine.state, lean.now)  # not while it can be undone
    again = lean.restarted()
    for shed in (lean, again):
        shed.now += MINUTE
        say(shed, Undo(shed.now, shed.now, *key_of(correct)))
        shed.now -= MINUTE
        forgetting.let_go(shed.engine.state, shed.now + 20 * MINUTE)
        assert without_log(shed) == before


def test_a_corrected_entry_stays_corrected(lean: Shed) -> None:
    """What was put right and let go once more is as a start finds it."""
    say(lean, put_right(of_day(lean, Start, 20), lean.now, cysts_g=5.0))
    lean.now += DAY
    forgetting.let_go(lean.engine.state, lean.now)
    fresh = lean.restarted()
    forgetting.let_go(fresh.engine.state, fresh.now)
    assert shown(fresh) == shown(lean)
    assert "ash-20" in lean.engine.state.batches  # it was spoken of
    assert "ash-21" not in lean.engine.state.batches


@pytest.mark.parametrize(
    "make",
    [
        lambda now: Start(now, now, "ash-20", "ash", "tin-7", 1.0, 1.0, 25.0),
        lambda now: Harvest(now, now, "ash-20"),
        lambda now: Chill(now, now, "fridge", 1e9, 0.5, batch="ash-20"),
        lambda now: Fed(now, now, "", 1e8, batch="ash-20"),
    ],
)
def test_a_batch_that_is_long_over_is_known_by_its_name(
    whole: Shed, lean: Shed, make: Callable[[int], LogEntry]
) -> None:
    """An entry about it is answered as if it had never left memory."""
    answers = []
    for shed in (whole, lean):
        entry = make(shed.now)
        try:
            if forgetting.asked_for(shed.engine.state, entry):
                forgetting.take_back(shed.engine.state, shed.entries)
            shed.engine.check(entry)
            answers.append("")
        except Refused as why:
            answers.append(str(why))
    assert answers[0] == answers[1]


def test_what_a_clock_ahead_has_let_go_comes_back(whole: Shed, lean: Shed) -> None:
    """Set back, it holds what it held before."""
    state = lean.engine.state
    before = shown(lean)
    forgetting.let_go(state, lean.now + 700 * DAY)
    assert forgetting.too_much(state, lean.now)
    forgetting.take_back(state, lean.entries)
    assert shown(lean) == shown(whole)
    forgetting.let_go(state, lean.now)
    assert shown(lean) == before
    assert not forgetting.too_much(state, lean.now)
