from __future__ import annotations

import io
import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from monitor.cli.bar import Bar
from monitor.store import Store
from tests.adapters.archive.filled import T0, files, fill
from tests.system.daemon import configuration

if TYPE_CHECKING:
    from pathlib import Path

    from click.testing import Result


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "swimup.toml"
    path.write_text(configuration("mqtt://127.0.0.1:1883"))
    with Store.open(tmp_path / "store/shed.sqlite3", now=T0) as store:
        fill(store)
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(swimup, [str(argument) for argument in arguments])


def test_the_history_moves_to_another_machine(tmp_path: Path, config: Path) -> None:
    """Export here, import there, export there: the same folder; each command says in a sentence what it did."""
    there = tmp_path / "there"
    there.mkdir()
    (there / "swimup.toml").write_text(config.read_text())
    told = run("export", tmp_path / "one", "-c", config)
    assert told.exit_code == 0, told.output
    assert told.output.startswith(f"{tmp_path / 'one'}: the whole history, ")
    told = run("import", tmp_path / "one", "-c", there / "swimup.toml")
    assert told.exit_code == 0, told.output
    assert told.output.endswith("of 7 probes are back. Subscribe each phone again.\n")
    told = run("export", tmp_path / "two", "-c", there / "swimup.toml", "--json")
    assert json.loads(told.output)["complete"] is True
    assert files(tmp_path / "one") == files(tmp_path / "two")
    told = run("import", tmp_path / "one", "-c", there / "swimup.toml")
    assert (told.exit_code, "the store is not empty" in told.output) == (1, True)


def test_days_are_those_of_the_site(tmp_path: Path, config: Path) -> None:
    """A date begins at midnight where the site is; RFC 3339 says its zone itself."""
    told = run("export", tmp_path / "one", "-c", config, "--since", "2026-02-03", "--until", "2026-02-03T01:00:00Z")
    assert told.exit_code == 0, told.output
    chosen = json.loads((tmp_path / "one/manifest.json").read_text())["part_of"]
    assert (chosen["since"], chosen["until"]) == ("2026-02-02T23:00:00Z", "2026-02-03T01:00:00Z")


@pytest.mark.parametrize(
    ("arguments", "found"),
    [
        (["--since", "yesterday"], "--since: "),
        (["--since", "2026-02-31"], "no day"),
        (["--since", "2026-02-03T01:00:00"], "has no zone"),
        (["--since", "2026-02-03", "--until", "2026-02-03"], "nothing lies between"),
        (["--batch", "one", "--format", "csv"], "--batch goes alone"),
        (["--format", "xml"], "'xml'"),
    ],
)
def test_a_wrong_call_is_a_usage_error(tmp_path: Path, config: Path, arguments: list[str], found: str) -> None:
    """A time that is none, or choices that exclude each other, are told before anything is written."""
    told = run("export", tmp_path / "one", "-c", config, *arguments)
    assert told.exit_code == 2
    assert found in told.output
    assert not (tmp_path / "one").exists()


def test_help_says_what_is_left_out() -> None:
    """Whoever exports is told that secrets, letters and the configuration stay."""
    told = run("export", "--help")
    said = " ".join(told.output.split())
    assert "Left out, always: the push subscriptions of phones, which are secrets; letters; the configuration." in said
    assert "export " in run("--help").output


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_bar_comes_with_long_work_only() -> None:
    """Nothing is shown in the first two seconds or where nobody looks; then a bar that ends full."""
    now = 0.0
    screen, nobody = Terminal(), io.StringIO()
    with Bar("Exporting", screen, lambda: now) as bar, Bar("Exporting", nobody, lambda: now) as unseen:
        bar(10, 100)
        assert screen.getvalue() == ""
        now = 2.5
        bar(50, 100)
        unseen(50, 100)
        assert "50%" in screen.getvalue()
        bar(100, 100)
    assert "100%" in screen.getvalue()
    assert nobody.getvalue() == ""
