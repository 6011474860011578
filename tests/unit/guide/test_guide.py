from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules

import pytest
from click.testing import CliRunner

import monitor.core
from monitor.cli import swimup
from monitor.core.engine import Engine
from monitor.core.model import ColdStoreSpec, LotSpec, Priority
from monitor.core.rules import can_ring
from monitor.guide import ENTRIES, HINTS, Entry
from monitor.guide.readme import BEGIN, END, main, markdown, replaced
from monitor.settings.models import Alarms, Vessel
from monitor.settings.settings import LISTS, TABLES
from tests.unit.core.worlds import T0, site

README = Path(__file__).resolve().parents[3] / "README.md"
EACH = pytest.mark.parametrize("entry", ENTRIES.values(), ids=list(ENTRIES))


def declared() -> set[str]:
    """What the modules of the core call their rules, and what an engine with a bit of everything can ring."""
    found: set[str] = set()
    for module in iter_modules(monitor.core.__path__):
        inside = vars(import_module(f"monitor.core.{module.name}"))
        found |= set(inside.get("RULES", ())) | ({inside["RULE"]} if isinstance(inside.get("RULE"), str) else set())
        if module.name == "causes":
            found.add(inside["LOST"])
        if module.name == "rules_site":
            found.add(inside["DELIVERY"])
    lots = {"tin-7": LotSpec("tin-7", grams=50.0)}
    engine = Engine(site(lots=lots, cold_stores={"fridge": ColdStoreSpec("fridge")}), T0)
    return found | {rule for rule, _ in can_ring(engine.state).values()}


def test_every_alarm_that_can_ring_has_an_entry_and_every_entry_an_alarm() -> None:
    """Nobody is woken by something the guide does not explain, and the guide explains nothing that is not there."""
    assert declared() == set(ENTRIES)


@EACH
def test_an_entry_says_all_there_is_to_say(entry: Entry) -> None:
    """Meaning, steps, what comes next, numbers with reasons, and how it is made quieter; priorities in the core's words."""
    assert entry.rule in HINTS
    assert len(entry.meaning) > 40
    assert entry.todo
    assert all(step.endswith((".", "?")) for step in (*entry.todo, entry.meaning, entry.then, entry.quieter))
    assert entry.defaults
    assert all(one.value and len(one.why) > 8 for one in entry.defaults)
    assert re.match(rf"({'|'.join(Priority)})\b", entry.priority)


@EACH
def test_an_entry_sends_nobody_to_an_option_that_is_not_there(entry: Entry) -> None:
    """What is to be changed can be found in the configuration under that name."""
    named = re.findall(r"`([a-z_]+)` in `\[+([a-z_]+)\]+`", " ".join(one.change for one in entry.defaults))
    tables = {**TABLES, **LISTS}
    assert [(key, table) for key, table in named if key not in tables[table].model_fields] == []


def test_numbers_are_those_of_the_settings() -> None:
    """The guide says the defaults that hold."""
    cold = " ".join(one.value for one in ENTRIES["cold-snap"].defaults)
    assert f"below {Vessel.model_fields['cold_below'].default:g} C" in cold
    assert f"{Alarms.model_fields['deadband'].default:g} C, for 10 min" in cold


def test_what_is_wet_and_live_comes_with_its_caution() -> None:
    """Every entry that sends a hand to a pump, a heater or a plug says to unplug or to keep it dry."""
    for rule in ("air-stopped", "air-weak", "no-news", "cold-snap", "too-hot", "store-air", "probe-suspect"):
        assert any("unplug" in step for step in ENTRIES[rule].todo), rule


def test_readme_has_the_guide_of_today() -> None:
    """What README says of the alarms is made from the entries: python -m monitor.guide.readme README.md."""
    text = README.read_text("utf-8")
    assert replaced(text) == text


def test_the_guide_takes_its_place_between_the_marks(tmp_path: Path) -> None:
    """What stands before and after stays; a file without marks is refused and left alone."""
    page = tmp_path / "page.md"
    page.write_text(f"before\n{BEGIN}\nold\n{END}\nafter\n")
    main([str(page)])
    assert page.read_text() == f"before\n{BEGIN}\n\n{markdown()}\n{END}\nafter\n"
    page.write_text("no marks")
    with pytest.raises(ValueError, match="allowed is a text with the lines"):
        main([str(page)])
    assert page.read_text() == "no marks"


@EACH
def test_the_command_line_explains_each_alarm_also_by_its_whole_id(entry: Entry) -> None:
    """In plain lines no wider than a terminal; no daemon is asked."""
    told = CliRunner().invoke(swimup, ["alarm", "explain", f"{entry.rule}:ash"])
    assert told.exit_code == 0
    assert told.output.startswith(f"{entry.example}: {entry.title}")
    assert all(len(line) <= 90 or line.startswith(entry.example) for line in told.output.splitlines())
    assert "`" not in told.output


def test_the_command_line_lists_all_and_helps_with_a_slip() -> None:
    """Without a name the list; with a wrong one the nearest."""
    listed = CliRunner().invoke(swimup, ["alarm", "explain"])
    assert [line.split()[0] for line in listed.output.splitlines()] == list(ENTRIES)
    slip = CliRunner().invoke(swimup, ["alarm", "explain", "air-stoped"])
    assert slip.exit_code == 2
    assert "Did you mean air-stopped?" in slip.output
