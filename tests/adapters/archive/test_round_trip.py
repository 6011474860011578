from __future__ import annotations

import json
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.archive import Choice, bring_back, write_out
from monitor.archive.documents import KEYS_LEFT_OUT
from monitor.core.model import Quality, Reading
from monitor.store import Store, integrity
from tests.adapters.archive.filled import ODD_PROBES, SECRETS, T0, files, fill, rows

if TYPE_CHECKING:
    from monitor.archive.manifest import Form

INTEGER = st.integers(-(2**63) + 1, 2**63 - 1)
INSTANT = st.integers(0, 4_000_000_000_000) | st.sampled_from([1 - 2**42, -1, 2**42 - 1])
READINGS = st.lists(
    st.builds(
        Reading,
        probe=st.sampled_from(ODD_PROBES) | st.text(min_size=1, max_size=5),
        time=INSTANT,
        milli=st.integers(-50_000, 150_000) | INTEGER,
        quality=st.sampled_from(Quality),
        reason=st.text(max_size=20),
        state=st.sampled_from([None, 0, 1, 2]),
        seq=st.none() | INTEGER,
        own_time=st.booleans(),
        arrived=st.just(0) | st.integers(0, 4_000_000_000_000),
    ),
    max_size=30,
)
WHOLE = ["slot", "event", "told_estimate", "alarm", "transition", "quarantine", "horizon", "series", "stale"]
ROLLUPS = ["rollup_minute", "rollup_quarter", "rollup_day"]
LEFT_OUT = {"outbox", "delivery", "migration", "sink", "resend"}


def made(folder: Path, *readings: Reading, rolled_up: bool = True) -> Path:
    path = folder / "first.sqlite3"
    with Store.open(path, now=T0 - 1) as store:
        fill(store, readings, rolled_up=rolled_up)
    return path


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_what_comes_back_goes_out_the_same(tmp_path: Path, form: Form) -> None:
    """Export, import, export: the same files byte for byte, roll-ups without readings, late marks and horizons included."""
    first = made(tmp_path)
    assert rows(first, "horizon"), "nothing was cleared: the test shows less than it says"
    assert rows(first, "stale")
    assert rows(first, "rollup_minute")
    second = tmp_path / "second.sqlite3"
    write_out(first, tmp_path / "one", Choice(form=form))
    bring_back(tmp_path / "one", second)
    write_out(second, tmp_path / "two", Choice(form=form))
    assert files(tmp_path / "one") == files(tmp_path / "two")
    assert len(files(tmp_path / "one")) > 10


def test_what_comes_back_is_the_same_store(tmp_path: Path) -> None:
    """Every table of the store has the same rows again, but for what the manifest says is left out."""
    first, second = made(tmp_path), tmp_path / "second.sqlite3"
    write_out(first, tmp_path / "one", Choice())
    bring_back(tmp_path / "one", second)
    assert integrity(second) == []
    for table in (*WHOLE, *ROLLUPS, "plain_reading"):
        assert rows(second, table) == rows(first, table), table
    kept = {key: value for key, value in rows(first, "kept") if key not in KEYS_LEFT_OUT}
    assert len(kept) == 3
    assert dict(rows(second, "kept")) == kept
    with closing(sqlite3.connect(first)) as connection:
        names = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    assert names - LEFT_OUT == {*WHOLE, *ROLLUPS, "kept", "reading", "reason"}, "a new table: export it, or say why not"


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(READINGS, st.sampled_from(["csv", "jsonl"]))
def test_readings_are_exact(readings: list[Reading], form: Form) -> None:
    """Whatever a reading is, and whatever its probe is called, it comes back as it was: value, doubt, times, number."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "first.sqlite3"
        with Store.open(path, now=T0) as store:
            for reading in readings:
                store.add(reading)
            store.commit()
        write_out(path, folder / "one", Choice(form=form))
        bring_back(folder / "one", folder / "second.sqlite3")
        write_out(folder / "second.sqlite3", folder / "two", Choice(form=form))
        assert files(folder / "one") == files(folder / "two")
        with Store.open(path) as first, Store.open(folder / "second.sqlite3") as second:
            assert list(second.readings(1 - 2**42)) == list(first.readings(1 - 2**42))


def test_the_daemon_goes_on_with_what_came_back(tmp_path: Path) -> None:
    """A store that came back opens as any other, takes readings, rolls up what is due, and counts its numbers on."""
    first, second = made(tmp_path), tmp_path / "second.sqlite3"
    write_out(first, tmp_path / "one", Choice())
    bring_back(tmp_path / "one", second)
    for path in (first, second):
        with Store.open(path) as store:
            store.add(Reading("ash-water", T0 + 86_400_000, 24_500, seq=5, arrived=T0 + 86_400_000))
            store.tell("one", T0, json.loads((tmp_path / "one/told.jsonl").read_text().splitlines()[0]))
            store.commit()
            while store.roll_up(T0 + 2 * 86_400_000):
                pass
    for table in ("told_estimate", "rollup_quarter", "rollup_day", "plain_reading", "stale"):
        assert rows(second, table) == rows(first, table), table


def test_nothing_secret_goes_out(tmp_path: Path) -> None:
    """Neither push subscriptions nor letters are in an archive, and the manifest says so; it is for its owner's eyes only."""
    write_out(made(tmp_path), tmp_path / "one", Choice())
    found = files(tmp_path / "one")
    for secret in (*SECRETS, "broker.session"):
        assert not any(secret.encode() in content for content in found.values())
    manifest = json.loads(found["manifest.json"])
    assert {"phones", "letters"} <= set(manifest["left_out"])
    modes = {path.stat().st_mode & 0o777 for path in (tmp_path / "one").rglob("*") if path.is_file()}
    folders = {
        path.stat().st_mode & 0o777 for path in (tmp_path / "one", *(tmp_path / "one").rglob("*")) if path.is_dir()
    }
    assert (modes, folders) == ({0o600}, {0o700})


