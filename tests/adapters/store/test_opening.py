from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from dataclasses import replace
from stat import S_IMODE
from typing import TYPE_CHECKING

import pytest

from monitor.core.dispatch import Cause
from monitor.core.model import Reading
from monitor.store import SchemaTooNew, Store, StoreCorrupt, StoreError, StoreInUse, integrity
from monitor.store.records import transition_to_record
from monitor.store.schema import MIGRATIONS, Migration, migrate

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from monitor.core.model import Transition

T0 = 1_770_000_000_000
NEXT = MIGRATIONS[-1].number + 1


def ask(path: Path, question: str) -> object:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(question).fetchone()[0]


def test_a_new_store_is_for_its_owner_only(path: Path) -> None:
    """Nobody else on the machine can read what a keeper does."""
    with Store.open(path) as store:
        store.add(Reading("ash-water", T0, 24_000))
        store.commit()
        assert S_IMODE(path.parent.stat().st_mode) == 0o700
        modes = {each.name: S_IMODE(each.stat().st_mode) for each in path.parent.iterdir()}
    assert set(modes.values()) == {0o600}
    assert "swimup.db" in modes
    assert "swimup.db-wal" in modes


def test_each_migration_leaves_its_record(path: Path) -> None:
    """The file itself tells which schema it has, since when, and whose it is."""
    Store.open(path, now=T0).close()
    assert ask(path, "PRAGMA user_version") == MIGRATIONS[-1].number
    assert ask(path, "PRAGMA application_id") == 0x5377696D
    assert ask(path, "PRAGMA journal_mode") == "wal"
    assert ask(path, "PRAGMA page_size") == 4096
    with closing(sqlite3.connect(path)) as connection:
        found = connection.execute("SELECT number, name, applied FROM migration").fetchall()
    assert found == [(migration.number, migration.name, T0) for migration in MIGRATIONS]


def test_migrations_are_numbered_without_gaps() -> None:
    """A store can tell from one number which migrations it has."""
    assert [migration.number for migration in MIGRATIONS] == list(range(1, len(MIGRATIONS) + 1))


def test_opening_again_changes_nothing(path: Path) -> None:
    """A store of the present schema is opened as it is."""
    Store.open(path, now=T0).close()
    Store.open(path, now=T0 + 1).close()
    assert ask(path, "SELECT max(applied) FROM migration") == T0


def test_a_migration_that_fails_leaves_nothing_behind(path: Path) -> None:
    """Half a migration never stays; the next try begins where the first did."""
    Store.open(path, now=T0).close()
    broken = Migration(NEXT, "broken", ("CREATE TABLE tide (id INTEGER PRIMARY KEY)", "CREATE TABLE tide (id INTEGER)"))
    mended = Migration(NEXT, "mended", ("CREATE TABLE tide (id INTEGER PRIMARY KEY)",))
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        with pytest.raises(sqlite3.OperationalError, match="already exists"):
            migrate(connection, path, T0 + 1, (*MIGRATIONS, broken))
        assert connection.execute("PRAGMA user_version").fetchone() == (NEXT - 1,)
        assert connection.execute("SELECT count(*) FROM sqlite_schema WHERE name = 'tide'").fetchone() == (0,)
        assert migrate(connection, path, T0 + 2, (*MIGRATIONS, mended)) == 1
        assert connection.execute("SELECT name, applied FROM migration ORDER BY number").fetchall()[-1] == (
            "mended",
            T0 + 2,
        )


