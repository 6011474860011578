"""What a thermometer on the 1-Wire bus says, and what it says when it is not well."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.probe.fault import SensorFault
from monitor.probe.onewire import devices, judge, measure
from tests.board_tree import SCRATCHPAD, Tree, answer

if TYPE_CHECKING:
    from pathlib import Path

PROBE = "28-0316a2798fff"


def test_the_documented_answer_is_read() -> None:
    """The sample of the kernel's own documentation (w1_therm) is 24.625 C."""
    text = "8a 01 4b 46 7f ff 06 10 16 : crc=16 YES\n8a 01 4b 46 7f ff 06 10 16 t=24625\n"
    assert judge(text) == 24.625


@pytest.mark.parametrize(("milli", "celsius"), [(-55_000, -55.0), (-62, -0.062), (0, 0.0), (125_000, 125.0)])
def test_values_the_chip_can_measure_are_believed(milli: int, celsius: float) -> None:
    """Cold ones, nought, and both ends of the data sheet's range are readings."""
    assert judge(answer(milli)) == celsius


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (answer(24_625, fits=False), "checksum"),
        (answer(85_000), "85.0"),
        (answer(0, scratchpad="00 00 00 00 00 00 00 00 00"), "ground"),
        (answer(127_937), "more or less"),
        (answer(-127_000), "more or less"),
        ("", "cut short"),
        (f"{SCRATCHPAD} : crc=16 YES\n", "cut short"),
        ("\x00\xff nonsense", "cut short"),
    ],
)
def test_what_cannot_be_right_is_a_fault(text: str, says: str) -> None:
    """A broken wire, a chip that has just woken up and a short are told as what they are, never as a temperature."""
    with pytest.raises(SensorFault, match=says):
        judge(text)


def test_a_probe_that_is_gone_is_told_with_those_that_are_there(tmp_path: Path) -> None:
    """Whoever mistyped a number sees the right one."""
    tree = Tree(tmp_path)
    tree.thermometer("28-0316a2791abc", answer(21_000))
    with pytest.raises(SensorFault, match=f"{PROBE} is not on the bus; there: 28-0316a2791abc"):
        measure(tree.root, PROBE)
    assert devices(tree.root) == ["28-0316a2791abc"]


def test_a_board_without_the_bus_is_told_how_to_get_it(tmp_path: Path) -> None:
    """Where there is no bus at all, the fault says how to switch it on."""
    with pytest.raises(SensorFault, match="w1-gpio"):
        measure(tmp_path, PROBE)


def test_one_spark_costs_no_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A checksum that fails once is asked for again."""
    tree = Tree(tmp_path)
    tree.thermometer(PROBE, answer(24_000, fits=False))
    real = type(tmp_path).read_text

    def heal(path: Path, **how: str) -> str:
        text = real(path, **how)
        tree.thermometer(PROBE, answer(24_000))
        return text

    monkeypatch.setattr(type(tmp_path), "read_text", heal)
    assert measure(tree.root, PROBE) == 24.0
