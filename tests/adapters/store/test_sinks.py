"""What the store notes for those who copy it: nothing that is written can be missed, whatever comes when."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from typing import TYPE_CHECKING

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.model import MINUTE, Reading
from monitor.store import Store
from monitor.store.records import time_of
from monitor.store.sinks import Forwarded, Late, Reached

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

T0 = 1_770_000_000_000 // MINUTE * MINUTE


def noted(path: Path) -> list[tuple[str, int]]:
    """Sink and minute of all that is to be sent once more, minutes counted from T0."""
    with closing(sqlite3.connect(path)) as connection:
        rows = connection.execute("SELECT sink, slot FROM resend ORDER BY sink, slot").fetchall()
    return [(sink, (slot - T0) // MINUTE) for sink, slot in rows]


def add(store: Store, *minutes: int) -> None:
    for minute in minutes:
        store.add(Reading("ash-water", T0 + minute * MINUTE + 17, 24_000, own_time=True))
    store.commit()


def newest(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        (at,) = connection.execute("SELECT max(at) FROM reading").fetchone()
    return int(at)


def test_only_what_is_below_a_ceiling_is_noted_and_for_whom_it_concerns(store: Store, path: Path) -> None:
    """A late reading is noted for each server that has read past it, and for no other; without servers nothing is."""
    add(store, 5)
    assert noted(path) == []
    store.sinks(["one", "two"])
    store.ceilings.publish("one", newest(path))
    add(store, 3, 7)
    assert noted(path) == [("one", 3)]


def test_what_is_struck_off_is_what_was_sent(store: Store, path: Path) -> None:
    """A minute that gets another reading after it was read stays noted when the first is struck off."""
    add(store, 5)
    store.sinks(["one"])
    store.ceilings.publish("one", newest(path))
    add(store, 3)
    with closing(sqlite3.connect(path)) as connection:
        first = Late(*connection.execute("SELECT slot, series, mark FROM resend").fetchone())
    store.add(Reading("ash-water", T0 + 3 * MINUTE + 18, 24_500, own_time=True))
    store.commit()
    store.forwarded(Forwarded("one", Reached(), (first,)))
    store.commit()
    assert noted(path) == [("one", 3)]


def test_how_far_each_got_is_found_again_and_one_that_is_gone_begins_anew(path: Path) -> None:
    """Cursors survive a restart; a server that was left out of the configuration once is sent everything again."""
    with Store.open(path) as store:
        store.sinks(["one", "two"])
        store.forwarded(Forwarded("one", Reached(17, 3, 4)))
        store.forwarded(Forwarded("two", Reached(18, 5, 6)))
        store.commit()
    with Store.open(path) as store:
        assert store.sinks(["two"]) == {"two": Reached(18, 5, 6)}
    with Store.open(path) as store:
        assert store.sinks(["one", "two"]) == {"one": Reached(), "two": Reached(18, 5, 6)}


def test_a_ceiling_waits_for_the_commit_that_is_under_way(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever has published a ceiling sees all that was written before, since a commit is either done or not begun."""
    store.sinks(["one"])
    published = threading.Event()

    def publish() -> None:
        store.ceilings.publish("one", 2**62)
        published.set()

    copier = threading.Thread(target=publish)
    write, during = type(store._readings).write, []

    def slowly(_shelf: object, connection: sqlite3.Connection) -> None:
        copier.start()
        during.append(published.wait(0.2))
        write(store._readings, connection)

    monkeypatch.setattr(type(store._readings), "write", slowly)
    add(store, 1)
    copier.join()
    assert during == [False]
    assert published.is_set()


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 6), st.sampled_from(["wait", "commit", "look"])), max_size=25))
def test_whoever_reads_to_his_ceiling_and_what_is_noted_has_it_all(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[int, str]]
) -> None:
    """Readings in any order, commits and looks at any time: what a copier has seen in the end is what is stored."""
    path = tmp_path_factory.mktemp("sinks") / "store.sqlite3"
    seen: set[int] = set()
    with Store.open(path) as store, closing(sqlite3.connect(path)) as connection:
        reached = store.sinks(["one"])["one"].reading

        def look() -> None:
            nonlocal reached
            (at,) = connection.execute("SELECT max(at) FROM reading").fetchone()
            if at is not None and at > reached:
                store.ceilings.publish("one", at)
                seen.update(
                    row[0]
                    for row in connection.execute("SELECT at FROM reading WHERE at > ? AND at <= ?", (reached, at))
                )
                reached = at
            for slot, _, _ in connection.execute("SELECT slot, series, mark FROM resend").fetchall():
                rows = connection.execute("SELECT at FROM reading").fetchall()
                seen.update(at for (at,) in rows if slot <= time_of(at) < slot + MINUTE)

        for minute, then in steps:
            store.add(Reading("ash-water", T0 + minute * MINUTE, 24_000))
            if then == "commit":
                store.commit()
            elif then == "look":
                look()
        store.commit()
        look()
        assert seen == {at for (at,) in connection.execute("SELECT at FROM reading")}
