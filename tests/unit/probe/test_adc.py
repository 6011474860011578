"""Voltages as the kernel's converters give them, and what is made of them."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, Any

import pytest

from monitor.probe import adc
from monitor.probe.fault import SensorFault
from monitor.probe.settings import Adc
from tests.board_tree import Tree

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def tree(tmp_path: Path) -> Tree:
    """A converter of 3 mV a step with two inputs, behind one that is something else."""
    made = Tree(tmp_path)
    made.converter(0, name="thermal", in_temp_raw="7")
    made.converter(1, name="ads1015", in_voltage0_raw="500", in_voltage1_raw="40", in_voltage_scale="3.000000000")
    return made


def settings(**given: Any) -> Adc:
    return Adc.model_validate({"id": "cedar-air", "device": "ads1015", "channel": "voltage0"} | given)


def never(_seconds: float) -> None:
    """No test waits."""


def test_volts_are_what_the_kernel_says_they_are(tree: Tree) -> None:
    """Millivolts = (raw + offset) * scale (sysfs-bus-iio); the sensor's own line makes units of them."""
    assert adc.measure(tree.root, settings(), never) == 1.5
    tree.converter(1, in_voltage0_offset="-100")
    assert adc.measure(tree.root, settings(), never) == 1.2
    assert adc.measure(tree.root, settings(factor=2.5, shift=-1.25), never) == 1.75


def test_an_input_may_have_a_scale_of_its_own(tree: Tree) -> None:
    """What is told for the one input goes before what is told for all."""
    tree.converter(1, in_voltage0_scale="1.0")
    assert adc.measure(tree.root, settings(device="iio:device1"), never) == 0.5


def test_swing_is_the_root_mean_square_about_the_mean(tree: Tree, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sine of 1 V about 1.65 V swings by 1/sqrt(2) V, wherever its middle lies."""
    looks = itertools.cycle([1.65 + math.sin(2 * math.pi * step / 100) for step in range(100)])
    monkeypatch.setattr(adc, "volts", lambda *_: next(looks))
    assert adc.measure(tree.root, settings(swing=True, samples=100), never) == pytest.approx(1 / math.sqrt(2), abs=1e-4)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"least": 2.0}, "below 2 V: a broken wire"),
        ({"most": 1.0}, "above 1 V: a short"),
        ({"channel": "voltage7"}, 'no input "voltage7"'),
        ({"device": "ads1115"}, "there: ads1015"),
    ],
)
def test_what_the_wiring_cannot_give_is_a_fault(tree: Tree, given: dict[str, Any], says: str) -> None:
    """A broken wire is not taken for an air line without pressure."""
    with pytest.raises(SensorFault, match=says):
        adc.measure(tree.root, settings(**given), never)


@pytest.mark.parametrize(
    ("files", "says"), [({"in_voltage0_raw": "??"}, "no number"), ({"in_voltage_scale": ""}, "no number")]
)
def test_a_converter_that_talks_nonsense_is_a_fault(tree: Tree, files: dict[str, str], says: str) -> None:
    """What is no number is not taken for nought."""
    tree.converter(1, **files)
    with pytest.raises(SensorFault, match=says):
        adc.measure(tree.root, settings(), never)


def test_a_converter_without_a_scale_is_a_fault(tmp_path: Path) -> None:
    """Steps of unknown size are no voltage."""
    tree = Tree(tmp_path / "other")
    tree.converter(0, name="ads1015", in_voltage0_raw="500")
    with pytest.raises(SensorFault, match="how many millivolts"):
        adc.measure(tree.root, settings(), never)


def test_looks_are_spread_unevenly(tree: Tree) -> None:
    """Mains of 50 or 60 Hz is not met at the same phase each time: no pause between looks is a multiple of another."""
    waits: list[float] = []
    adc.measure(tree.root, settings(samples=4), waits.append)
    assert len(waits) == 3
    for hertz in (50, 60, 100, 120):
        phases = {round(sum(waits[:count]) * hertz % 1, 2) for count in range(4)}
        assert len(phases) == 4
