"""The example file is the models', and the effective configuration is what is in force."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from monitor.settings import from_document, load
from monitor.settings.base import extra_of, form_of
from monitor.settings.example import example, sample
from monitor.settings.loader import load_all
from monitor.settings.settings import LISTS, TABLES
from monitor.settings.show import as_toml

CONFIG = Path(__file__).parents[3] / "config"
EXAMPLE = CONFIG / "swimup.example.toml"


def test_the_example_has_not_drifted() -> None:
    """The example file is what the models make; otherwise run python -m monitor.settings.example."""
    assert EXAMPLE.read_text(encoding="utf-8") == example()


def test_the_example_loads() -> None:
    """The example is a sound configuration as it stands."""
    settings = load(EXAMPLE)
    assert len(settings.vessels) == 2
    assert {probe.decoder for probe in settings.probes} == {"number", "json", "senml"}


@pytest.mark.parametrize("name", [*TABLES, *LISTS])
def test_the_example_explains_every_option(name: str) -> None:
    """Each option stands in the example, once in full, with its description, what is allowed and its default."""
    text = example()
    head = f"[{name}]" if name in TABLES else f"[[{name}]]"
    start = re.search(rf"^(# )?{re.escape(head)}$", text, re.MULTILINE)
    assert start is not None
    part = re.split(r"\n\n\n", text[start.end() :])[0]
    flat = re.sub(r"\s*\n# ", " ", part)
    for key, field in (TABLES | LISTS)[name].model_fields.items():
        assert field.description is not None
        assert field.description.endswith(".")
        assert " ".join(field.description.split()) in flat
        assert re.search(rf"^(# )?{key} = ", part, re.MULTILINE), key
        assert f"Allowed: {form_of(field).allowed}." in flat
        assert "Required." in flat or "Default: " in flat


def fits(name: str, key: str, value: Any) -> bool:
    """Whether an option can be used as the example writes it, in a table where it belongs."""
    kind = (TABLES | LISTS)[name]
    air = {"threshold", "deadband", "weak_below", "pulses", "words_on", "words_off", "words_weak"}
    given = {"measures": "air" if key in air else "water"} if name == "probe" else {}
    kept: dict[str, Any] = {}
    try:
        kind.model_validate(given | {key: value}, context={"kept": kept})
    except ValueError:
        return key in kept
    return True


@pytest.mark.parametrize(
    ("name", "key"), [(name, key) for name, kind in (TABLES | LISTS).items() for key in kind.model_fields]
)
def test_every_sample_of_an_option_is_right(name: str, key: str) -> None:
    """Taking away the "#" before an option of the example gives a value of the right form."""
    field = (TABLES | LISTS)[name].model_fields[key]
    value = tomllib.loads(f"value = {sample(field)}")["value"]
    assert fits(name, key, value), (value, extra_of(field, "example"))


@pytest.mark.parametrize("file", ["minimal.toml", "shed.toml", "swimup.example.toml"])
def test_what_is_shown_loads_to_the_same(file: str) -> None:
    """The effective configuration, loaded again, gives the very same settings for the core and the intake."""
    loaded = load_all(CONFIG / file)
    again = from_document(tomllib.loads(as_toml(loaded))).settings
    assert again.site_spec() == loaded.settings.site_spec()
    assert again.bindings() == loaded.settings.bindings()
    assert (again.broker, again.store, again.web) == (
        loaded.settings.broker,
        loaded.settings.store,
        loaded.settings.web,
    )


def test_what_is_shown_says_where_it_came_from() -> None:
    """Each line tells whether the file, the command line or the default gave its value."""
    shown = as_toml(
        load_all(CONFIG / "minimal.toml", {"web": {"port": 9000}, "channel": [{"url": "json://127.0.0.1/x"}]})
    )
    assert 'id = "shed"  # this file' in shown
    assert "port = 9000  # the command line" in shown
    assert 'version = "auto"  # default' in shown
    assert 'url = "(not shown)"  # the command line' in shown
    assert 'id = "json-1"  # default' in shown
