"""A probe is put right by one point or two; what cannot be a calibration is refused in words."""

from __future__ import annotations

import datetime as dt
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.model import DAY, Air, Quality
from monitor.core.quality import ProbeState, judge
from monitor.intake.decode import decode
from monitor.settings import ConfigError, Settings, from_document
from monitor.settings.loader import load_all
from monitor.settings.show import as_toml

TWO = {"at": "2026-03-01", "points": [[0.0, 0.4], [37.0, 37.7]]}


def with_probe(document: dict[str, Any], **options: Any) -> Settings:
    document["probe"][0].update(options)
    return from_document(document).settings


def told(settings: Settings, payload: bytes) -> float:
    (sample,) = decode(payload, settings.bindings()[0], 0)
    assert sample.value is not None
    return sample.value


def problem(document: dict[str, Any], **options: Any) -> str:
    with pytest.raises(ConfigError) as caught:
        with_probe(document, **options)
    (one,) = caught.value.problems
    assert one.pointer.startswith("/probe/0/")
    return str(one)


def test_two_points_shift_and_turn(document: dict[str, Any]) -> None:
    """At both points the reading is the true one, and between them in proportion."""
    settings = with_probe(document, calibration=TWO)
    assert told(settings, b"0.4") == pytest.approx(0.0)
    assert told(settings, b"37.7") == pytest.approx(37.0)
    assert told(settings, b"19.05") == pytest.approx(18.5)


def test_one_point_shifts(document: dict[str, Any]) -> None:
    """The same difference everywhere."""
    settings = with_probe(document, calibration={"at": dt.date(2026, 3, 1), "points": [[37.0, 36.5]]})
    assert told(settings, b"20.0") == pytest.approx(20.5)


@given(
    truth=st.tuples(st.floats(-5, 15), st.floats(26, 45)),
    off=st.tuples(st.floats(-0.9, 0.9), st.floats(-0.9, 0.9)),
    at=st.floats(0, 1),
)
def test_any_sane_pair_of_points_reads_true(truth: tuple[float, float], off: tuple[float, float], at: float) -> None:
    """Whatever the two points, in any order, a sensor that is linear between them is put right."""
    cold, warm = ([true, true + error] for true, error in zip(truth, off, strict=True))
    probe = {"id": "p", "topic": "t", "measures": "room", "calibration": {"at": "2026-03-01", "points": [warm, cold]}}
    settings = from_document(
        {
            "site": {"id": "s", "timezone": "UTC", "feeding_times": ["07:00"]},
            "vessel": [{"id": "ash", "litres": 1}],
            "probe": [probe],
        }
    ).settings
    true, reads = (cold[side] + at * (warm[side] - cold[side]) for side in (0, 1))
    assert told(settings, f"{reads:.9f}".encode()) == pytest.approx(true, abs=1e-6)


def test_a_probe_in_fahrenheit_is_calibrated_with_units(document: dict[str, Any]) -> None:
    """What is written in F means F; a bare number, which would be C, is refused there."""
    points = [["32 F", "32.9 F"], ["98.6 F", "98.6 F"]]
    settings = with_probe(document, unit="F", calibration={"at": "2026-03-01", "points": points})
    assert told(settings, b"32.9") == pytest.approx(0.0, abs=1e-9)
    assert told(settings, b"98.6") == pytest.approx(37.0)
    assert "bare number" in problem(document, calibration={"at": "2026-03-01", "points": [[0.0, 0.5]]})


def test_senml_in_kelvin_is_calibrated_too(document: dict[str, Any]) -> None:
    """The unit that a message tells is converted first."""
    settings = with_probe(document, decoder="senml", calibration={"at": "2026-03-01", "points": [[0.0, 0.5]]})
    assert told(settings, b'[{"n":"w","u":"K","v":293.65}]') == pytest.approx(20.0)


@pytest.mark.parametrize("raw", [b"85.0", b"-127"])
def test_what_a_broken_sensor_tells_is_still_known_by_its_number(document: dict[str, Any], raw: bytes) -> None:
    """A calibration must not hide that nothing was measured."""
    settings = with_probe(document, calibration=TWO, high=90.0, low=-140.0)
    (sample,) = decode(raw, settings.bindings()[0], 0)
    reading = judge(ProbeState(settings.probes[0].spec()), sample, 0)
    assert reading.quality is Quality.SUSPECT
    assert "power-on" in reading.reason or "did not answer" in reading.reason


@pytest.mark.parametrize(
    ("calibration", "said"),
    [
        ({"at": "2026-03-01", "points": [[0.0, 0.4], [5.0, 5.3]]}, "points 5 C apart; allowed: points at least 10 C"),
        ({"at": "2026-03-01", "points": [[0.0, 4.0], [20.0, 16.0]]}, "told 12 C more for 20 C"),
        ({"at": "2026-03-01", "points": [[0.0, 0.0], [20.0, -0.0]]}, "apart"),
        ({"at": "2026-03-01", "points": [[0.0, 32.0]]}, "32 C told at 0 C"),
        ({"at": "2026-03-01", "points": []}, "one point or two"),
        ({"at": "2026-03-01", "points": [[0, 0], [20, 20], [40, 40]]}, "one point or two"),
        ({"at": "2026-03-01", "points": [[0.0]]}, "[true, told]"),
        ({"at": "2026-03-01", "points": [["0 L", "0 C"]]}, "temperature"),
        ({"at": "last spring", "points": [[0.0, 0.4]]}, 'at = "last spring"'),
        ({"points": [[0.0, 0.4]]}, "a day and one point or two"),
        ("0.4", "a day and one point or two"),
    ],
)
def test_what_is_no_calibration_is_refused_in_words(document: dict[str, Any], calibration: Any, said: str) -> None:
    """Points too near, a slope beyond 0.8 to 1.2, a probe degrees off, a day that is none."""
    assert said in problem(document, calibration=calibration)


def test_only_a_temperature_has_one(document: dict[str, Any]) -> None:
    """Air is told so, and a reminder without a calibration too."""
    assert "temperatures only" in problem(document, measures="air", calibration=TWO)
    del document["probe"][0]["calibration"]
    assert "calibration with it" in problem(document, measures="water", recalibrate_after="90 d")


def test_it_is_due_after_its_time(document: dict[str, Any]) -> None:
    """Counted from the beginning of its day, UTC; without a calibration nothing is ever due."""
    day = 1_772_323_200_000  # 2026-03-01T00:00Z
    assert with_probe(document).probes[0].spec().calibrate_by is None
    assert with_probe(document, calibration=TWO).probes[0].spec().calibrate_by == day + 365 * DAY
    later = with_probe(document, calibration=TWO, recalibrate_after="90 d")
    assert later.probes[0].spec().calibrate_by == day + 90 * DAY


def test_what_is_in_force_reads_back(document: dict[str, Any], tmp_path: Any) -> None:
    """swimup check --show writes it so that it loads to the same."""
    loaded = from_document(document | {"probe": [document["probe"][0] | {"calibration": TWO}]})
    path = tmp_path / "shown.toml"
    path.write_text(as_toml(loaded), "utf-8")
    assert load_all(path).settings.probes[0].calibration == loaded.settings.probes[0].calibration
    shown = tomllib.loads(path.read_text("utf-8"))["probe"][0]
    assert shown["calibration"]["at"] == "2026-03-01"


def test_air_words_pass_a_binding_without_one(document: dict[str, Any]) -> None:
    """A word has no degrees."""
    (sample,) = decode(b"on", with_probe(document, calibration=TWO).bindings()[1], 0)
    assert Air(sample.running or 0) is Air.RUNNING
