from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.model import HOUR, SECOND, Air, Quality, Reading
from monitor.store import DiskFull, Store
from monitor.store.readings import UNSAVED_READINGS

T0 = 1_770_000_000_000


def water(time: int, milli: int = 24_000, probe: str = "ash-water", **more: object) -> Reading:
    return Reading(probe, time, milli, arrived=time, **more)  # type: ignore[arg-type]


def reopened(path: Path, store: Store) -> Store:
    store.commit()
    store.close()
    return Store.open(path)


def test_a_reading_comes_back_exactly_after_a_restart(path: Path) -> None:
    """Every field survives, of good readings and of bad ones."""
    first = [
        Reading("ash-water", T0, 24_062, own_time=True, seq=7, arrived=T0 + 3 * SECOND),
        Reading("birch-air", T0, 1_000, state=1, arrived=T0),
        Reading("birch-air", T0 + 1, 0, state=0, arrived=T0 + 1),
        Reading("shed-room", T0 + 2, 85_000, Quality.SUSPECT, "85.0 C is what the sensor says when it starts"),
        Reading("shed-room", T0 + 3, -127_000, Quality.LAST_KNOWN, "retained", arrived=T0 + 3 + HOUR),
    ]
    store = Store.open(path)
    assert [store.add(reading) for reading in first] == first
    assert list(store.readings(0)) == first
    store = reopened(path, store)
    assert list(store.readings(0)) == first
    store.close()


def test_own_time_is_identity(store: Store) -> None:
    """The same probe and own time is one reading, before and after the commit; another probe's is another."""
    reading = water(T0, own_time=True)
    assert store.add(reading) == reading
    assert store.add(replace(reading, arrived=T0 + HOUR)) is None
    store.commit()
    assert store.add(replace(reading, milli=25_000)) is None
    assert store.add(replace(reading, probe="birch-water")) is not None
    assert store.commit() == 1


def test_own_time_is_identity_whatever_came_after(path: Path) -> None:
    """A reading that is told again is known, after later ones of its own and other probes, and after a restart."""
    told = [water(T0 + n * SECOND, own_time=True) for n in (0, 3, 1)]
    other = replace(water(T0 + HOUR, own_time=True), probe="birch-water")
    with Store.open(path) as store:
        assert [store.add(reading) for reading in (*told, other)] == [*told, other]
        assert [store.add(reading) for reading in told] == [None] * 3
        store.commit()
        assert [store.add(reading) for reading in told] == [None] * 3
    with Store.open(path) as store:
        later = water(T0 + 2 * HOUR, own_time=True)
        assert store.add(later) == later
        assert [store.add(reading) for reading in (*told, other, later)] == [None] * 5
        between = water(T0 + 2 * SECOND, own_time=True)
        assert store.add(between) == between


def test_own_time_in_whole_seconds_with_numbers(store: Store) -> None:
    """Two readings within one second of a coarse clock are told apart by their numbers."""
    one, two = water(T0, own_time=True, seq=1), water(T0, own_time=True, seq=2)
    assert store.add(one) == one
    assert store.add(two) == replace(two, n=1)
    assert store.add(one) is None
    assert store.add(two) is None


def test_a_clamped_time_is_no_identity(store: Store) -> None:
    """A probe whose clock runs ahead has only times of arrival; two in one millisecond are two."""
    clamped = water(T0, own_time=True, quality=Quality.CLAMPED)
    assert store.add(clamped) == clamped
    assert store.add(clamped) == replace(clamped, n=1)


def test_without_time_and_number_each_is_new(store: Store) -> None:
    """Readings of one millisecond are numbered, across commits too."""
    given_n = []
    for _ in range(4):
        placed = store.add(water(T0))
        assert placed is not None
        given_n.append(placed.n)
        if len(given_n) == 2:
            store.commit()
    assert given_n == [0, 1, 2, 3]


def test_a_burst_of_one_millisecond_is_kept_whole(path: Path) -> None:
    """However many readings without a time of their own come in one millisecond, each is kept, across commits too."""
    with Store.open(path) as store:
        placed = [store.add(water(T0, milli)) for milli in range(600)]
        store.commit()
        placed += [store.add(water(T0, milli)) for milli in range(600, 700)]
        assert None not in placed
        assert [(one.time - T0, one.n) for one in placed if one is not None] == [divmod(n, 256) for n in range(700)]
        store.commit()
        assert list(store.readings(0)) == placed


