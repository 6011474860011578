"""The running number of readings over restarts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.probe.count import BLOCK, Count

if TYPE_CHECKING:
    from pathlib import Path


def test_a_number_is_never_given_twice_and_the_card_is_spared(tmp_path: Path) -> None:
    """A restart goes on above everything given before; ten thousand readings cost one write."""
    path = tmp_path / "state" / "zero.count"
    first = Count(path)
    given = [first.take("ash")]
    stamp = path.stat().st_mtime_ns
    given += [first.take("ash") for _ in range(BLOCK - 1)]
    assert path.stat().st_mtime_ns == stamp
    before = path.read_text()
    given.append(first.take("ash"))
    assert path.read_text() != before
    assert given == list(range(BLOCK + 1))
    assert Count(path).take("ash") > given[-1]


def test_each_sensor_counts_for_itself(tmp_path: Path) -> None:
    """So that a gap tells of a loss, and not of another sensor."""
    count = Count(tmp_path / "zero.count")
    assert [count.take(name) for name in ("ash", "birch", "ash", "birch")] == [0, 0, 1, 1]
    again = Count(tmp_path / "zero.count")
    assert again.take("birch") == again.take("ash") == BLOCK


def test_a_spoilt_file_stops_nothing(tmp_path: Path) -> None:
    """With nonsense in the file, or where none can be written, counting begins anew and goes on."""
    path = tmp_path / "zero.count"
    path.write_text("ten")
    assert Count(path).take("ash") == 0
    blocked = Count(path / "below-a-file.count")
    assert [blocked.take("ash") for _ in range(3)] == [0, 1, 2]
