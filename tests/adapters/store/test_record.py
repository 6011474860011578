"""Roll-ups, what is cleared away, and the trends that are read from both."""

from __future__ import annotations

import sqlite3
import tempfile
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.log import Discard, Start
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, Quality, Reading, SlotClosed
from monitor.store import Keep, Store, StoreError
from monitor.store.course import WIDTHS, Point, Step, Trend
from monitor.store.record import Record
from monitor.store.rollups import QUARTER
from monitor.store.schema import MIGRATIONS, migrate

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.core.model import Ms, Transition

T0: Ms = 1_770_000_000_000 // DAY * DAY
PROBES = ("ash-water", "birch-air")


def water(time: Ms, celsius: float = 24.0, probe: str = "ash-water") -> Reading:
    return Reading(probe, time, round(1000 * celsius), own_time=True, arrived=time)


def naive(readings: Iterable[Reading], probe: str, since: Ms, until: Ms, width: Ms) -> list[Point]:
    """The same from all that was ever put in, one reading after another."""
    groups: dict[Ms, list[Reading]] = defaultdict(list)
    for reading in readings:
        if reading.probe == probe and since // width * width <= reading.time < -(-until // width) * width:
            groups[reading.time // width * width].append(reading)
    points = []
    for slot, group in sorted(groups.items()):
        good = [reading for reading in group if reading.quality.usable]
        values = [reading.milli / 1000 for reading in good]
        mean = sum(reading.milli for reading in good) / len(good) / 1000 if good else None
        points.append(
            Point(
                slot,
                len(good),
                min(values, default=None),
                mean,
                max(values, default=None),
                sum(reading.quality is Quality.SUSPECT for reading in group),
                sum(reading.state == 0 for reading in good),
                sum(reading.state == 2 for reading in good),
            )
        )
    return points


def near(found: list[Point], expected: list[Point]) -> bool:
    """The same but for the last digit of a mean."""
    same = [replace(one, mean=None) for one in found] == [replace(one, mean=None) for one in expected]
    return same and [p.mean for p in found] == pytest.approx([p.mean for p in expected])


def roll_all(store: Store, now: Ms) -> None:
    while store.roll_up(now):
        pass


def clear_all(store: Store, now: Ms, keep: Keep) -> int:
    steps = 1
    while store.clear(now, keep):
        steps += 1
    return steps


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    """Within three days; many in the same minutes."""
    probe = draw(st.sampled_from(PROBES))
    time = T0 + draw(st.integers(0, 3 * 96 - 1)) * QUARTER + draw(st.integers(0, 14)) * MINUTE + draw(st.integers(0, 3))
    quality = draw(st.sampled_from([Quality.OK, Quality.OK, Quality.CLAMPED, *Quality]))
    if probe == "birch-air":
        state = draw(st.sampled_from([0, 1, 2]))
        return Reading(probe, time, (0, 1000, 199)[state], quality, state=state, arrived=time)
    return Reading(probe, time, draw(st.integers(-5_000, 40_000)), quality, arrived=time)


@settings(max_examples=25, deadline=None)
@given(
    batches=st.lists(st.tuples(st.lists(readings(), max_size=25), st.booleans(), st.integers(0, 73)), max_size=5),
    ask=st.tuples(st.integers(0, 60), st.integers(1, 72), st.sampled_from([3, 50, 2000])),
)
def test_a_trend_is_what_all_readings_together_give(
    batches: list[tuple[list[Reading], bool, int]], ask: tuple[int, int, int]
) -> None:
    """However late readings come and whenever roll-ups are made, every step tells the same as the bare readings."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "s.db") as store:
        taken: list[Reading] = []
        for group, roll, hour in batches:
            taken += [placed for reading in group if (placed := store.add(reading)) is not None]
            store.commit()
            if roll:
                roll_all(store, T0 + hour * HOUR)
        record = Record(Path(folder) / "s.db")
        since, until = T0 + ask[0] * HOUR, T0 + (ask[0] + ask[1]) * HOUR
        for probe in PROBES:
            for trend in (record.trend(probe, since, until, ask[2]), record.trend(probe, T0, T0 + 200 * DAY, ask[2])):
                if trend.width:
                    assert near(trend.points, naive(taken, probe, trend.since, trend.until, trend.width))
                assert trend.points or not naive(taken, probe, trend.since, trend.until, trend.width or QUARTER)


def fill(store: Store, begin: Ms, days: int, every: Ms = 5 * MINUTE, probe: str = "ash-water") -> list[Reading]:
    made = [water(time, 20 + (time // MINUTE % 97) / 10, probe) for time in range(begin, begin + days * DAY, every)]
    for reading in made:
        store.add(reading)
    store.commit()
    return made


def test_each_span_has_its_step(store: Store) -> None:
    """An hour is told by readings, a day by minutes, a month by quarter-hours, five years by days; never too many points."""
    fill(store, T0 - 2 * DAY, 2, 10 * SECOND)
    fill(store, T0 - 300 * DAY, 298, HOUR)
    roll_all(store, T0)
    record = Record(store.path)
    for span, step in (
        (HOUR, Step.RAW),
        (DAY, Step.MINUTE),
        (30 * DAY, Step.QUARTER),
        (1826 * DAY, Step.DAY),
    ):
        trend = record.trend("ash-water", T0 - span, T0)
        assert trend.step is step
        assert 20 < len(trend.points) <= 2000
        assert trend.width % max(WIDTHS[step], 1) == 0
    assert record.trend("nobody", T0 - DAY, T0).points == []
    assert len(record.trend("ash-water", T0 - 2 * HOUR, T0, 100).points) <= 120, "too many readings: by the minute"


def test_what_is_old_is_cleared_and_its_course_stays(store: Store) -> None:
    """Readings and minutes go when their days are over, in small steps; days and quarter-hours tell the same as before."""
    fill(store, T0 - 40 * DAY, 40)
    roll_all(store, T0)
    record = Record(store.path)
    before = record.trend("ash-water", T0 - 40 * DAY, T0, 1500)
    keep = Keep(14 * DAY, 20 * DAY)
    steps = clear_all(store, T0, keep)
    assert steps > 500, "an hour at a time"
    assert next(store.readings(0)).time == T0 - 14 * DAY
    assert record.horizons() == (T0 - 14 * DAY, T0 - 20 * DAY)
    assert record.trend("ash-water", T0 - 40 * DAY, T0, 1500) == before
    assert record.trend("ash-water", T0 - 21 * DAY, T0 - 21 * DAY + HOUR).step is Step.QUARTER
    assert record.trend("ash-water", T0 - 19 * DAY, T0 - 19 * DAY + HOUR).step is Step.MINUTE
    assert len(record.trend("ash-water", T0 - 19 * DAY, T0 - 19 * DAY + HOUR).points) == 12


def test_late_beyond_what_is_kept_is_added(store: Store) -> None:
    """A reading that comes after its day was cleared counts in minutes, quarter-hours and days, and is not kept raw."""
    made = fill(store, T0 - 40 * DAY, 40)
    roll_all(store, T0)
    clear_all(store, T0, Keep(14 * DAY, 30 * DAY))
    late = [water(T0 - 20 * DAY + 7 * MINUTE + n, 60.0 + n) for n in range(3)]
    for reading in late:
        store.add(reading)
    store.commit()
    record = Record(store.path)
    spans = ((T0 - 20 * DAY, T0 - 20 * DAY + HOUR), (T0 - 20 * DAY, T0 - 19 * DAY), (T0 - 40 * DAY, T0))
    for rolled in (False, True):
        if rolled:
            roll_all(store, T0)
        for since, until in spans:
            trend = record.trend("ash-water", since, until)
            assert near(trend.points, naive([*made, *late], "ash-water", since, until, trend.width))
        days = record.trend("ash-water", T0 - 200 * DAY, T0)
        assert days.step is Step.DAY
        assert near(days.points, naive([*made, *late], "ash-water", T0 - 200 * DAY, T0, days.width))
    assert next(store.readings(0)).time == T0 - 14 * DAY


def test_a_clock_that_leaps_ahead_costs_no_history(store: Store) -> None:
    """With a clock ten years ahead nothing is cleared, for nobody has lived through those years."""
    made = fill(store, T0 - 5 * DAY, 5)
    roll_all(store, T0)
    ahead = T0 + 3650 * DAY
    store.add(water(ahead - HOUR))
    store.put_slot(SlotClosed("ash-water", T0 - 5 * DAY, 1, 24_000))
    store.commit()
    roll_all(store, ahead)
    clear_all(store, ahead, Keep(14 * DAY, 20 * DAY))
    assert list(store.readings(0)) == [*made, water(ahead - HOUR)]
    assert len(store.slots(0)) == 1


def test_room_is_given_back(store: Store) -> None:
    """Once much was cleared the file shrinks, a little at a time."""
    fill(store, T0 - 40 * DAY, 40, MINUTE)
    roll_all(store, T0)

    def pages() -> tuple[int, int]:
        with sqlite3.connect(store.path) as asking:
            size, free = (asking.execute(f"PRAGMA {what}").fetchone()[0] for what in ("page_count", "freelist_count"))
        asking.close()
        return size, free

    before, _ = pages()
    clear_all(store, T0, Keep(14 * DAY, 14 * DAY))
    size, free = pages()
    assert size < 0.8 * before
    assert free < 300


def test_a_store_of_the_schema_before_keeps_its_readings(tmp_path: Path) -> None:
    """Readings with every column come through the new shape of their table, and are rolled up."""
    path = tmp_path / "old.db"
    with sqlite3.connect(path, isolation_level=None) as old:
        migrate(old, path, T0, MIGRATIONS[:2])
        old.execute("INSERT INTO series VALUES (3, 'ash-water')")
        old.execute("INSERT INTO reason VALUES (2, 'too fast')")
        for n, mark in enumerate((8, 1 | 2 << 6)):
            old.execute("INSERT INTO reading VALUES (?, 3, ?, ?, ?, 5, 7)", (T0, n, 24_000 + n, mark))
    old.close()
    with Store.open(path) as store:
        first, second = store.readings(0)
        assert first == Reading("ash-water", T0, 24_000, own_time=True, seq=7, arrived=T0 + 5)
        assert second == Reading("ash-water", T0, 24_001, Quality.SUSPECT, "too fast", seq=7, arrived=T0 + 5, n=1)
        roll_all(store, T0 + DAY)
        (point,) = Record(path).trend("ash-water", T0, T0 + DAY).points
        assert point == Point(T0, 1, 24.0, 24.0, 24.0, suspect=1)


def test_the_record_tells_what_was_kept(store: Store, transition: Callable[..., Transition]) -> None:
    """Log, alarms, estimates as they were told, documents and readings come back page by page, also beside a writer."""
    record = Record(store.path)
    start = Start(T0, T0, "ash-1", "ash", "tin-7", 2.0, 1.5, 25.0)
    store.log(start)
    store.log(Discard(T0 - HOUR, T0 + HOUR, "ash-1", "spilled"))
    spans = {
        name: {"lo": 0.1, "mid": None, "hi": "2026-02-03T01:00:00Z"}
        for name in ("hatched", "t10", "t50", "t90", "ready")
    }
    documents: list[dict[str, Any]] = [
        {
            "time": f"2026-02-02T0{n}:00:00Z",
            "batch": batch,
            "stage": "soaking",
            **spans,
            "water_c": 24.5,
            "air": "running",
        }
        for n, batch in enumerate(("ash-1", "birch-1", "ash-1"))
    ]
    for n, document in enumerate(documents):
        store.tell(document["batch"], T0 + n * HOUR, document)
    store.put_alarm(transition(at=T0))
    store.put_alarm(transition(at=T0 + HOUR))
    store.keep("lot/tin-7", '{"a": 1}')
    store.keep("lotus", "2")
    for n in range(5):
        store.add(water(T0 + n // 2, probe=PROBES[n % 2]))
    store.commit()
    assert [noted.entry for noted in record.entries()] == store.entries()
    assert [told.document for told in record.told()] == documents
    assert [told.id for told in record.told("ash-1")] == [1, 3]
    assert [told.id for told in record.told(after=1, limit=1)] == [2]
    assert [past.transition for past in record.transitions()] == store.transitions(0)
    assert [past.id for past in record.transitions(since=T0 + 1)] == [2]
    assert record.kept("lot/") == {"lot/tin-7": {"a": 1}}
    pages, after = [], None
    while page := record.readings(T0, T0 + DAY, after=after, limit=2):
        pages += [reading for _, reading in page]
        after = page[-1][0]
    assert pages == list(store.readings(0))
    assert [reading.probe for _, reading in record.readings(T0, T0 + DAY, "birch-air")] == ["birch-air"] * 2
    assert [(probe.id, probe.first) for probe in record.probes()] == [(probe, T0) for probe in sorted(PROBES)]


def test_without_a_store_there_is_a_clear_word(tmp_path: Path) -> None:
    """A record that can't be read says so and makes no file."""
    with pytest.raises(StoreError, match=r"none\.db"):
        Record(tmp_path / "none.db").entries()
    assert not (tmp_path / "none.db").exists()


def test_nothing_asked_for_is_nothing_told(store: Store) -> None:
    """A span that ends before it begins, or of a probe without readings, has no points."""
    store.add(water(T0))
    store.commit()
    record = Record(store.path)
    empty: list[Trend] = [record.trend("ash-water", T0 + DAY, T0), record.trend("nobody", T0, T0 + 90 * DAY)]
    assert [trend.points for trend in empty] == [[], []]
