"""Tables are added at the end of the file, or not at all: nothing of what the keeper wrote is lost."""

from __future__ import annotations

import stat
from typing import TYPE_CHECKING

import pytest

from monitor.settings import ConfigError, load
from monitor.settings.append import append_blocks

if TYPE_CHECKING:
    from pathlib import Path

TEXT = """\
# my shed; ü
[site]
id = "shed"
timezone = "Europe/Berlin"
feeding_times = ["07:00"]

[[vessel]]
id = "ash"   # the one at the window
litres = 1.5"""
ROOM = '[[probe]]\nid = "room"\ntopic = "shed/room"\nmeasures = "room"\n'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "swimup.toml"
    made.write_bytes(TEXT.encode())
    return made


def test_what_was_there_stays_letter_by_letter_and_beside_it(path: Path) -> None:
    """Comments, a missing line end and the rights of the file are kept; the file before is .bak."""
    path.chmod(0o640)
    backup = append_blocks(path, [ROOM])
    assert path.read_text("utf-8") == f"{TEXT}\n\n{ROOM}"
    assert backup.read_text("utf-8") == TEXT
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert load(path).probes[0].id == "room"
    assert {one.name for one in path.parent.iterdir()} == {"swimup.toml", "swimup.toml.bak"}


def test_line_ends_and_the_byte_order_mark_of_another_editor_are_kept(path: Path) -> None:
    """A file with CR LF and a mark at its beginning has them all over afterwards."""
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    append_blocks(path, [ROOM])
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf# my shed")
    assert raw.count(b"\n") == raw.count(b"\r\n")
    assert load(path).probes[0].id == "room"


def test_a_link_stays_a_link(path: Path) -> None:
    """The file behind it is changed."""
    link = path.with_name("link.toml")
    link.symlink_to(path)
    append_blocks(link, [ROOM])
    assert link.is_symlink()
    assert load(path).probes[0].id == "room"


@pytest.mark.parametrize(
    "block",
    [
        ROOM.replace("shed/room", "shed/#"),
        ROOM.replace('"room"\nt', '"room\n'),
        f"{ROOM}\n{ROOM}",
        "[site]\n",
    ],
)
def test_what_would_not_be_sound_is_refused_and_nothing_is_touched(path: Path, block: str) -> None:
    """All problems are told, the file and its folder are as they were."""
    with pytest.raises(ConfigError):
        append_blocks(path, [block])
    assert path.read_bytes() == TEXT.encode()
    assert [one.name for one in path.parent.iterdir()] == ["swimup.toml"]


def test_a_file_that_is_away_is_a_problem_in_words(tmp_path: Path) -> None:
    """No trace of a traceback, and no file made."""
    with pytest.raises(ConfigError, match="cannot be written"):
        append_blocks(tmp_path / "none.toml", [ROOM])
    assert list(tmp_path.iterdir()) == []
