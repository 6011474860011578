"""What the other parts are given of a sound configuration."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from monitor.core.model import DAY, HOUR, MINUTE, SECOND, AirRule, AlarmSettings, Measures
from monitor.settings import from_document, load
from monitor.settings.notices import notices

CONFIG = Path(__file__).parents[3] / "config"
Document = dict[str, Any]


def test_the_minimal_configuration_loads() -> None:
    """The contract's minimal file needs nothing else; everything has its default."""
    settings = load(CONFIG / "minimal.toml")
    assert settings.broker.client_id == "swimup-shed"
    assert settings.broker.version == "auto"
    assert settings.web.host == "127.0.0.1"
    assert settings.web.port == 8417
    assert settings.store.commit_every == 60 * SECOND
    spec = settings.site_spec()
    assert spec.alarms == AlarmSettings()
    assert spec.vessels["ash"].cold_below == 18.0
    assert spec.vessels["ash"].hot_above == 32.0
    assert spec.probes["ash-water"].every == 10 * SECOND


def test_the_demo_configuration_loads() -> None:
    """The invented shed has its three vessels, each with water and air, and a room."""
    settings = load(CONFIG / "shed.toml")
    spec = settings.site_spec()
    assert {vessel.id: vessel.litres for vessel in settings.vessels} == {"ash": 1.5, "birch": 2.0, "cedar": 1.0}
    assert spec.feeding_times == (7 * 60, 12 * 60, 18 * 60)
    assert spec.probes["birch-air"].air == AirRule("level", 2.0, 0.5)
    assert {probe.measures for probe in settings.probes if probe.vessel == "cedar"} == {Measures.WATER, Measures.AIR}
    assert [notice for notice in notices(settings) if "channel" not in notice] == []


def test_units_reach_the_core_as_internal_ones(document: Document) -> None:
    """Whatever unit the keeper wrote, the core sees C, L and milliseconds."""
    document["vessel"][0] |= {"litres": "1500 mL", "cold_below": "68 F", "fall": "3.6 F", "fall_within": "30 min"}
    document["alarms"] = {"deadband": "0.9 F", "on_delay": "2 min"}
    document["probe"][0] |= {"unit": "F", "low": "32 F", "high": 45, "max_change": "1.8 F/min"}
    spec = from_document(document).settings.site_spec()
    vessel = spec.vessels["ash"]
    assert vessel.litres == 1.5
    assert vessel.cold_below == pytest.approx(20.0)
    assert vessel.fall_c == pytest.approx(2.0)
    assert vessel.fall_within == 30 * MINUTE
    assert spec.alarms.deadband_c == pytest.approx(0.5)
    assert spec.alarms.on_delay == 2 * MINUTE
    probe = spec.probes["ash-water"]
    assert (probe.low, probe.high, probe.max_rate) == pytest.approx((0.0, 45.0, 1.0))


def test_a_binding_carries_the_unit_into_celsius(document: Document) -> None:
    """A probe in F is bound with the scale and offset that make C of its numbers."""
    document["probe"][0]["unit"] = "F"
    water, air, room = from_document(document).settings.bindings()
    assert 212 * water.scale + water.offset == pytest.approx(100.0)
    assert water.unit == "[degF]"
    assert (room.scale, room.offset, room.unit) == (1.0, 0.0, "Cel")
    assert air.is_word
    assert not water.is_word


@pytest.mark.parametrize(
    ("options", "rule"),
    [
        ({}, AirRule("word")),
        ({"threshold": 2.5, "deadband": 0.5, "unit": "W"}, AirRule("level", 2.5, 0.5)),
        ({"threshold": "2500 mW", "unit": "W"}, AirRule("level", 2.5, 0.0)),
        ({"threshold": "90 L/h", "deadband": "0.5 L/min", "unit": "L/min"}, AirRule("level", 1.5, 0.5)),
        ({"threshold": 30, "pulses": True}, AirRule("pulses", 30.0, 0.0)),
        ({"threshold": 30, "pulses": True, "weak_below": 90}, AirRule("pulses", 30.0, 0.0, 90.0)),
        ({"threshold": 1.5, "weak_below": "180 L/h", "unit": "L/min"}, AirRule("level", 1.5, 0.0, 3.0)),
    ],
)
def test_air_is_told_by_word_level_or_pulses(document: Document, options: Document, rule: AirRule) -> None:
    """The options of an air probe become one of the three rules, in the probe's own unit."""
    document["probe"][1] |= options
    settings = from_document(document).settings
    assert settings.site_spec().probes["ash-air"].air == rule
    assert settings.bindings()[1].is_word is (rule.kind == "word")


def test_words_of_air_are_compared_without_case(document: Document) -> None:
    """A keeper's own words come to the decoder folded and without space around them."""
    document["probe"][1] |= {"words_on": [" Läuft ", "AN"], "words_off": ["Aus"]}
    binding = from_document(document).settings.bindings()[1]
    assert binding.words_on == {"läuft", "an"}
    assert binding.words_off == {"aus"}
    assert binding.words_weak == {"weak", "low"}