@pytest.mark.parametrize("form", ["csv", "jsonl", "senml"])
def test_odd_names_stay_in_the_folder(tmp_path: Path, form: Form) -> None:
    """A probe with the name of a path elsewhere makes no file elsewhere."""
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    first = made(tmp_path)
    before = set(tmp_path.rglob("*"))
    write_out(first, deep / "one", Choice(form=form))
    new = {path for path in set(tmp_path.rglob("*")) - before if not path.name.endswith(("-wal", "-shm"))}
    assert all(path.is_relative_to(deep / "one") for path in new)
    assert len(new) > 5


def test_phones_of_an_empty_store_stay(tmp_path: Path) -> None:
    """Who has subscribed a phone before the history comes back need not do so again."""
    write_out(made(tmp_path), tmp_path / "one", Choice())
    second = tmp_path / "second.sqlite3"
    with Store.open(second) as store:
        store.keep("phones/site", '{"phones": []}')
        store.keep("lot/tin-9", "{}")
        store.commit()
    assert bring_back(tmp_path / "one", second).phones
    kept = dict(rows(second, "kept"))
    assert kept["phones/site"] == '{"phones": []}'
    assert "lot/tin-9" not in kept


def test_an_export_beside_the_owner_sees_its_last_commit(tmp_path: Path) -> None:
    """Export reads while the store is open and written to, and holds what was committed before it began."""
    path = tmp_path / "first.sqlite3"
    with Store.open(path, now=T0) as store:
        store.add(Reading("ash-water", T0, 24_000, arrived=T0))
        store.commit()
        store.add(Reading("ash-water", T0 + 1, 24_000, arrived=T0 + 1))
        write_out(path, tmp_path / "one", Choice())
        store.commit()
    assert (tmp_path / "one/readings/2026-02.csv").read_text().splitlines()[1:] == [
        "2026-02-02T02:40:00Z,ash-water,24.000,ok,,no,0,,0,"
    ]


def test_a_part_is_what_was_asked_for(tmp_path: Path) -> None:
    """Since, until and probe choose rows; the manifest says that it is a part."""
    first = made(tmp_path, rolled_up=False)
    since, until = T0 + 3_600_000, T0 + 7_200_000
    manifest = write_out(first, tmp_path / "one", Choice(since=since, until=until, probes=("ash-water",)))
    lines = (tmp_path / "one/readings/2026-02.csv").read_text().splitlines()[1:]
    assert [line.split(",")[1] for line in lines] == ["ash-water"] * 10
    assert (lines[0][:20], lines[-1][:20]) == ("2026-02-02T03:40:00Z", "2026-02-02T04:34:00Z")
    assert not manifest.complete
    assert manifest.part_of is not None
    assert manifest.part_of.since == "2026-02-02T03:40:00Z"
    told = [json.loads(line)["id"] for line in (tmp_path / "one/told.jsonl").read_text().splitlines()]
    assert told == [5]
