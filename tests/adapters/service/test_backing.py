"""The nightly backup as the service makes it: a real thread, a real store, a clock that is set by hand."""

from __future__ import annotations

import shutil
import time
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest

from monitor.core.model import DAY, HOUR, MINUTE, Ms, Reading
from monitor.service.backing import Backer, Plan, due, newest_of
from monitor.service.clock import SimulatedClock, SystemClock
from monitor.store import Store
from monitor.store import backup as backups
from monitor.store.backups import BackupFolder, BackupProblem
from monitor.store.rotation import Stay

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from monitor.core.house import Kept

ZONE = "Europe/Berlin"
AT = 3 * 60 + 30


def local(text: str) -> Ms:
    return round(datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).timestamp()) * 1000


NOON = local("2026-03-10T12:00")


class Clock(SystemClock):
    def __init__(self, now: Ms) -> None:
        super().__init__()
        self.at = now

    def now(self) -> Ms:
        return self.at


class Night:
    """A store, its backer and the clock; ``look`` lets the backer look once and gives what it then knows."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "shed.sqlite3"
        self.clock = Clock(NOON)
        self.plan = Plan(BackupFolder.of(self.path), AT, Stay(2, 0, 0), ZONE, lambda: "[site]\n")
        self.backer = Backer(self.path, self.plan, self.clock)
        self.add(NOON)

    def add(self, at: Ms) -> None:
        with Store.open(self.path, now=NOON) as store:
            store.add(Reading("ash-water", at, 24_000, own_time=True, arrived=at))
            store.commit()

    def look(self, wanted: Callable[[Kept], bool]) -> Kept:
        self.backer.wake()
        deadline = time.monotonic() + 30
        while (known := self.backer.health()) is None or not wanted(known):
            assert time.monotonic() < deadline, f"it knows {known}"
            time.sleep(0.01)
        return known

    def files(self) -> list[Ms]:
        return [backup.time for backup in self.plan.folder.all()]


@pytest.fixture
def night(tmp_path: Path) -> Iterator[Night]:
    made = Night(tmp_path)
    yield made
    made.backer.stop(30)


@pytest.mark.parametrize(
    ("now", "good", "wanted"),
    [
        ("2026-03-10T12:00", None, True),
        ("2026-03-10T12:00", "2026-03-10T03:31", False),
        ("2026-03-11T03:29", "2026-03-10T03:31", False),
        ("2026-03-11T03:30", "2026-03-10T03:31", True),
        ("2026-03-11T03:30", "2026-03-10T20:00", True),
        ("2026-03-29T03:30", "2026-03-28T12:00", True),  # the night in which an hour is missing
        ("2026-03-29T03:31", "2026-03-29T03:30", False),
        ("2026-10-25T03:30", "2026-10-24T12:00", True),
        ("1970-01-02T12:00", None, False),  # a clock that was never set
    ],
)
def test_one_is_due_when_there_is_none_since_the_last_hour_for_it(now: str, good: str | None, wanted: bool) -> None:
    """Each night, after a night that was slept through, and after a try that failed; not because of a restart."""
    assert due(local(now), None if good is None else local(good), AT, ZONE) is wanted


def test_each_night_one_is_made_and_the_oldest_goes(night: Night) -> None:
    """The first is made soon, the next when the hour has come, with the configuration beside it."""
    night.backer.start()
    assert night.backer.health() is None, "nothing is known before the first look"
    assert night.look(lambda known: known.good == NOON).error == ""
    for number in (1, 2):
        night.clock.at = local(f"2026-03-1{number}T03:30")
        night.add(night.clock.at)
        night.look(lambda known: known.good == night.clock.at)
    assert night.files() == [local("2026-03-11T03:30"), local("2026-03-12T03:30")]
    assert night.plan.folder.all()[-1].config.read_text() == "[site]\n"


def test_where_nothing_is_new_nothing_is_written(night: Night) -> None:
    """A shed at rest wears no card: the last backup counts as good for this night too."""
    night.backer.start()
    night.look(lambda known: known.good == NOON)
    night.clock.at += DAY
    night.look(lambda known: known.good == NOON + DAY)
    assert night.files() == [NOON]


def test_a_failure_is_told_and_one_by_hand_mends_it(night: Night) -> None:
    """The reason is known to the alarm; a backup that somebody made meanwhile counts."""
    blocked = night.plan.folder.path
    blocked.write_text("a file where the folder should be")
    night.backer.start()
    known = night.look(lambda known: bool(known.error))
    assert "cannot be" in known.error
    assert (known.good, known.begun) == (None, NOON)
    blocked.unlink()
    night.clock.at += MINUTE
    backups.make_backup(night.path, night.plan.folder, night.clock.at, backups.BY_HAND)
    assert night.look(lambda known: known.good == night.clock.at // 1000 * 1000 and not known.error).begun == NOON
    assert len(night.files()) == 1


def test_a_stick_that_is_away_takes_nothing_back(night: Night) -> None:
    """While its folder is not there, what an earlier run knew of it counts: the age that an alarm tells is the true one."""
    night.plan = replace(night.plan, folder=BackupFolder.of(night.path, night.path.with_name("stick") / "swimup"))
    night.backer = Backer(night.path, night.plan, night.clock, good=NOON - DAY)
    night.backer.start()
    known = night.look(lambda known: "Is its disk there" in known.error)
    assert (known.good, known.begun) == (NOON - DAY, NOON)
    night.path.with_name("stick").mkdir()
    night.plan.folder.path.mkdir()
    assert night.look(lambda known: known.good is None).begun == NOON, "it is there, and empty"


def test_after_a_failure_it_is_not_tried_at_every_look(night: Night, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy that turns out bad has cost as many bytes as a good one: the next try comes hours later."""
    tries = []

    def fails(*given: Any) -> None:
        tries.append(1)
        given[-1]()
        raise BackupProblem("the copy is not sound")

    monkeypatch.setattr("monitor.service.backing.make_backup", fails)
    night.backer.start()
    night.look(lambda known: known.error == "the copy is not sound")
    for _ in range(3):
        night.clock.at += MINUTE
        night.look(lambda known: known.error == "the copy is not sound")
    night.backer.stop(30)
    assert tries == [1]


def test_no_backup_of_simulated_time(tmp_path: Path) -> None:
    """What was made up is worth none, and no alarm asks for one."""
    path = tmp_path / "shed.sqlite3"
    Store.open(path, now=NOON).close()
    backer = Backer(path, Plan(BackupFolder.of(path), AT, Stay(), ZONE), SimulatedClock(NOON, 60))
    backer.start()
    backer.wake()
    assert backer.health() is None
    backer.stop(1)
    assert not (tmp_path / "backups").exists()


def test_a_clock_that_was_ahead_once_stops_no_backup(night: Night) -> None:
    """The one it has dated years ahead is not taken for the newest."""
    made = backups.make_backup(night.path, night.plan.folder, NOON, backups.BY_HAND)
    shutil.copy(made.path, night.plan.folder.place(NOON + 2_000 * DAY))
    found = newest_of(night.plan.folder, NOON + HOUR)
    assert found is not None
    assert found.time == NOON
