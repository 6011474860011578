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
    given = [first.take()]
    stamp = path.stat().st_mtime_ns
    given += [first.take() for _ in range(BLOCK - 1)]
    assert path.stat().st_mtime_ns == stamp
    given.append(first.take())
    assert path.stat().st_mtime_ns > stamp
    given.append(Count(path).take())
    assert given == sorted(set(given))


def test_a_spoilt_file_stops_nothing(tmp_path: Path) -> None:
    """With nonsense in the file, or where none can be written, counting begins anew and goes on."""
    path = tmp_path / "zero.count"
    path.write_text("ten")
    assert [Count(path).take() for _ in range(1)] == [0]
    blocked = Count(path / "below-a-file.count")
    assert [blocked.take() for _ in range(3)] == [0, 1, 2]