def test_what_gave_way_is_no_longer_known(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading that was lost to a full disk is taken when it is told again."""
    monkeypatch.setattr("monitor.store.reserve.Reserve.roomy", lambda _: False)
    told = [water(T0, 1, own_time=True), water(T0, 2, own_time=True, probe="birch-water")]
    assert [store.add(one) for one in told] == told
    with pytest.raises(DiskFull):
        store.commit()
    for n in range(UNSAVED_READINGS):
        store.add(water(T0 + n, probe="shed-room"))
    assert store.lost == 2
    assert [store.add(one) for one in reversed(told)] == [*reversed(told)]


def test_a_number_is_identity_across_a_restart(path: Path) -> None:
    """What the broker sends again after a restart is recognised by the probe's own numbers."""
    store = Store.open(path)
    for seq in range(100):
        assert store.add(water(T0 + seq * SECOND, seq=seq)) is not None
    store = reopened(path, store)
    for seq in range(100):
        assert store.add(water(T0 + 200 * SECOND + seq, seq=seq)) is None
    assert store.add(water(T0 + 2 * HOUR, seq=5)) is not None
    assert store.pending == 1
    store.close()


def test_a_range_of_one_probe(store: Store) -> None:
    """A range includes its beginning and not its end, from the file and from what waits, in order of time."""
    for step in reversed(range(10)):
        store.add(water(T0 + step, probe="birch-water"))
        store.add(water(T0 + step))
        if step == 5:
            store.commit()
    found = list(store.readings(T0 + 2, T0 + 8, "ash-water"))
    assert [reading.time - T0 for reading in found] == [2, 3, 4, 5, 6, 7]
    assert {reading.probe for reading in found} == {"ash-water"}
    assert list(store.readings(0, probe="cedar-water")) == []


def test_reading_while_writing(store: Store) -> None:
    """A long look back is neither disturbed by a commit in its middle nor does it see a reading twice."""
    for step in range(5_000):
        store.add(water(T0 + step))
        if step == 4_500:
            store.commit()
    looking = store.readings(0)
    seen = [next(looking).time for _ in range(3)]
    store.commit()
    seen += [reading.time for reading in looking]
    assert seen == [T0 + step for step in range(5_000)]


def test_what_no_row_can_hold_spoils_no_commit(store: Store) -> None:
    """One impossible number is refused at once and the rest is stored."""
    store.add(water(T0))
    with pytest.raises(ValueError, match="64-bit"):
        store.add(water(T0 + 1, milli=10**30))
    assert store.commit() == 1


def test_reasons_with_broken_text_spoil_no_commit(store: Store) -> None:
    """A reason that quotes half a character is stored without it."""
    store.add(water(T0, quality=Quality.SUSPECT, reason="word '\ud83d' is neither on nor off"))
    store.add(water(T0 + 1, quality=Quality.SUSPECT, reason="word '\ud83d' is neither on nor off"))
    assert store.commit() == 2
    assert {reading.reason for reading in store.readings(0)} == {"word '?' is neither on nor off"}


def test_many_different_reasons_need_no_memory(path: Path, store: Store) -> None:
    """Reasons with numbers in them, thousands of them, come back right."""
    for step in range(2_500):
        store.add(water(T0 + step, quality=Quality.SUSPECT, reason=f"a jump of {step} mK"))
        if step % 700 == 0:
            store.commit()
    store.commit()
    assert len(store._readings._reasons._ids) <= 1_000
    expected = [f"a jump of {step} mK" for step in range(2_500)]
    assert [reading.reason for reading in store.readings(0)] == expected
    assert path.exists()


@pytest.mark.parametrize(("air", "most"), [(False, 23.0), (True, 24.5)])
def test_a_steady_stream_stays_small(store: Store, most: float, *, air: bool) -> None:
    """A month of ten probes at 10 s fits in 65 MB: at most 23 bytes a row at rest, 24.5 with an air state."""
    rows = 0
    for minute in range(400):
        for step in range(6):
            for probe in range(10):
                time = T0 + minute * 60_000 + step * 10_000 + probe * 137
                more = {"state": 1} if air else {}
                store.add(water(time, 1_000 if air else 21_000 + minute * 5, f"probe-{probe}", **more))
                rows += 1
        store.commit()
    (size,) = store._connection.execute("SELECT sum(pgsize) FROM dbstat WHERE name = 'reading'").fetchone()
    assert size / rows <= most


def test_times_are_plain_for_a_person_with_a_database_shell(store: Store) -> None:
    """The packed columns can be read without this program."""
    store.add(Reading("birch-air", T0, 0, Quality.SUSPECT, "flutter", state=0, arrived=T0))
    store.commit()
    row = store._connection.execute("SELECT utc, probe, value, quality, air, reason FROM plain_reading").fetchone()
    assert row == ("2026-02-02T02:40:00Z", "birch-air", 0.0, 1, "stopped", "flutter")


def test_weak_air_comes_back_and_is_plain(store: Store) -> None:
    """Weak air is kept as such, for this program and for a person."""
    weak = Reading("birch-air", T0, Air.WEAK.milli, state=Air.WEAK, arrived=T0)
    store.add(weak)
    store.commit()
    assert store._connection.execute("SELECT air FROM plain_reading").fetchone() == ("weak",)
    (kept,) = store.readings(T0)
    assert kept.state == Air.WEAK


IDENTITIES = st.lists(
    st.tuples(st.sampled_from(["ash-water", "birch-water"]), st.integers(0, 30), st.booleans()),
    unique=True,
    min_size=1,
    max_size=25,
)


def stream(identities: list[tuple[str, int, bool]]) -> list[Reading]:
    """Readings known by their own time (True), or by their number."""
    return [
        Reading(probe, T0 + step * 1_000, 20_000 + step, own_time=True, arrived=T0 + step * 1_000 + 5 * SECOND)
        if timed
        else Reading(probe, T0 + step, 20_000 + step, seq=step, arrived=T0 + step)
        for probe, step, timed in identities
    ]


@settings(max_examples=40, deadline=None)
@given(st.data(), IDENTITIES)
def test_order_and_repeats_do_not_matter(data: st.DataObject, identities: list[tuple[str, int, bool]]) -> None:
    """A stream in any order, with any repeats and commits and restarts in between, leaves the same rows."""
    once = stream(identities)
    repeated = once + data.draw(st.lists(st.sampled_from(once), max_size=25))
    order = data.draw(st.permutations(repeated))
    breaks = data.draw(
        st.lists(st.sampled_from(["", "", "commit", "restart"]), min_size=len(order), max_size=len(order))
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "swimup.db"
        store = Store.open(path)
        for reading, then in zip(order, breaks, strict=True):
            store.add(reading)
            if then == "commit":
                store.commit()
            elif then == "restart":
                store = reopened(path, store)
        store = reopened(path, store)
        found = [replace(reading, n=0) for reading in store.readings(0)]
        store.close()
    key = lambda reading: (reading.time, reading.probe, reading.milli, reading.own_time)  # noqa: E731
    assert sorted(found, key=key) == sorted(once, key=key)
