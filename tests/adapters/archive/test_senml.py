from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

from monitor.archive import ArchiveProblem, Choice, bring_back, write_out
from monitor.core.model import Air, Measures, Quality, Reading, Sample
from monitor.intake.binding import Binding
from monitor.intake.decode import LARGEST, decode
from monitor.store import Store
from tests.adapters.archive.filled import T0

if TYPE_CHECKING:
    from pathlib import Path


def packs(tmp_path: Path, readings: list[Reading]) -> dict[str, list[bytes]]:
    """Lines of each file, by the name of its probe."""
    path = tmp_path / "first.sqlite3"
    with Store.open(path) as store:
        for reading in readings:
            store.add(reading)
        store.commit()
    measures = {"ash-water": Measures.WATER, "ash-air": Measures.AIR}
    write_out(path, tmp_path / "one", Choice(form="senml", measures=measures))
    found: dict[str, list[bytes]] = {}
    for file in sorted((tmp_path / "one/readings").iterdir()):
        lines = file.read_bytes().splitlines()
        found[json.loads(lines[0])[0]["bn"]] = lines
    return found


def read_back(lines: list[bytes], probe: str, measures: Measures) -> list[Sample]:
    """As the intake reads messages."""
    binding = Binding("t", probe, "senml", measures, name=probe, is_word=measures is Measures.AIR)
    assert all(len(line) <= LARGEST for line in lines)
    return [sample for line in lines for sample in decode(line, binding, None)]


def test_the_intake_reads_what_goes_out(tmp_path: Path) -> None:
    """Every line is a message: values to the thousandth and times to the millisecond come out as they went in."""
    water = [Reading("ash-water", T0 + n * 10_007, 24_000 + n * 37 % 5_000, arrived=T0) for n in range(2_500)]
    states = [list(Air)[n % 3] for n in range(1_200)]
    air = [Reading("ash-air", T0 + n * 999, air.milli, state=air, arrived=T0) for n, air in enumerate(states)]
    found = packs(tmp_path, water + air)
    assert {probe: len(lines) for probe, lines in found.items()} == {"ash-water": 3, "ash-air": 2}
    there = read_back(found["ash-water"], "ash-water", Measures.WATER)
    assert [(sample.time, round((sample.value or 0) * 1000)) for sample in there] == [(r.time, r.milli) for r in water]
    words = read_back(found["ash-air"], "ash-air", Measures.AIR)
    assert words == [Sample.of_air(air, reading.time) for air, reading in zip(states, air, strict=True)]
    assert json.loads(found["ash-water"][0])[0] == {"bn": "ash-water", "bt": T0 // 1000, "bu": "Cel", "t": 0, "v": 24.0}


def test_what_cannot_be_told_stays_out(tmp_path: Path) -> None:
    """No doubtful reading, no count that told nothing yet, and no time that would be read as relative."""
    found = packs(
        tmp_path,
        [
            Reading("ash-water", T0, 85_000, Quality.SUSPECT, "power-on", arrived=T0),
            Reading("ash-water", T0 + 1, 24_000, Quality.QUEUED, "waited", arrived=T0),
            Reading("ash-water", 1_000, 24_000, arrived=1_000),
            Reading("ash-air", T0, 17_000, arrived=T0),
            Reading("ash-water", T0 + 2, 24_001, Quality.CLAMPED, "ahead", arrived=T0),
        ],
    )
    assert [json.loads(line) for line in found.pop("ash-water")] == [
        [{"bn": "ash-water", "bt": T0 // 1000, "bu": "Cel", "t": 0.002, "v": 24.001}]
    ]
    assert found == {}
    with pytest.raises(ArchiveProblem, match="a form without doubts"):
        bring_back(tmp_path / "one", tmp_path / "second.sqlite3")
