from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import air, configuration, swimup, until, water

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture
def daemon(mosquitto: Mosquitto, daemons: Callable[[str], Daemon]) -> Daemon:
    """A running daemon with two vessels."""
    made = daemons(configuration(mosquitto.url, water("ash"), air("ash"), vessels=("ash", "birch")))
    made.start()
    until(made.connected)
    return made


def test_the_log_of_a_batch_from_the_command_line(daemon: Daemon) -> None:
    """A batch is started, seen, harvested and discarded from the command line, and the store keeps each entry."""
    said = daemon.told(
        "batch", "start", "ash", "--cysts", "2 g", "--water", "1500 mL", "--salt", "30 g/L", "--name", "one"
    )
    assert "one is under way in ash" in said
    batch = daemon.batch()
    assert (batch["id"], batch["lot"], batch["strain"]) == ("one", "tin-7", "great-salt-lake")
    assert (batch["cysts_g"], batch["litres"], batch["salinity_g_l"]) == (2.0, 1.5, 30.0)
    assert "first few swim" in daemon.told("batch", "seen", "ash", "first")
    assert "one is harvested" in daemon.told("batch", "harvest", "ash", "--fraction", "60 %")
    assert daemon.vessel()["batch"] is None
    named = json.loads(daemon.told("batch", "start", "ash", "--cysts", "500 mg", "--json"))["subject"]
    assert named.startswith("ash-20")
    assert "thrown away" in daemon.told("batch", "discard", named, "--reason", "spilt")
    kept = daemon.rows("SELECT kind, fields FROM event ORDER BY id")
    assert [kind for kind, _ in kept] == ["start", "seen", "harvest", "start", "discard"]
    assert json.loads(kept[2][1])["hatched_fraction"] == 0.6
    assert json.loads(kept[4][1])["reason"] == "spilt"


def test_what_is_noted_is_kept_at_once(daemon: Daemon) -> None:
    """What a keeper was told is noted survives a kill without warning right after."""
    daemon.told("batch", "start", "ash", "--cysts", "2 g", "--name", "one")
    daemon.kill()
    daemon.start()
    assert daemon.batch()["id"] == "one"


def test_what_cannot_be_noted_is_refused(daemon: Daemon) -> None:
    """What makes no sense is refused with exit code 1 and the reason, and changes nothing."""
    daemon.told("batch", "start", "ash", "--cysts", "2 g", "--name", "one")
    for arguments, reason in (
        (("batch", "start", "ash", "--cysts", "2 g"), "ash still holds batch one; harvest or discard that one first"),
        (("batch", "start", "birch", "--cysts", "2 g", "--name", "one"), "there is already a batch one"),
        (("batch", "start", "oak", "--cysts", "2 g"), 'no vessel "oak"; there are: ash, birch'),
        (("batch", "seen", "two", "some"), "there is no batch two; open batches: one"),
        (("batch", "harvest", "birch"), "no open batch in birch"),
        (("batch", "discard", "one", "--time", "2 h ago"), "before batch one was started"),
        (("alarm", "ack", "air-stopped:ash"), "there is no alarm air-stopped:ash standing"),
    ):
        done = daemon.command(*arguments)
        assert done.returncode == 1, arguments
        assert reason in done.stderr
        assert done.stdout == ""
    assert [kind for (kind,) in daemon.rows("SELECT kind FROM event")] == ["start"]


def test_the_installed_command_says_the_same(daemon: Daemon) -> None:
    """As a process of its own the command ends with the same code and prints the same as where tests run it in their own."""
    daemon.told("batch", "start", "ash", "--cysts", "2 g", "--name", "one")
    for arguments in (("batch", "seen", "ash", "first"), ("batch", "seen", "two", "some"), ("batch", "seen", "ash")):
        said = daemon.command(*arguments)
        alone = swimup(*arguments, "--config", str(daemon.config))
        assert (said.returncode, said.stdout, said.stderr) == (alone.returncode, alone.stdout, alone.stderr)


def test_what_is_typed_wrong_is_a_usage_error(daemon: Daemon) -> None:
    """A quantity that is none ends with exit code 2 and says what is allowed."""
    done = daemon.command("batch", "start", "ash", "--cysts", "a spoonful")
    assert done.returncode == 2
    assert "a spoonful" in done.stderr
    assert "g" in done.stderr
    assert daemon.rows("SELECT count(*) FROM event") == [(0,)]


def test_status_for_people_and_programs(daemon: Daemon, mosquitto: Mosquitto) -> None:
    """The status is a few lines for people and the bench as one JSON document for programs, saying the same."""
    daemon.told("batch", "start", "ash", "--cysts", "2 g", "--name", "one")
    mosquitto.publish("shed/ash/water", "26.3")
    mosquitto.publish("shed/ash/air", "on")
    until(lambda: daemon.water() == 26.3 and daemon.vessel()["air"])
    bench = json.loads(daemon.told("status", "--json"))
    ash, birch = bench["vessels"]
    assert (ash["water"]["value"], ash["water"]["unit"], ash["water"]["fresh"]) == (26.3, "Cel", True)
    assert ash["air"]["value"] == "running"
    assert ash["batch"]["id"] == "one"
    assert birch["batch"] is None
    told = daemon.told("status")
    assert "26.3" in told
    assert "one" in told
    assert "birch: empty" in told


def test_without_a_daemon_the_command_says_how_to_start_it(daemon: Daemon) -> None:
    """When no daemon answers, a command ends with exit code 1 and says how to start one."""
    assert daemon.terminate() == 0
    done = daemon.command("status")
    assert done.returncode == 1
    assert "swimup run" in done.stderr
    assert "Traceback" not in done.stderr
