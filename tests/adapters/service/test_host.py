"""What is measured of the machine, on this machine."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from monitor.service.host import clock_synced, folder_of, room

if TYPE_CHECKING:
    from pathlib import Path


def test_the_room_on_the_disk_is_that_of_the_folder(tmp_path: Path) -> None:
    """Free is what this user can still write, of the disk on which the folder lies; a folder that is gone tells nothing."""
    found = room(tmp_path)
    assert found is not None
    free, size = found
    offered = os.statvfs(tmp_path)
    assert size == offered.f_blocks * offered.f_frsize
    assert 0 < free <= size
    assert room(tmp_path / "gone") is None


@pytest.mark.parametrize(("synced", "told"), [(True, True), (False, False)])
def test_the_time_service_says_whether_it_has_set_the_clock(tmp_path: Path, synced: bool, told: bool) -> None:
    """Where the time service runs, its mark alone decides."""
    if synced:
        (tmp_path / "synchronized").touch()
    assert clock_synced(tmp_path) is told


@pytest.mark.parametrize("status", ["Name:\tswimup\nSeccomp:\t2\n", None])
def test_what_must_not_be_asked_is_not_known(tmp_path: Path, status: str | None) -> None:
    """Behind a filter of system calls, which might end the process for it, or where that can't be told, nothing is asked."""
    told = tmp_path / "status"
    if status is not None:
        told.write_text(status)
    assert clock_synced(tmp_path / "no-time-service", told) is None


def test_the_kernel_is_asked_where_it_may_be(tmp_path: Path) -> None:
    """Without that time service the kernel's own word counts, which is yes or no wherever it answers."""
    told = tmp_path / "status"
    told.write_text("Seccomp:\t0\n")
    assert clock_synced(tmp_path / "no-time-service", told) in (True, False)


def test_the_folder_of_a_store_is_absolute(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A store that is named by its file alone lies in the present folder."""
    monkeypatch.chdir(tmp_path)
    assert folder_of("shed.sqlite3") == tmp_path