def test_a_word_that_has_a_meaning_never_means_weak_by_default(document: Document) -> None:
    """A keeper whose probe says "low" for stopped needs to write nothing else; words for weak air of his own replace ours."""
    document["probe"][1]["words_off"] = ["low"]
    assert from_document(document).settings.bindings()[1].words_weak == {"weak"}
    document["probe"][1]["words_weak"] = ["Schwach"]
    assert from_document(document).settings.bindings()[1].words_weak == {"schwach"}


def test_two_values_of_one_message_are_two_probes(document: Document) -> None:
    """Two probes may share a topic when each has a pointer of its own."""
    document["probe"][0] |= {"topic": "shed/ash", "decoder": "json", "pointer": "/t"}
    document["probe"][1] |= {"topic": "shed/ash", "decoder": "json", "pointer": "/air"}
    assert [binding.pointer for binding in from_document(document).settings.bindings()] == ["/t", "/air", ""]


def test_feeding_times_come_sorted_in_minutes(document: Document) -> None:
    """The core gets feeding times as sorted minutes after midnight."""
    assert from_document(document).settings.site_spec().feeding_times == (7 * 60, 18 * 60)


def test_settings_cannot_be_changed(document: Document) -> None:
    """Settings are frozen, all the way down."""
    settings = from_document(document).settings
    with pytest.raises(ValidationError):
        settings.web.port = 1
    with pytest.raises(AttributeError):
        settings.vessels = ()  # type: ignore[misc]
    hash(settings.vessels)


def test_the_command_line_wins_over_the_file(document: Document) -> None:
    """Options of the command line replace the file's, and its lists of tables are appended; the document is left alone."""
    document["channel"] = [{"url": "json://127.0.0.1:1"}]
    overlay = {"broker": {"url": "mqtt://127.0.0.1:2"}, "channel": [{"url": "json://127.0.0.1:3"}]}
    loaded = from_document(document, overlay=overlay)
    assert loaded.settings.broker.url == "mqtt://127.0.0.1:2"
    assert [channel.id for channel in loaded.settings.channels] == ["json-1", "json-2"]
    assert loaded.origin("/broker/url") == loaded.origin("/channel/1/url") == "the command line"
    assert loaded.origin("/channel/0/url") == "this file"
    assert document["broker"] == {"url": "mqtt://127.0.0.1:1883"}
    assert len(document["channel"]) == 1


@pytest.mark.parametrize(
    ("variables", "path", "origin"),
    [
        (
            {"SWIMUP_HOME": "/srv/fish", "XDG_STATE_HOME": "/state"},
            "/srv/fish/shed.sqlite3",
            "environment variable SWIMUP_HOME",
        ),
        ({"XDG_STATE_HOME": "/state"}, "/state/swimup/shed.sqlite3", "environment variable XDG_STATE_HOME"),
        ({}, "/home/keeper/.local/state/swimup/shed.sqlite3", "default"),
    ],
)
def test_the_store_has_its_place(
    document: Document, monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], path: str, origin: str
) -> None:
    """Without a path the store lies in the service's own folder, the state folder, or the home, in this order."""
    for name in ("SWIMUP_HOME", "XDG_STATE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", "/home/keeper")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    loaded = from_document(document)
    assert loaded.settings.store.path == Path(path)
    assert loaded.origin("/store/path") == origin


def test_relative_files_are_beside_the_configuration(document: Document, tmp_path: Path) -> None:
    """A relative file name is looked up in the folder of the configuration file, an absolute one is left."""
    document["store"] = {"path": "data/readings.sqlite3"}
    document["web"] = {"cert_file": "/etc/page.pem", "key_file": "page.key"}
    settings = from_document(document, base=tmp_path).settings
    assert settings.store.path == tmp_path / "data/readings.sqlite3"
    assert settings.web.cert_file == Path("/etc/page.pem")
    assert settings.web.key_file == tmp_path / "page.key"


def test_notices_tell_what_is_lacking_without_being_wrong(document: Document) -> None:
    """A vessel without probes, an unknown strain and no channel are told, and do not stop anything."""
    document["lot"][0]["strain"] = "great salt lak"
    told = "\n".join(notices(from_document(document).settings))
    assert '"birch" has no water probe' in told
    assert '"birch" has no air probe' in told
    assert 'Did you mean "Great Salt Lake"?' in told
    assert "reach no phone" in told


def test_durations_are_milliseconds(document: Document) -> None:
    """Durations come as whole milliseconds, from text and from bare seconds."""
    document["probe"][0]["every"] = 2.5
    document["probe"][1]["every"] = "1 day"
    document["vessel"][0]["fall_within"] = "2 h"
    settings = from_document(document).settings
    assert [probe.every for probe in settings.probes] == [2500, DAY, 60 * SECOND]
    assert settings.vessels[0].fall_within == 2 * HOUR
