from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.daemon import configuration, swimup, water

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.system

NOWHERE = "mqtt://127.0.0.1:1883"


def test_all_problems_of_a_configuration_are_told(tmp_path: Path) -> None:
    """A daemon with a wrong configuration ends with exit code 2 and tells every problem with its place."""
    config = tmp_path / "swimup.toml"
    text = configuration(NOWHERE, water("ash", topik="shed/ash"), water("oak", unit="furlong"))
    config.write_text(text.replace("Europe/Berlin", "Europe/Atlantis").replace("litres = 1.5", 'litres = "many"'))
    done = swimup("run", "--config", str(config))
    assert done.returncode == 2
    for place in ("/site/timezone", "/vessel/0/litres", "/probe/0/topik", "/probe/1/unit"):
        (line,) = [line for line in done.stderr.splitlines() if place in line]
        assert str(config) in line
    assert "topic" in done.stderr, "the nearest name of an unknown option is not told"
    assert "Traceback" not in done.stderr


def test_a_vessel_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A probe of a vessel that is not configured ends the start with exit code 2 and names the vessels there are."""
    config = tmp_path / "swimup.toml"
    config.write_text(configuration(NOWHERE, water("oak")))
    done = swimup("run", "--config", str(config))
    assert done.returncode == 2
    assert "/probe/0/vessel" in done.stderr
    assert "ash" in done.stderr


def test_simulated_time_needs_a_broker_of_this_machine(tmp_path: Path) -> None:
    """Simulated time is refused with exit code 2 when the broker is another machine's, before anything is begun."""
    config = tmp_path / "swimup.toml"
    config.write_text(configuration("mqtt://broker.shed.example:1883", water("ash")))
    done = swimup("run", "--config", str(config), "--sim-epoch", "2026-03-01T06:00:00Z", "--sim-speed", "60")
    assert done.returncode == 2
    assert "needs a broker on this machine" in done.stderr
    assert "broker.shed.example" in done.stderr
    assert not (tmp_path / "store").exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("--sim-epoch", "2026-03-01 06:00"),
        ("--sim-epoch", "soon"),
        ("--sim-epoch", "2026-03-01T06:00:00Z", "--sim-speed", "0"),
    ],
)
def test_simulated_time_is_checked(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    """A simulated time without its zone, or a speed that can't be run, is a usage error that says what is allowed."""
    config = tmp_path / "swimup.toml"
    config.write_text(configuration(NOWHERE, water("ash")))
    done = swimup("run", "--config", str(config), *arguments)
    assert done.returncode == 2
    assert "write RFC 3339" in done.stderr or "allowed is more than 0" in done.stderr
    assert "Traceback" not in done.stderr
