"""The program's log, when it cannot be written."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from monitor.service.logstream import UnfailingLog

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture
def full() -> Iterator[int]:
    """A file on a disk that is always full."""
    device = Path("/dev/full")
    if not device.exists():
        pytest.skip("this system has no /dev/full")
    handle = os.open(device, os.O_WRONLY)
    yield handle
    os.close(handle)


def test_a_log_that_cannot_be_written_stops_nobody(full: int) -> None:
    """On a full disk a line is lost, and whoever has written it goes on."""
    with pytest.raises(OSError, match="No space"):
        os.write(full, b"x")
    log = UnfailingLog(full)
    assert log.write("event=alarm.changed\n") == 20
    log.flush()


def test_a_reader_that_has_gone_stops_nobody() -> None:
    """Neither does a pipe that nobody reads any more."""
    reader, writer = os.pipe()
    log = UnfailingLog(writer)
    log.write("one\n")
    assert os.read(reader, 100) == b"one\n"
    os.close(reader)
    log.write("two\n")
    os.close(writer)


def test_what_no_code_can_say_is_still_written() -> None:
    """Half a character, as a file's name may hold it, is written as its number."""
    reader, writer = os.pipe()
    UnfailingLog(writer).write("\udcff ü\n")
    assert os.read(reader, 100) == b"\\udcff \xc3\xbc\n"
    os.close(reader)
    os.close(writer)
