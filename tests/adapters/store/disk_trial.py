"""Fills the disk under a store and frees it again; run in a process of its own, because the limits are the process's.

Arguments: the store, ``file-size`` (no file may grow) or ``small-disk`` (the store lies on a few megabytes).
Every ``assert`` that does not hold ends it with a traceback.
"""

from __future__ import annotations

import os
import resource
import sys
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.model import Alarm, AlarmState, Priority, Reading, Transition
from monitor.store import DiskFull, Draft, Store, integrity

if TYPE_CHECKING:
    from collections.abc import Iterator

T0 = 1_770_000_000_000
ROOM = 1 << 16


@contextmanager
def no_growth(store: Path) -> Iterator[None]:
    """No file of this process may become longer than the store's log of writes is now."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    size = store.with_name(store.name + "-wal").stat().st_size
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def no_room(store: Path) -> Iterator[None]:
    """Another program has taken the rest of the disk."""
    filler = store.with_name("photographs")
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(b"x" * 4096)
    yield
    filler.unlink()


def transition(step: int) -> Transition:
    alarm = Alarm(
        "cold:ash", "cold", "ash", Priority.HIGH, AlarmState.UNACKNOWLEDGED, T0, T0 + step, "Cold", str(step), "", ""
    )
    return Transition(T0 + step, alarm, AlarmState.NORMAL, notify=True, reason="cold")


def add(store: Store, first: int, count: int) -> None:
    for step in range(first, first + count):
        assert store.add(Reading("ash-water", T0 + step, 24_000, own_time=True, arrived=T0 + step)) is not None


def refused(store: Store) -> DiskFull:
    try:
        store.commit()
    except DiskFull as error:
        return error
    raise AssertionError("the disk was expected to be full")


def main(path: Path, kind: str) -> None:
    full = no_room if kind == "small-disk" else no_growth
    reserve = path.with_name(path.name + ".reserve")
    store = Store.open(path)
    assert reserve.stat().st_size == 1 << 20
    add(store, 0, 100)
    store.commit()
    with full(path):
        add(store, 100, 5_000)
        assert refused(store).transient
        assert store.pending == 5_000
        assert store.add(Reading("ash-water", T0 + 50, 24_000, own_time=True)) is None
        assert store.add(Reading("ash-water", T0 + 150, 24_000, own_time=True)) is None
        assert sum(1 for _ in store.readings(0)) == 5_100
        assert reserve.exists()
        letter = store.enqueue(
            store.put_alarm(transition(1)), "phone", Draft("cold:ash", "Cold", "", Priority.HIGH, T0)
        )
        error = refused(store)
        assert error.urgent_saved == (kind == "small-disk")
        assert not reserve.exists()
        assert store.due(T0) == [letter]
        assert [alarm.text for alarm in store.alarms()] == ["1"]
        if kind == "small-disk":
            store = restart_on_the_full_disk(store, path)
    add(store, 10_000, 1)
    store.commit()
    assert not store.pending
    assert reserve.stat().st_size == 1 << 20
    kept = 101 if kind == "small-disk" else 5_101
    assert sum(1 for _ in store.readings(0)) == kept
    store.close()
    assert integrity(path) == []
    with Store.open(path) as again:
        assert [alarm.text for alarm in again.alarms()] == ["2" if kind == "small-disk" else "1"]
        assert len(again.undelivered()) == 1


def restart_on_the_full_disk(store: Store, path: Path) -> Store:
    """The process ends while the disk is full: alarms are found again, unsaved readings are gone."""
    store.close()
    store = Store.open(path)
    assert [alarm.text for alarm in store.alarms()] == ["1"]
    assert [letter.title for letter in store.undelivered()] == ["Cold"]
    add(store, 200, 500)
    store.put_alarm(transition(2))
    assert refused(store).urgent_saved
    store.close()
    return Store.open(path)


if __name__ == "__main__":
    os.umask(0o077)
    main(Path(sys.argv[1]), sys.argv[2])
