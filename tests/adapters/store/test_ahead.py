"""What a start reads of its store while modules load: the same as later, or nothing at all."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import DAY, SLOT, SlotClosed
from monitor.store import Store, StoreInUse, ahead
from monitor.store.ahead import Ahead
from monitor.store.aside import ASIDE

if TYPE_CHECKING:
    from pathlib import Path

BEGIN = 1_770_000_000_000 // SLOT * SLOT
PROBES = ("ash-water", "birch-water", "ash-air")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A store with two days of three probes."""
    path = tmp_path / "shed.sqlite3"
    with Store.open(path) as store:
        for slot in range(BEGIN, BEGIN + 2 * DAY, SLOT):
            for nth, probe in enumerate(PROBES):
                store.put_slot(SlotClosed(probe, slot, 30 - nth, slot // SLOT % 977 * 1000))
        store.commit()
    return path


def past(store: Store, since: int, columns: Any = None) -> dict[str, Any]:
    return {probe: told.tolist() for probe, told in store.past(since, columns)}


@pytest.mark.parametrize("since", [0, BEGIN + DAY + 1, BEGIN + 3 * DAY])
def test_what_is_read_ahead_is_what_the_store_tells(path: Path, since: int) -> None:
    """Of all probes, from the same slot on; also where there is none."""
    columns = Ahead(path, since).take()
    assert columns is not None
    with Store.open(path) as store:
        found = past(store, since, columns)
        assert found == past(store, since)
    assert set(found) == (set(PROBES) if since < BEGIN + 2 * DAY else set())


def test_what_a_killed_process_left_in_the_log_is_read(path: Path, tmp_path: Path) -> None:
    """Its last commits are beside the file, in the write-ahead log."""
    copy = tmp_path / "killed" / "shed.sqlite3"
    copy.parent.mkdir()
    with Store.open(path) as store:
        store.put_slot(SlotClosed("ash-water", BEGIN + 2 * DAY, 7, 7_000))
        store.commit()
        for ending in ("", "-wal"):
            shutil.copy(f"{path}{ending}", f"{copy}{ending}")
    columns = Ahead(copy, BEGIN + DAY).take()
    with Store.open(copy) as store:
        assert past(store, BEGIN + DAY, columns)["ash-water"][-1] == [BEGIN + 2 * DAY, 7, 7_000]


def test_nobody_writes_before_it_is_taken(path: Path) -> None:
    """The place is held meanwhile, and free again right after; what was read is given once."""
    reading = Ahead(path, 0)
    reading._thread.join()
    with pytest.raises(StoreInUse):
        Store.open(path)
    assert reading.take() is not None
    assert reading.take() is None
    Store.open(path).close()


def test_of_a_store_that_somebody_else_has_nothing_is_read(path: Path) -> None:
    """It would be old by the time it can be opened."""
    with Store.open(path):
        assert Ahead(path, 0).take() is None


def _old(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 3")


def _garbage(path: Path) -> None:
    path.write_bytes(b"SQLite format 3\0" + bytes(range(256)) * 64)


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:9000])


def _marked(path: Path) -> None:
    path.with_name(path.name + ".damaged").write_text("page 7")


def _begun_anew(path: Path) -> None:
    aside = path.with_name("shed.sqlite3.of-yesterday")
    shutil.copy(path, aside)
    path.with_name(path.name + ASIDE).write_text(aside.name)


@pytest.mark.parametrize("harm", [_old, _garbage, _cut, _marked, _begun_anew])
def test_what_is_wrong_with_a_store_is_left_to_who_opens_it(path: Path, harm: Any) -> None:
    """An update, damage, a new beginning: the file that is read then is another, or tells an error of its own."""
    harm(path)
    assert Ahead(path, 0).take() is None


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_whatever_ends_the_reading_a_start_goes_on_without(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a convenience: what nobody thought of costs its time, and no start."""

    def broken(*_: object) -> None:
        raise RuntimeError("nobody thought of it")

    monkeypatch.setattr(ahead, "slot_columns", broken)
    assert Ahead(path, 0).take() is None
    with Store.open(path) as store:
        assert set(past(store, 0)) == set(PROBES)


def test_where_there_is_no_store_none_is_made(tmp_path: Path) -> None:
    """Nor its folder."""
    path = tmp_path / "new" / "shed.sqlite3"
    assert Ahead(path, 0).take() is None
    assert not path.parent.exists()
