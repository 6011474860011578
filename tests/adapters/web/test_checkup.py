"""The check-up as a page, for programs and in a terminal."""

from __future__ import annotations

import json
import socket
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner, Result
from playwright.sync_api import expect

from monitor.cli import swimup
from monitor.store import Store
from tests.adapters.web.described import faults
from tests.adapters.web.memory_desk import NOW, MemoryDesk
from tests.adapters.web.test_cli import CONFIG
from tests.conftest import free_port
from tests.unit.core.checkups import well

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served
    from tests.conftest import BrokerFactory

    OpenPage = Callable[..., Page]
    Swimup = Callable[..., Result]

EVIL = "<img src=x onerror=alert(1)>"


def shed_that_is_well() -> MemoryDesk:
    desk = MemoryDesk()
    desk.facts = well()
    return desk


@pytest.mark.parametrize("script", [True, False])
def test_the_page_tells_the_worst_first_with_what_to_do(served: Served, open_page: OpenPage, script: bool) -> None:
    """It is found from the foot of the bench, and needs no script."""
    page = open_page(served, java_script_enabled=script)
    page.get_by_role("link", name="Check-up").click()
    expect(page.locator("h1")).to_have_text("Check-up")
    expect(page.locator(".next-up")).to_have_text("3 to act on, 2 to look into; the rest is fine.")
    first = page.locator(".checks li").first
    expect(first).to_contain_text("Act: Power. The supply voltage is too low at this moment.")
    expect(first).to_contain_text("What to do: Use the supply")
    expect(page.locator(".facts")).to_contain_text("Should report every")


def test_a_shed_that_is_well_reads_so_at_any_width(serve: Any, open_page: OpenPage) -> None:
    """One line says it; nothing hangs over the edge of a narrow screen."""
    page = open_page(serve(shed_that_is_well()), "/checkup", viewport={"width": 320, "height": 700})
    expect(page.locator(".next-up")).to_have_text("All is well.")
    expect(page.get_by_text("What wants you")).to_have_count(0)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_names_from_outside_are_only_text(served: Served) -> None:
    """What a broker, a probe or a channel says is never markup."""
    facts = served.desk.facts
    assert facts.inside is not None
    object.__setattr__(facts.inside, "unsaved_for", 90_000)
    object.__setattr__(facts.inside, "unsaved_why", EVIL)
    with served.client() as client:
        page = client.get("/checkup").text
    assert EVIL not in page
    assert "&lt;img" in page


def test_programs_get_it_as_it_is_described(served: Served) -> None:
    """Nothing more, nothing less, and not without being let in."""
    with served.client() as client:
        answer = client.get("/api/v1/checkup")
    assert faults(answer, "/checkup") == []
    told = answer.json()
    assert (told["level"], told["findings"][0]["about"]) == ("act", "power")


@pytest.fixture
def run(tmp_path: Path) -> Swimup:
    """``swimup doctor`` for a daemon at a port, with a configuration of its own."""

    def call(port: int, *words: str, broker: str = "mqtt://127.0.0.1:1", more: str = "") -> Result:
        config = tmp_path / "swimup.toml"
        text = CONFIG.format(state=tmp_path / "state", port=port, more=more)
        config.write_text(text.replace("mqtt://127.0.0.1:1883", broker))
        return CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, ["doctor", *words])

    return call


def test_in_a_terminal_the_worst_comes_first_and_the_code_says_it(serve: Any, run: Swimup) -> None:
    """Code 1 when something wants action, 0 when all is well; the daemon is asked."""
    ill = run(serve().server.port)
    lines = ill.output.splitlines()
    assert lines[0] == "3 to act on, 2 to look into; the rest is fine. (today 02:10)"
    assert lines[1].startswith("!! power: The supply voltage is too low at this moment.")
    assert lines[2].startswith("     Use the supply")
    assert ill.exit_code == 1
    fine = run(serve(shed_that_is_well()).server.port, "--facts")
    assert fine.exit_code == 0
    assert "All is well." in fine.output
    assert "card written by the monitor 30 MB a day" in " ".join(fine.output.split())


def test_without_a_daemon_it_looks_from_outside(run: Swimup, tmp_path: Path, brokers: BrokerFactory) -> None:
    """Configuration, store, broker and port are found sound; that nobody watches is what wants action."""
    (tmp_path / "state").mkdir()
    with Store.open(tmp_path / "state/shed.sqlite3", now=NOW):
        pass
    found = run(free_port(), "--json", broker=brokers().url)
    told = json.loads(found.output)
    levels = {one["about"]: one["level"] for one in told["findings"] if one["about"] != "disk"}
    assert levels.pop("daemon") == "act"
    assert {levels[what] for what in ("configuration", "store", "port", "broker")} == {"fine"}
    assert "mosquitto" in next(one["found"] for one in told["findings"] if one["about"] == "broker")
    assert (told["daemon"], found.exit_code) == (False, 1)


def test_without_a_daemon_each_trouble_is_named(run: Swimup, tmp_path: Path) -> None:
    """A port that is taken, a broker that is not there, a store that is none."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/shed.sqlite3").write_text("this is no database, whatever its name says" * 99)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        found = run(taken.getsockname()[1])
    assert "!! store: The store at" in found.output
    assert "cannot be read" in found.output
    assert "are free on the disk" in found.output
    assert "!! port: The page's port" in found.output
    assert (
        "!! broker: The broker at mqtt://127.0.0.1:1 can't be listened to: no connection to 127.0.0.1:1" in found.output
    )


def test_a_broken_configuration_is_told_with_all_its_problems(run: Swimup) -> None:
    """Nothing else can be looked at then."""
    found = run(free_port(), more="prot = 3\nhots = 4")
    assert found.exit_code == 1
    assert found.output.count("!! configuration: ") == 2
