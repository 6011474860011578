"""What the machine tells of itself: from an invented tree of its files, and on this machine."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from monitor.core.checkup_facts import Card, Machine
from monitor.core.model import HOUR
from monitor.service.machine import card, measure, memory_limit, of_process, processor_c, store_size
from monitor.service.versions import versions

if TYPE_CHECKING:
    from pathlib import Path

CARD = os.makedev(179, 2)
TICKS = os.sysconf("SC_CLK_TCK")


def plant(root: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text + "\n")


@pytest.fixture
def board(tmp_path: Path) -> Path:
    """A small board with a memory card, two hours after power came."""
    root = tmp_path / "board"
    fields = ["S", *["0"] * 18, str(3600 * TICKS), *["0"] * 5]
    plant(
        root,
        {
            "proc/uptime": "7200.50 9000.1",
            "proc/meminfo": "MemTotal:  1000 kB\nMemFree: 200 kB\nMemAvailable:  600 kB",
            "proc/self/status": "Name:\tswimup\nVmRSS:\t  90 kB\nThreads:\t9",
            "proc/self/io": "wchar: 9\nwrite_bytes: 40960\ncancelled_write_bytes: 0",
            "proc/self/stat": f"77 (swim up)) {' '.join(fields)}",
            "proc/self/cgroup": "0::/system.slice/swimup.service",
            "sys/fs/cgroup/system.slice/swimup.service/memory.max": "409600",
            "sys/devices/mmc/block/mmcblk0/stat": " 1 2 3 4 5 6 1000 8 9 10 11",
            "sys/devices/mmc/block/mmcblk0/size": "62500000",
            "sys/devices/mmc/block/mmcblk0/mmcblk0p2/partition": "2",
            "sys/devices/mmc/block/mmcblk0/mmcblk0p2/stat": " 1 2 3 4 5 6 70 8 9 10 11",
            "sys/class/thermal/thermal_zone0/type": "cpu-thermal",
            "sys/class/thermal/thermal_zone0/temp": "51234",
            "sys/class/hwmon/hwmon1/name": "rpi_volt",
            "sys/class/hwmon/hwmon1/in0_lcrit_alarm": "1",
        },
    )
    numbers = root / "sys/dev/block"
    numbers.mkdir(parents=True)
    (numbers / "179:2").symlink_to("../../devices/mmc/block/mmcblk0/mmcblk0p2")
    return root


def test_a_board_is_read_as_it_is(board: Path, tmp_path: Path) -> None:
    """Card, memory, heat and power, and what this process takes, each from its file; a partition counts as its whole card."""
    store = tmp_path / "shed.sqlite3"
    store.write_bytes(b"x" * 300)
    store.with_name("shed.sqlite3-wal").write_bytes(b"x" * 50)
    found = of_process(measure(str(store), board, CARD), board)
    assert found.disk_free
    assert found == Machine(
        disk_free=found.disk_free,
        disk_size=found.disk_size,
        store_size=350,
        card=Card("mmcblk0", 32_000_000_000, 512_000),
        up_for=2 * HOUR + 500,
        written=40_960,
        ran_for=HOUR + 500,
        memory_used=90 * 1024,
        memory_limit=409_600,
        memory_free=600 * 1024,
        memory_size=1000 * 1024,
        processor_c=51.234,
        power_low=True,
    )


def test_an_older_board_tells_of_its_power_in_bits(board: Path) -> None:
    """Bit 0 is now, bit 16 is before; without such a file nothing is known."""
    (board / "sys/class/hwmon/hwmon1/name").write_text("fan\n")
    assert (measure("x", board).power_low, measure("x", board).power_was_low) == (None, None)
    plant(board, {"sys/devices/platform/soc/soc:firmware/get_throttled": "50000"})
    assert (measure("x", board).power_low, measure("x", board).power_was_low) == (False, True)


def test_where_nothing_is_told_nothing_is_known(tmp_path: Path) -> None:
    """On an empty tree, or one of nonsense, all is None and nothing is raised."""
    bare = of_process(measure(str(tmp_path / "gone/shed.sqlite3"), tmp_path, CARD), tmp_path)
    assert bare == Machine()
    plant(
        tmp_path,
        {
            "proc/uptime": "soon",
            "proc/meminfo": "MemTotal:\nMemAvailable: much kB",
            "proc/self/stat": "77 (x) S 1",
            "proc/self/cgroup": "0::/x",
            "sys/fs/cgroup/x/memory.max": "max",
            "sys/class/thermal/thermal_zone0/temp": "warm",
            "sys/devices/platform/soc/soc:firmware/get_throttled": "?",
        },
    )
    assert of_process(measure(str(tmp_path / "gone/shed.sqlite3"), tmp_path, CARD), tmp_path) == Machine()
    assert card(tmp_path, None) is None
    assert processor_c(tmp_path) is None
    assert memory_limit(tmp_path) is None
    assert store_size(str(tmp_path / "none")) is None


def test_this_machine_can_be_asked() -> None:
    """Here it runs for a while already, and this process holds some memory."""
    found = of_process(measure("shed.sqlite3"))
    assert found.memory_used is not None
    assert found.memory_used > 1_000_000
    assert found.up_for is not None
    assert found.ran_for is not None
    assert 0 <= found.ran_for <= found.up_for


def test_versions_are_told() -> None:
    """Ours, those of what we stand on, and the system."""
    found = versions()
    assert found.python.startswith("3.")
    assert "paho-mqtt" in dict(found.packages)
    assert all((found.ours, found.sqlite, found.system))
