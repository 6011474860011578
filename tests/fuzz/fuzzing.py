"""Runs the fuzzer's process over a target, judges what it found, and keeps what is new."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from tests.fuzz.target import LIMIT_MS, kept

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

ROOT: Final = Path(__file__).resolve().parents[2]
LOOK_S: Final = 0.5
ALONE_S: Final = 120
HEAD: Final = (
    "| target | inputs | taken | kept | crashes | slowest, ms (allowed) | seconds |\n|---|---|---|---|---|---|---|"
)
MISSING: Final = (
    "atheris is not installed: it is to be had for CPython 3.11 to 3.13 on x86-64 Linux. The rest of tests/fuzz runs "
    "without it."
)


def to_be_had() -> bool:
    """Whether there is a wheel of atheris for this Python and machine."""
    here = (sys.platform, os.uname().machine, sys.implementation.name)
    return here == ("linux", "x86_64", "cpython") and (3, 11) <= sys.version_info[:2] <= (3, 13)


def installed() -> bool:
    return find_spec("atheris") is not None


@dataclass(slots=True)
class Found:
    """What a run over one target came to. ``faults``: a line for each place that raised, for a hang, or for a slow input."""

    target: str
    inputs: int
    taken: int
    kept: int
    crashes: int
    slowest_ms: float
    limit_ms: float
    seconds: float
    faults: list[str] = field(default_factory=list)

    def line(self) -> str:
        cells = (
            self.target,
            f"{self.inputs:,}".replace(",", " "),
            f"{100 * self.taken / max(self.inputs, 1):.0f} %",
            self.kept,
            self.crashes,
            f"{self.slowest_ms:.2f} ({self.limit_ms:g})",
            f"{self.seconds:.0f}",
        )
        return f"| {' | '.join(map(str, cells))} |"


def fuzz(
    target: str,
    inputs: int,
    place: Path,
    *,
    seed: int = 1,
    limit_ms: float = LIMIT_MS,
    progress: Callable[[int], object] = lambda _: None,
) -> Found:
    """One run. In ``place`` grows the corpus of each target, and lies what failed."""
    corpus, found, work = (place / what / target for what in ("corpus", "found", "work"))
    shutil.rmtree(work, ignore_errors=True)
    for folder in (corpus, found, work):
        folder.mkdir(parents=True, exist_ok=True)
    result = work / "result.json"
    command = [sys.executable, "-m", "tests.fuzz.child", target, "--inputs", str(inputs), "--seed", str(seed)]
    command += ["--corpus", str(corpus), "--found", str(found), "--result", str(result), "--more", _ours(target, work)]
    begun = time.monotonic()
    log = work / "log.txt"
    with log.open("wb") as out:
        child = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT)
        try:
            while child.poll() is None:
                time.sleep(LOOK_S)
                progress(_read(result).get("inputs", 0))
        finally:
            child.kill()
            child.wait()
    told = _read(result)
    made = Found(
        target, told.get("inputs", 0), told.get("taken", 0), len(list(corpus.iterdir())), 0, 0.0, limit_ms, 0.0
    )
    made.faults = [f"{target}: {place}, {what}" for place, what in told.get("faults", {}).items()]
    if child.returncode or made.inputs < inputs:
        made.faults.append(f"{target}: the process ended with {child.returncode} after {made.inputs} inputs; see {log}")
    made.crashes = len(made.faults)
    made.slowest_ms = _time_alone(made, [bytes.fromhex(one) for one in told.get("slow", [])], work, found)
    made.seconds = time.monotonic() - begun
    return made


def _ours(target: str, work: Path) -> str:
    """A folder with a copy of what is kept in the repository: libFuzzer takes only folders that are there."""
    folder = work / "ours"
    folder.mkdir()
    for path in kept(target):
        shutil.copy(path, folder)
    return str(folder)


def _read(result: Path) -> dict[str, Any]:
    try:
        told: dict[str, Any] = json.loads(result.read_text())
    except (OSError, ValueError):
        return {}  # not yet, or half of it
    return told


def _time_alone(made: Found, slow: Sequence[bytes], work: Path, found: Path) -> float:
    """The slowest, ms, each timed three times in a process of its own; one that is too slow is kept and is a fault."""
    folder = work / "slow"
    folder.mkdir()
    files = []
    for number, data in enumerate(slow):
        path = folder / f"{number:02}"
        path.write_bytes(data)
        files.append(str(path))
    if not files:
        return 0.0
    command = [sys.executable, "-m", "tests.fuzz.alone", made.target, *files]
    try:
        done = subprocess.run(
            command, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=ALONE_S, check=True
        )
    except (subprocess.TimeoutExpired, subprocess.CalledProcessError) as fault:
        made.faults.append(f"{made.target}: timing its slowest inputs alone failed: {fault}")
        return float("inf")
    slowest = 0.0
    for line in done.stdout.splitlines():
        told = json.loads(line)
        took = told["ms"] or 0.0
        slowest = max(slowest, took)
        if took > made.limit_ms:
            name = f"slow-{Path(told['file']).name}"
            shutil.copy(told["file"], found / name)
            made.faults.append(f"{made.target}: {name} took {took:.0f} ms; at most {made.limit_ms:g} are allowed")
    return slowest
