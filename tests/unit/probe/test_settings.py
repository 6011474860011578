"""The small configuration of a board."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from monitor.core.model import Measures
from monitor.probe import settings as probe_settings
from monitor.probe.binding import bindings
from monitor.probe.example import example
from monitor.probe.settings import from_document, load
from monitor.settings import from_document as monitor_settings
from monitor.settings.errors import ConfigError

CONFIG = Path(__file__).parents[3] / "config"


def document(**tables: Any) -> dict[str, Any]:
    return {
        "board": {"id": "zero-1", "topic": "shed/zero-1"},
        "broker": {"url": "mqtt://127.0.0.1"},
        "pin": [{"id": "ash-air", "pin": 17}],
    } | tables


def problems(**tables: Any) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        from_document(document(**tables), "probe.toml")
    return [str(problem) for problem in caught.value.problems]


def test_the_example_has_not_drifted() -> None:
    """The example file is what the models make; otherwise run python -m monitor.probe.example."""
    assert (CONFIG / "probe.example.toml").read_text(encoding="utf-8") == example()


def test_the_example_loads_and_shows_each_kind_of_sensor() -> None:
    """The example is sound as it stands."""
    settings = load(CONFIG / "probe.example.toml")
    assert [len(settings.one_wire), len(settings.pin), len(settings.adc)] == [2, 2, 1]
    assert settings.topic(settings.pin[0]) == "shed/zero-1/ash-air"


def test_all_mistakes_are_told_at_once() -> None:
    """Each with its place, what was found, what is allowed, and what may have been meant."""
    told = problems(
        pins=[],
        broker={"url": "tcp://127.0.0.1"},
        pin=[{"id": "ash-air", "pin": 17}, {"id": "ash-air", "pin": 17, "pul": "up"}],
        one_wire=[{"id": "online", "device": "28-0316A2798FFF"}],
        adc=[{"id": "air", "device": "x", "channel": "voltage0", "swing": True, "least": 3, "most": 1}],
    )
    for part in (
        'unknown table or option "pins"; allowed: board, broker, one_wire, pin, adc. Did you mean "pin"?',
        'Write "mqtt://…"',
        '/pin/1/pul (pin "ash-air"): found the unknown option "pul"',
        '/pin/1/pin (pin "ash-air"): found 17 a second time',
        '/pin/1/id (pin "ash-air"): found "ash-air" a second time',
        "a device of the 1-Wire bus",
        "another id: on that topic the board says whether it is online",
        "20 or more with swing",
        "less than most, which is 1",
    ):
        assert sum(part in line for line in told) == 1, (part, told)
    assert len(told) == 9


def test_a_board_without_a_sensor_is_refused() -> None:
    """Nothing to publish is a mistake, and where to look is told."""
    (told,) = problems(pin=[])
    assert "swimup probe --list" in told


def test_what_is_printed_for_the_monitor_is_sound() -> None:
    """The tables that --bindings prints, put beside vessels of those names, are a configuration without a mistake."""
    text = bindings(load(CONFIG / "probe.example.toml"))
    settings = monitor_settings(
        {
            "site": {"id": "shed", "timezone": "Europe/Berlin", "feeding_times": ["07:00"]},
            "vessel": [{"id": name, "litres": 1.5} for name in ("ash", "birch", "cedar")],
            **tomllib.loads(text),
        }
    ).settings
    assert [probe.measures for probe in settings.probes] == [
        Measures.WATER,
        Measures.ROOM,
        Measures.AIR,
        Measures.AIR,
        Measures.AIR,
    ]


def test_the_count_is_kept_where_systemd_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a state folder from the service manager the file is there, otherwise in the home."""
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/swimup-probe")
    assert from_document(document()).board.count_file == Path("/var/lib/swimup-probe/zero-1.count")
    monkeypatch.delenv("STATE_DIRECTORY")
    monkeypatch.setenv("HOME", "/home/keeper")
    assert from_document(document()).board.count_file == Path("/home/keeper/.local/state/swimup/zero-1.count")


def test_a_day_is_read_without_pint(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lengths of time need nothing that a small board lacks."""
    monkeypatch.setitem(__import__("sys").modules, "pint", None)
    board = {"id": "zero-1", "topic": "shed/zero-1", "keep": "1.5 d"}
    assert from_document(document(board=board)).board.keep == 36 * probe_settings.HOUR
