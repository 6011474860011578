"""Undo: what was logged by mistake is taken back as if it had never been made."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, example, given, reject, settings
from hypothesis import strategies as st

from monitor.core.bench import bench
from monitor.core.log import Chill, Discard, Emptied, Harvest, Seen, Settle, Sight, Start, Undo, Work, key_of
from monitor.core.model import HOUR, MINUTE, SECOND, AlarmState, ColdStoreSpec, LotSpec, Refused
from monitor.core.undo import without_undone
from tests.unit.core.worlds import T0, Shed, alike, slow_site

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.log import Deed, LogEntry
    from monitor.core.lots import Lot
    from monitor.core.model import Ms, SiteSpec

VESSELS = ("ash", "birch")
PROBES = [f"{vessel}-{what}" for vessel in VESSELS for what in ("water", "air")]


def two_vessels() -> SiteSpec:
    where = slow_site(*VESSELS, cold_stores={"fridge": ColdStoreSpec("fridge")})
    lots = {name: LotSpec(name, "sfb", 85.0) for name in ("tin-6", "tin-7")}
    return replace(where, lots=lots)


def stocked() -> Shed:
    """Ash holds a batch that is nearly out, birch one that began an hour later, both of one tin."""
    shed = Shed(two_vessels())
    for name in PROBES:
        shed.remember(name, 30, lambda _: 1.0 if name.endswith("air") else 27.0)  # noqa: B023  (used at once)
    for name in PROBES:
        shed.say(name, True if name.endswith("air") else 27.0)
    for vessel, hours in (("ash", 27), ("birch", 26)):
        shed.do(Start(shed.now - hours * HOUR, shed.now - hours * HOUR, f"{vessel}-1", vessel, "tin-7", 1.0, 1.0, 25.0))
    shed.wait(MINUTE)
    return shed


def entry(shed: Shed, kind: str, vessel: str, number: int) -> Deed:
    """What a keeper may log next of a vessel."""
    now, other = shed.now, {"ash": "birch", "birch": "ash"}[vessel]
    held = shed.engine.state.vessels[vessel].batch
    batch = held.start.batch if held is not None else f"{vessel}-1"
    tin = "tin-6" if number % 2 else "tin-7"
    made: dict[str, Deed] = {
        "seen": Seen(now, now, batch, Sight.SOME),
        "most": Seen(now - 20 * MINUTE, now, batch, Sight.MOST, 0.6),
        "harvest": Harvest(now, now, batch, 0.7),
        "earlier": Harvest(now - HOUR, now, batch),
        "discard": Discard(now, now, batch, "spilt"),
        "start": Start(now, now, f"{vessel}-{number + 2}", vessel, tin, 2.0, 1.0, 25.0),
        "settle": Settle(now, now, vessel, now + 7 * MINUTE),
        "work": Work(now, now, vessel, now + (5 * MINUTE if number % 3 else 0)),
        "chill": Chill(now, now, "fridge", 1e5 * (number + 1), 0.5, batch=f"{other}-1"),
        "emptied": Emptied(now, now, "fridge"),
    }
    return made[kind]


def log(shed: Shed, steps: Sequence[tuple[str, str]]) -> list[Deed]:
    """One entry after the other, twenty seconds apart; those that were taken."""
    taken = []
    for number, (kind, vessel) in enumerate(steps):
        made = entry(shed, kind, vessel, number)
        try:
            shed.do(made)
        except Refused:
            continue
        taken.append(made)
        shed.wait(20 * SECOND)
    return taken


def undo(shed: Shed, made: Deed) -> None:
    kind, subject, at = key_of(made)
    shed.do(Undo(shed.now, shed.now, kind, subject, at))


def tins(shed: Shed) -> dict[str, tuple[int, list[str], list[float]]]:
    def plain(lot: Lot) -> tuple[int, list[str], list[float]]:
        # Reckoned anew a minute later it may differ in the last bits.
        return lot.batches, [taught.batch for taught in lot.taught], [round(x, 5) for x in lot.prior.mean.tolist()]

    return {name: plain(lot) for name, lot in shed.engine.state.lots.items()}


def facts(shed: Shed) -> dict[str, object]:
    """What entries move, apart from alarms and the word why a batch taught nothing, which a restart forgets."""
    state = shed.engine.state
    return {
        "batches": {n: (b.start, b.ended, b.belief is None) for n, b in state.batches.items()},
        "evidence": {n: b.belief.evidence for n, b in state.batches.items() if b.belief is not None},
        "vessels": {
            name: (None if v.batch is None else v.batch.start, v.settle_until, v.work_until, v.habit)
            for name, v in state.vessels.items()
        },
        "sown": state.sown,
        "store": state.cold_stores["fridge"].content,
        "tins": tins(shed),
    }


def same(one: Shed, other: Shed) -> None:
    """The same state, and the same estimates of it."""
    assert facts(one) == facts(other)
    assert one.engine.open_batches() == other.engine.open_batches()
    for batch in one.engine.open_batches():
        assert alike(one.engine.estimate(batch, one.now), other.engine.estimate(batch, one.now)), batch


STEPS = st.lists(
    st.tuples(
        st.sampled_from(
            ["seen", "most", "harvest", "earlier", "discard", "start", "settle", "work", "chill", "emptied"]
        ),
        st.sampled_from(VESSELS),
    ),
    min_size=1,
    max_size=6,
)


@given(STEPS, st.integers(0, 5), st.booleans(), st.booleans())
@example([("harvest", "ash"), ("start", "ash"), ("harvest", "birch")], 1, True, True)
@example([("harvest", "ash"), ("harvest", "birch"), ("start", "birch")], 0, False, True)
@example([("seen", "ash"), ("harvest", "ash"), ("start", "ash")], 0, True, False)
@settings(max_examples=20, deadline=None)
def test_an_undone_entry_was_never_made(
    steps: list[tuple[str, str]], which: int, restart_before: bool, restart_after: bool
) -> None:
    """Any entries, one of them undone, leave the state, tins and estimates of those entries without it, also after a restart."""
    shed, other = stocked(), stocked()
    taken = log(shed, steps)
    assume(taken)
    gone = taken[which % len(taken)]
    if restart_before:
        shed = shed.restarted()
    try:
        undo(shed, gone)
    except Refused:
        reject()
    for made in taken:
        other.wait(made.logged - other.now)
        if made is not gone:
            other.do(made)
    other.wait(shed.now - other.now)
    same(shed, other.restarted() if restart_before else other)
    if restart_after:
        same(shed.restarted(), other.restarted())


@given(STEPS)
@settings(max_examples=10, deadline=None)
def test_all_can_be_undone_from_the_newest_back(steps: list[tuple[str, str]]) -> None:
    """Whoever undoes the newest entry again and again comes back to where it began."""
    shed, untouched = stocked(), stocked()
    taken, gone = log(shed, steps), 0
    while found := shed.engine.state.journal.undoable(shed.now):
        shed.do(Undo(shed.now, shed.now, *found[0].key))
        gone += 1
    assert gone == len(taken)
    untouched.wait(shed.now - untouched.now)
    same(shed, untouched)


def test_a_harvest_undone_is_told_again() -> None:
    """After an undone harvest the batch is in its vessel, its tin knows nothing of it, and its alarms come by their rules."""
    shed = stocked()
    shed.do(Seen(shed.now, shed.now, "ash-1", Sight.MOST))
    made = Harvest(shed.now + SECOND, shed.now + SECOND, "ash-1", 0.7)
    shed.wait(SECOND)
    shed.do(made)
    assert [taught.batch for taught in shed.engine.state.lots["tin-7"].taught] == ["ash-1"]
    shed.wait(MINUTE)
    undo(shed, made)
    assert "ash-1" in shed.engine.open_batches()
    assert "tin-7" not in shed.engine.state.lots
    assert shed.learned["lot/tin-7"] == {}
    shed.run(40 * MINUTE, 27.0, air=False)
    assert shed.state("air-stopped:ash") is AlarmState.UNACKNOWLEDGED


def refused(shed: Shed, made: LogEntry, at: Ms | None = None) -> str:
    kind, subject, logged = key_of(made)
    before = facts(shed)
    with pytest.raises(Refused) as refusal:
        shed.do(Undo(shed.now, shed.now, kind, subject, logged if at is None else at))
    assert facts(shed) == before
    return str(refusal.value)


def test_a_refusal_says_why_and_what_can_be_undone() -> None:
    """Too late, twice, unknown, or with a later entry that stands on it: refused with the reason, and nothing changes."""
    shed = stocked()
    seen, harvest, start = log(shed, [("seen", "ash"), ("harvest", "ash"), ("start", "ash")])
    assert "the start of ash-4 was logged since; undo that first" in refused(shed, harvest)
    assert "to undo is now: start of ash-4, what was seen in ash-1" in refused(shed, harvest, at=T0 - 1)
    undo(shed, start)
    assert "already undone" in refused(shed, start)
    undo(shed, harvest)
    shed.wait(10 * MINUTE)
    assert "was logged 11 min ago; an entry can be undone for 10 min" in refused(shed, seen)


def test_a_start_with_something_seen_since_stands() -> None:
    """A start goes only when nothing later is about its batch."""
    shed = Shed(two_vessels())
    start = Start(shed.now, shed.now, "ash-1", "ash", "tin-7", 1.0, 1.0, 25.0)
    shed.do(start)
    shed.wait(MINUTE)
    seen = Seen(shed.now, shed.now, "ash-1", Sight.NONE)
    shed.do(seen)
    assert "what was seen in ash-1 was logged since" in refused(shed, start)
    undo(shed, seen)
    undo(shed, start)
    assert shed.engine.open_batches() == []
    assert shed.engine.state.sown == {}


def test_the_bench_lists_what_can_be_undone() -> None:
    """The bench names each entry so that it can be undone, newest first, until ten minutes are over; and the last start."""
    shed = stocked()
    log(shed, [("seen", "ash"), ("work", "birch")])
    shed.now += 7
    told = bench(shed.engine, {}, shed.now)
    assert [one["text"] for one in told["undoable"]] == ["work on birch", "what was seen in ash-1"]
    assert told["undoable"][1] == {
        "kind": "seen",
        "subject": "ash-1",
        "vessel": "ash",
        "at": "2026-03-02T07:01:00.000Z",
        "until": "2026-03-02T07:11:00.000Z",
        "text": "what was seen in ash-1",
    }
    assert told["vessels"][0]["last_start"] == {
        "batch": "ash-1",
        "lot": "tin-7",
        "cysts_g": 1.0,
        "litres": 1.0,
        "salinity_g_l": 25.0,
    }
    shed.wait(11 * MINUTE)
    assert bench(shed.engine, {}, shed.now)["undoable"] == []


def test_a_log_without_what_was_undone() -> None:
    """An undo takes out the entry it names, the newest of that name, and itself."""
    first = Seen(T0, T0, "ash-1", Sight.SOME)
    again = Seen(T0, T0 + 5, "ash-1", Sight.MOST)
    assert without_undone([first, again, Undo(T0 + 9, T0 + 9, "seen", "ash-1", T0 + 5)]) == [first]
    assert without_undone([first, again, Undo(T0 + 9, T0 + 9, "seen", "ash-2", T0 + 5)]) == [first, again]
