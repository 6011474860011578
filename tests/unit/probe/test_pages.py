"""What the pages for keepers tell to write is sound, and reads as they say."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from monitor.core.model import MINUTE, SECOND, Air
from monitor.core.quality import ProbeState, judge
from monitor.intake.decode import decode
from monitor.probe.settings import BoardSettings
from monitor.probe.settings import from_document as board_settings
from monitor.settings import Settings
from monitor.settings import from_document as monitor_settings

DEPLOY = Path(__file__).parents[3] / "deploy"
PUMP = (DEPLOY / "air-pump.md").read_text(encoding="utf-8")
MICRO = (DEPLOY / "micropython/README.md").read_text(encoding="utf-8")
T0 = 1_770_000_000_000
WORDS = {"running": Air.RUNNING, "weak": Air.WEAK, "stopped": Air.STOPPED}


def blocks(text: str, first: str) -> list[str]:
    """The TOML of a page that begins so."""
    return [block for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL) if block.startswith(first)]


def monitor(text: str) -> Settings:
    site = {"id": "shed", "timezone": "Europe/Berlin", "feeding_times": ["07:00"]}
    vessels = [{"id": name, "litres": 1.5} for name in ("ash", "birch", "cedar")]
    return monitor_settings({"site": site, "vessel": vessels, **tomllib.loads(text)}).settings


def board(text: str) -> BoardSettings:
    head = {"board": {"id": "zero-1", "topic": "shed/zero-1"}, "broker": {"url": "mqtt://127.0.0.1"}}
    return board_settings({**head, **tomllib.loads(text)})


def test_all_blocks_go_into_one_file_each() -> None:
    """The blocks of the page together are one sound configuration of the monitor, and one of a board."""
    probes = monitor("\n".join(blocks(PUMP, "# swimup.toml"))).probes
    sensors = board("\n".join(blocks(PUMP, "# probe.toml"))).sensors
    assert len(probes) == 6
    assert {sensor.id for sensor in sensors} == {probe.id for probe in probes if probe.topic.startswith("shed/zero-1/")}
    assert len(blocks(PUMP, "")) == len(probes) + len(sensors)


def payload(probe: Any, value: str) -> bytes:
    told = value if re.fullmatch(r"[\d.]+", value) else f'"{value}"'
    return f'{{"{probe.pointer.removeprefix("/")}":{told},"time":null,"n":1}}'.encode()


@pytest.mark.parametrize("text", blocks(PUMP, "# swimup.toml"), ids=lambda text: re.findall(r'id = "(.*?)"', text)[0])
def test_what_it_reads_is_what_the_page_says(text: str) -> None:
    """The examples at the head of each block are judged by the monitor's core as the page calls them."""
    (probe,) = monitor(text).probes
    head = text.partition("\n")[0].partition(": ")[2]
    examples = [part.split(" ") for part in head.split(", ")]
    assert {word for word, _ in examples} >= {"running", "stopped"}
    assert ("weak" in head) is (probe.weak_below is not None)
    for word, value in examples:
        state = ProbeState(probe.spec())
        readings = [value]
        if probe.pulses:
            readings = ["1000", str(1000 + float(value) * probe.every / MINUTE)]
        judged = []
        for number, one in enumerate(readings):
            (sample,) = decode(payload(probe, one), probe.binding(), None)
            judged.append(judge(state, sample, T0 + number * 10 * SECOND))
        assert judged[-1].state == WORDS[word], (word, value)


def test_the_page_about_microcontrollers_gives_a_sound_probe() -> None:
    """Its block, beside a vessel of that name, is a configuration without a mistake."""
    (text,) = blocks(MICRO, "[[probe]]")
    assert [probe.id for probe in monitor(text).probes] == ["ash-water"]


def test_the_pages_name_the_dangers() -> None:
    """Mains near water comes before any way of sensing."""
    dangers = PUMP.partition("## Which one")[0]
    for word in ("RCD", "GFCI", "drip loop", "Never open", "electrician", "local codes", "check valve"):
        assert word.casefold() in dangers.casefold(), word
