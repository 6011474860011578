"""The copy of the configuration that lies beside a backup: all of it, and no secret."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from monitor.settings import load
from monitor.settings.spare import LEFT_OUT, from_spare, spare_copy

if TYPE_CHECKING:
    from pathlib import Path

PLAIN = """\
# the shed behind the house
[site]
id = "shed"
timezone = "Europe/Berlin"
feeding_times = ["07:00"]

[store]
path = "data/shed.sqlite3"

[[vessel]]
id = "ash"
litres = 1.5
"""
TOKEN = "tgram://123456:AAbb\u00e4-Cc/987"


def settings_of(path: Path, text: str) -> str | None:
    path.write_text(text)
    return spare_copy(load(path))


def test_a_file_without_secrets_is_copied_as_it_is(tmp_path: Path) -> None:
    """Comments too."""
    assert settings_of(tmp_path / "swimup.toml", PLAIN) == PLAIN


@pytest.mark.parametrize(
    "written", [json.dumps(TOKEN, ensure_ascii=False), json.dumps(TOKEN), f"'{TOKEN}'"], ids=["plain", "escaped", "raw"]
)
def test_a_secret_in_clear_is_left_out_and_named(tmp_path: Path, written: str) -> None:
    """However it is written; all else stays, and whoever goes by the copy is told what it lacks."""
    path = tmp_path / "swimup.toml"
    channels = f'[[channel]]\nid = "phone"\nurl = {written}\n[[channel]]\nid = "mail"\nurl_file = "mail.url"\n'
    text = f'{PLAIN}{channels}[heartbeat]\nurl = "https://alive.home.arpa/t0ken"\n'
    copy = settings_of(path, text)
    assert copy is not None
    assert TOKEN not in copy
    assert "t0ken" not in copy
    assert copy.count(LEFT_OUT) == 2
    assert copy.startswith(PLAIN)
    settings, lacking = from_spare(copy, tmp_path / "new" / "swimup.toml")
    assert lacking == ('[[channel]] "phone"', "[heartbeat]")
    assert [channel.id for channel in settings.channels] == ["mail"]
    assert settings.store.path == tmp_path / "new/data/shed.sqlite3"


def test_where_a_secret_cannot_be_left_out_there_is_no_copy(tmp_path: Path) -> None:
    """One that is written in another way, or stands in a comment too, is not given away by half a copy."""
    path = tmp_path / "swimup.toml"
    odd = PLAIN + '[[channel]]\nurl = "json\\u003a//127.0.0.1/t0ken"\n'
    assert settings_of(path, odd) is None
    twice = PLAIN + '# url = json://127.0.0.1/t0ken\n[[channel]]\nurl = "json://127.0.0.1/t0ken"\n'
    assert settings_of(path, twice) is None


def test_a_file_that_changed_since_is_looked_at_again(tmp_path: Path) -> None:
    """The daemon may run for years: a secret that was written into the file meanwhile is left out too."""
    path = tmp_path / "swimup.toml"
    path.write_text(PLAIN)
    settings = load(path)
    path.write_text(PLAIN + '[[channel]]\nurl = "json://127.0.0.1/t0ken"\n')
    copy = spare_copy(settings)
    assert copy is not None
    assert "t0ken" not in copy
    path.write_text(PLAIN + "[[channel]\n")
    assert spare_copy(settings) is None
    path.unlink()
    assert spare_copy(settings) is None
