"""What a store has kept, whatever was done to it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.system.daemon import Daemon


def sound(daemon: Daemon) -> None:
    """What is in the file is in order, and no slot is there twice."""
    assert daemon.rows("PRAGMA integrity_check") == [("ok",)]
    assert daemon.rows("SELECT slot FROM slot GROUP BY series, slot HAVING count(*) > 1") == []


def transitions(daemon: Daemon, alarm: str) -> list[tuple[str, int]]:
    """What became of an alarm, and whether a person was told."""
    query = f"SELECT after, notify FROM transition WHERE alarm = '{alarm}' ORDER BY id"  # noqa: S608  (our own words)
    return [(after, notify) for after, notify in daemon.rows(query)]