def test_a_letter_of_the_first_schema_still_goes(path: Path, transition: Callable[..., Transition]) -> None:
    """What waited when the program was renewed has all it had: its words, its token, what to do and by when."""
    path.parent.mkdir()
    rung = transition(at=T0)
    rung = replace(rung, alarm=replace(rung.alarm, deadline=T0 + 600_000))
    time, *rest = transition_to_record(rung)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection, path, T0, MIGRATIONS[:1])
        connection.execute("INSERT INTO transition VALUES (1, ?, ?, ?, ?, ?, ?, ?)", (time, *rest))
        row = (1, rung.alarm.id, "phone", "Air stopped", "Since.\nLook.", "high", T0, "c0ffee00", "waiting", 2, T0 + 5)
        connection.execute("INSERT INTO outbox VALUES (7, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL, '')", row)
        told = (1, rung.alarm.id, "mail", "Air stopped", "", "high", T0, "c0ffee01", "told", 0, T0, T0 + 9)
        connection.execute("INSERT INTO outbox VALUES (8, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, '')", told)
    with Store.open(path) as store:
        (letter,) = store.due(T0 + 5)
        assert (letter.id, letter.token, letter.tries, letter.body) == (7, "c0ffee00", 2, "Since.\nLook.")
        assert (letter.todo, letter.deadline) == (rung.alarm.todo, T0 + 600_000)
        assert (letter.hold, letter.cause, letter.alarms) == (0, Cause.NOW, (rung.alarm.id,))
        assert store.last_told("mail", rung.alarm.id) == T0
        assert [(one.id, one.state, one.rules) for one in store.letters_since(T0)] == [
            (7, "waiting", ("air-stopped",)),
            (8, "told", ("air-stopped",)),
        ]


def test_a_newer_schema_is_refused_and_left_alone(path: Path) -> None:
    """An older version says what to do instead of spoiling a newer store."""
    Store.open(path).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(SchemaTooNew, match="schema 99, this version knows schemas up to") as refused:
        Store.open(path)
    assert not refused.value.transient
    assert ask(path, "PRAGMA user_version") == 99


def test_a_foreign_database_is_refused_and_left_alone(path: Path) -> None:
    """A wrong path in the configuration harms no other program's file."""
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipes (id INTEGER)")
    with pytest.raises(StoreError, match="database of another program"):
        Store.open(path)
    assert ask(path, "SELECT group_concat(name) FROM sqlite_schema") == "recipes"


@pytest.mark.parametrize("content", [b"\0" * 8192, b"not a database at all" * 400])
def test_a_ruined_file_is_named_and_left_alone(path: Path, content: bytes) -> None:
    """A file that a power cut has ruined is reported with what to do, and not written over."""
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(StoreCorrupt, match="moved aside when the service starts"):
        Store.open(path)
    assert path.read_bytes() == content


def test_a_folder_that_cannot_be_made_is_a_clear_error(tmp_path: Path) -> None:
    """A path below a file says where the trouble is."""
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="folder cannot be written") as refused:
        Store.open(tmp_path / "file" / "swimup.db")
    assert not refused.value.transient


def test_a_second_process_is_kept_out(path: Path, store: Store) -> None:
    """Two daemons on one store would give out the same numbers; the second is told so."""
    store.commit()
    asks = "import sys; from monitor.store import Store, StoreInUse\ntry: Store.open(sys.argv[1])\n"
    asks += "except StoreInUse as error: print(error)"
    told = subprocess.run([sys.executable, "-c", asks, str(path)], check=True, capture_output=True, text=True)
    assert "another process holds this store" in told.stdout


def test_the_store_is_free_again_after_closing(path: Path) -> None:
    """A failed or finished opening holds nothing."""
    first = Store.open(path)
    with pytest.raises(StoreInUse):
        Store.open(path)
    first.close()
    Store.open(path).close()


def test_another_thread_is_told_where_the_store_belongs(store: Store) -> None:
    """A call from the wrong thread is an error that names both threads."""
    said: list[str] = []

    def intrude() -> None:
        try:
            store.commit()
        except RuntimeError as error:
            said.append(str(error))

    thread = threading.Thread(target=intrude, name="web")
    thread.start()
    thread.join()
    assert len(said) == 1
    assert "MainThread" in said[0]
    assert "'web'" in said[0]


def test_a_closed_store_says_so(path: Path) -> None:
    """Work after the end is an error, not a silent loss."""
    store = Store.open(path)
    store.close()
    with pytest.raises(RuntimeError, match="is closed"):
        store.add(Reading("ash-water", T0, 24_000))


def test_a_sound_store_has_nothing_wrong(path: Path, store: Store) -> None:
    """The integrity check reads a store that is in use."""
    store.add(Reading("ash-water", T0, 24_000))
    store.commit()
    assert integrity(path) == []
