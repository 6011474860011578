"""``swimup backup`` and ``swimup restore`` as a keeper types them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import swimup
from monitor.core.model import Reading
from monitor.service.anew import begin_anew
from monitor.service.backing import Plan
from monitor.settings.spare import LEFT_OUT
from monitor.store import Store, StoreCorrupt
from monitor.store.backup import NIGHTLY, make_backup
from monitor.store.backups import BackupFolder, read_backup
from monitor.store.rotation import Stay
from tests.system.daemon import configuration, table

T0 = 1_770_000_000_000


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "here" / "swimup.toml"
    path.parent.mkdir()
    path.write_text(configuration("mqtt://127.0.0.1:1883", table("channel", id="phone", url="json://127.0.0.1/t0ken")))
    add(path, 200)
    return path


def store_of(config: Path) -> Path:
    return config.parent / "store/shed.sqlite3"


def add(config: Path, number: int) -> None:
    with Store.open(store_of(config), now=T0) as store:
        for seq in range(number):
            store.add(Reading("ash-water", T0 + seq * 1_000 + number, 24_000, own_time=True, arrived=T0))
        store.commit()


def readings(config: Path) -> int:
    with Store.open(store_of(config)) as store:
        return len(list(store.readings(0)))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(swimup, [str(argument) for argument in arguments])


def good(*arguments: object) -> str:
    told = run(*arguments)
    assert told.exit_code == 0, told.output
    return told.output


def test_there_and_back(config: Path) -> None:
    """A backup, more readings, and back to the backup; each command says in a sentence what it did and what is left to do."""
    assert "no backup yet" in good("backup", "--list", "-c", config)
    told = good("backup", "-c", config)
    assert "verified, 200 readings" in told
    assert "Secrets that stand in the configuration are left out of its copy" in told
    listed = good("backup", "--list", "-c", config)
    assert "backups/shed-" in listed
    assert listed.endswith(" MB, 200 readings, by hand\n")
    add(config, 50)
    told = good("restore", "newest", "-c", config)
    assert "200 readings. What was there is kept as shed.sqlite3.aside-" in told
    assert "Start the service again." in told
    assert readings(config) == 200


def test_over_a_store_begun_anew_the_newest_is_from_before(config: Path) -> None:
    """What the nights since have copied is the new, short history: that is not what anybody wants back."""
    made = json.loads(good("backup", "--json", "-c", config))
    before = read_backup(Path(made["file"]))
    assert before is not None
    plan = Plan(BackupFolder.of(store_of(config)), 210, Stay(), "UTC")
    store_of(config).write_bytes(bytes(8192))
    begin_anew(store_of(config), before.time + 60_000, plan, StoreCorrupt("it is damaged"))
    make_backup(store_of(config), plan.folder, before.time + 120_000, NIGHTLY)
    assert json.loads(good("restore", "newest", "--json", "-c", config))["backup"] == made["file"]
    assert readings(config) == 200


def test_for_programs(config: Path) -> None:
    """Both print one JSON document."""
    made = json.loads(good("backup", "--json", "-c", config))
    assert (made["counts"]["reading"], made["why"], made["config"]) == (200, "by hand", True)
    assert json.loads(good("backup", "--list", "--json", "-c", config))["backups"] == [made]
    done = json.loads(good("restore", made["file"], "--json", "-c", config))
    assert (done["backup"], done["counts"], done["time"]) == (made["file"], made["counts"], made["time"])
    assert Path(done["aside"]).exists()


def test_a_running_daemon_is_told_to_stop_first(config: Path) -> None:
    """While it holds the store a backup can be made, and none restored."""
    with Store.open(store_of(config)):
        good("backup", "-c", config)
        told = run("restore", "-c", config)
    assert told.exit_code == 1
    assert "another process holds this store" in told.output
    assert "systemctl stop swimup. Nothing was changed." in told.output
    assert not list(store_of(config).parent.glob("*.aside-*"))


def test_onto_a_new_card_in_one_command(tmp_path: Path, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From a stick, where there is neither store nor configuration: both are back, and what is in no backup is listed."""
    stick = tmp_path / "stick"
    stick.mkdir()
    good("backup", "--to", stick, "-c", config)
    shutil.rmtree(config.parent)
    home = tmp_path / "new"
    (home / "cwd").mkdir(parents=True)
    monkeypatch.chdir(home / "cwd")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(home / "config"))
    monkeypatch.delenv("SWIMUP_CONFIG", raising=False)
    told = good("restore", "--from", stick)
    there = home / "config/swimup/swimup.toml"
    assert f"{there}: the configuration is back." in told
    assert f'{there}: put the secret back into [[channel]] "phone"; it is in no backup.' in told
    assert readings(there) == 200
    assert LEFT_OUT in there.read_text()
    assert there.stat().st_mode & 0o777 == 0o600
    assert run("check", "-c", there).exit_code == 2, "the channel without its address is not taken for sound"


def test_with_a_configuration_a_stick_gives_the_store_only(tmp_path: Path, config: Path) -> None:
    """The configuration that is there stays as it is."""
    stick = tmp_path / "stick"
    stick.mkdir()
    good("backup", "--to", stick, "-c", config)
    before = config.read_text() + "# mine\n"
    config.write_text(before)
    shutil.rmtree(config.parent / "store")
    good("restore", "--from", stick, "-c", config)
    assert readings(config) == 200
    assert config.read_text() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("restore",), "has no backup of shed"),
        (("restore", "nowhere.sqlite3"), "there is no such file"),
        (("backup", "--to", "/nonexistent/stick"), "Is its disk there"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line(config: Path, arguments: tuple[str, ...], said: str) -> None:
    """Exit code 1, no traceback, and the store as it was."""
    told = run(*arguments, "-c", config)
    assert told.exit_code == 1, told.output
    assert said in told.output
    assert readings(config) == 200


def test_a_stick_with_two_sheds_asks_which(tmp_path: Path, config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody gets another shed's record by chance."""
    stick = tmp_path / "stick"
    stick.mkdir()
    good("backup", "--to", stick, "-c", config)
    (stick / "barn-20260101T000000Z.sqlite3").write_text("")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.delenv("SWIMUP_CONFIG", raising=False)
    told = run("restore", "--from", stick)
    assert told.exit_code == 1
    assert "has backups of barn, shed. Name the file" in told.output


def test_by_hand_into_another_folder_deletes_nothing(tmp_path: Path, config: Path) -> None:
    """Rotation is for the nightly folder; what somebody puts on a stick stays until they delete it."""
    stick = tmp_path / "stick"
    stick.mkdir()
    for day in ("20250101", "20250102", "20240101"):
        (stick / f"shed-{day}T000000Z.sqlite3").write_text("")
    config.write_text(config.read_text() + "\n[backup]\ndaily = 1\nweekly = 0\nmonthly = 0\n")
    good("backup", "--to", stick, "-c", config)
    assert len(list(stick.glob("*.sqlite3"))) == 4
