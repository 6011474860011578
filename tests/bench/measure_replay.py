"""How many days a second are replayed; prints Markdown.

    python -m tests.bench.measure_replay

``swimup replay`` as a keeper calls it, over a week that is made up: one vessel whose water and air are told every 30 s, a batch
every other day, a line each half hour. Starting the command counts; processor time is what a busy machine adds little to.
"""

from __future__ import annotations

import json
import os
import subprocess
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from tests.bench.markdown import line
from tests.system.daemon import SWIMUP, air, configuration, water

if TYPE_CHECKING:
    from collections.abc import Iterator

BEGIN: Final = datetime(2026, 3, 1, tzinfo=UTC)
DAYS: Final = 7
EVERY_S: Final = (30, 300)  # as a probe reports, and as recordings are often kept
BATCH_EVERY: Final = 2  # days


def stamp(seconds: float) -> str:
    return f"{(BEGIN + timedelta(seconds=seconds)).isoformat()[:19]}Z"


def rows(every: int) -> Iterator[str]:
    yield "time,probe,value"
    for second in range(0, DAYS * 86_400, every):
        celsius = 24.5 + 1.5 * np.sin(2 * np.pi * second / 86_400)
        yield f"{stamp(second)},ash-water,{celsius:.2f}"
        yield f"{stamp(second)},ash-air,on"


def entries() -> Iterator[str]:
    for day in range(0, DAYS - 1, BATCH_EVERY):
        name, noon = f"b{day}", day * 86_400 + 43_200
        cysts = {"batch": name, "vessel": "ash", "lot": "tin-7", "cysts_g": 1, "litres": 1.5, "salinity_g_l": 25}
        yield json.dumps({"time": stamp(noon), "event": "start", **cysts})
        yield json.dumps({"time": stamp(noon + 20 * 3600), "event": "seen", "batch": name, "what": "some"})
        yield json.dumps({"time": stamp(noon + 30 * 3600), "event": "harvest", "batch": name})


def replayed(folder: Path, every: int) -> tuple[float, float, int, int]:
    """Seconds it lasted and of processor time; lines that came, and readings."""
    readings, log, config = folder / f"r{every}.csv", folder / "l.jsonl", folder / "c.toml"
    told = list(rows(every))
    readings.write_text("\n".join(told) + "\n")
    log.write_text("\n".join(entries()) + "\n")
    config.write_text(configuration("mqtt://127.0.0.1:1", water("ash"), air("ash")))
    command = [
        SWIMUP,
        "replay",
        "--config",
        str(config),
        "--readings",
        str(readings),
        "--log",
        str(log),
        "--every",
        "30m",
    ]
    before, began = os.times(), time.monotonic()
    done = subprocess.run(command, stdout=subprocess.PIPE, check=True)
    lasted, after = time.monotonic() - began, os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return lasted, used, len(done.stdout.splitlines()), len(told) - 1


def main() -> None:
    line("a value each", "readings", "lines", "days a second", "days a second of processor time")
    line(*["---:"] * 5)
    with tempfile.TemporaryDirectory() as folder:
        for every in EVERY_S:
            lasted, used, lines, readings = replayed(Path(folder), every)
            line(f"{every} s", str(readings), str(lines), f"{DAYS / lasted:.2f}", f"{DAYS / used:.2f}")


if __name__ == "__main__":
    main()
