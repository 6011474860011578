"""Tins, feedings and the ledger at the command line, over the real server with the real core behind it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.ledger_desk import LedgerDesk, shed_with_food, stocked

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from tests.adapters.web.conftest import Served

    Call = Callable[..., str]


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[LedgerDesk]:
    desk = LedgerDesk(shed_with_food(), tmp_path / "shed.db")
    stocked(desk)
    yield desk
    desk.close()


@pytest.fixture
def call(serve: Callable[..., Served], desk: LedgerDesk, tmp_path: Path) -> Call:
    """What a command says; ``code`` is how it must end."""
    served = serve(desk)
    config = tmp_path / "swimup.toml"
    port = int(served.url.rsplit(":", 1)[1])
    config.write_text(CONFIG.format(state=served.options.state_dir, port=port) + '[[cold_store]]\nid = "fridge"\n')

    def run(*words: str, code: int = 0) -> str:
        result = CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, words)
        assert result.exit_code == code, result.output
        return result.output

    return run


def test_a_tin_from_the_shop_to_the_balance(call: Call) -> None:
    """Bought, opened, weighed; the list tells it in a keeper's words."""
    bought = ("--strain", "sfb", "--grams", "50 g", "--price", "12.50", "--label", "85", "--kept", "cool")
    told = call("tin", "add", "tin-9", *bought, "--bought", "2026-01-05")
    assert told == "Noted: tin-9 is a new tin. 50 g are left in it.\n"
    assert call("tin", "open", "tin-9", "--time", "20 min ago") == "Noted: tin-9 is open.\n"
    assert call("tin", "weigh", "tin-9", "31.5 g") == "Noted: 31.5 g are left in tin-9.\n"
    told = call("tin", "list")
    assert "tin-9: 31.5 g left\n  San Francisco Bay" in told
    assert "  On the label: 85 %\n" in told
    assert "  A gram: 0.25\n  Opened: 2 Mar\n  Kept: in the cold\n  Used last: not yet\n" in told
    assert call("tin", "add", "tin-9", "--kept", "frozen").startswith("Noted what is told of tin-9. 31.5 g")
    told = json.loads(call("tin", "list", "--json"))
    assert {one["id"]: one["kept"] for one in told}["tin-9"] == "frozen"


def test_a_feeding_and_its_correction(call: Call, desk: LedgerDesk) -> None:
    """Fed out of the fridge and fresh; the ledger numbers the entries, and a number is what is corrected."""
    told = call("feed", "killi-3", "20 000", "--from", "fridge")
    assert told == "Noted: 20 000 to killi-3. About 100 000 are left in fridge.\n"
    assert call("feed", "-", "5000", "--from", "ash-1") == "Noted: 5 000 to nobody in particular.\n"
    assert call("store", "draw", "fridge", "10 000", "--why", "dead").endswith("were taken out of fridge.\n")
    lines = call("ledger", "list").splitlines()
    (fed,) = (line for line in lines if "20 000 young brine shrimp to killi-3, from fridge" in line)
    number = fed.split()[0]
    told = call("ledger", "correct", number, "nauplii=30 000", "time=1 h ago")
    assert told == "Corrected: 30 000 young brine shrimp to killi-3, from fridge.\n"
    assert desk.bench()["stores"][0]["content"]["nauplii"] == 80_000
    assert "(corrected)" in call("ledger", "list", "--kind", "fed")
    assert call("ledger", "remove", number).startswith("Taken away: 30 000")
    assert desk.bench()["stores"][0]["content"]["nauplii"] == 110_000
    assert "(taken away)" in call("ledger", "list", "--since", "2026-03-01")
    told = json.loads(call("ledger", "list", "--kind", "drawn", "--json"))
    assert [one["fields"]["why"] for one in told] == ["dead"]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["feed", "killi-3", "many"], 2, "a whole number such as 180000"),
        (["feed", "oak", "20"], 1, "killi-3"),
        (["feed", "killi-3", "500 000", "--from", "fridge"], 1, "120 000"),
        (["tin", "add", "tin-9", "--grams", "2 L"], 2, "a mass such as"),
        (["tin", "add", "tin-9", "--price", "cheap"], 2, "12.50"),
        (["tin", "add", "tin-9", "--bought", "someday"], 2, "2026-03-02"),
        (["tin", "open", "oak"], 1, "There is no tin oak"),
        (["tin", "weigh", "oak", "5 g"], 1, "tin-7"),
        (["ledger", "correct", "999", "nauplii=5"], 1, "There is no entry 999"),
        (["ledger", "correct", "3", "colour=5"], 2, "can be corrected: nauplii"),
        (["ledger", "correct", "3", "nauplii=few"], 2, "a whole number"),
        (["store", "draw", "oak", "5"], 1, "there are: fridge"),
    ],
)
def test_a_wrong_call_is_told(call: Call, desk: LedgerDesk, words: list[str], code: int, told: str) -> None:
    """A slip of the hand is a usage error, what cannot be is the service's own answer; nothing is noted."""
    before = desk.bench()["stores"], desk.bench()["tins"]
    assert told in call(*words, code=code)
    assert (desk.bench()["stores"], desk.bench()["tins"]) == before
