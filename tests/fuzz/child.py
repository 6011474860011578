"""One run of the coverage-guided fuzzer over one target, in a process of its own: libFuzzer ends the process it runs in.

    python -m tests.fuzz.child decode --inputs 1000 --corpus DIR --found DIR --result FILE

The code of the program is loaded with its branches watched, so nothing of it may be imported before. Whatever a target raises is
kept with the input, and the run goes on; each place in the code is told once.
"""

from __future__ import annotations

import argparse
import heapq
import json
import os
import sys
import time
import traceback
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import atheris

if TYPE_CHECKING:
    from tests.fuzz.target import Target

WATCHED: Final = ["monitor", "tomllib", "tests.fuzz.planted"]
SLOWEST: Final = 8
"""So many of the slowest inputs are kept, to be timed again alone."""
WRITES_EVERY: Final = 20_000
HANG_S: Final = 60
"""By the clock; then libFuzzer ends the process and keeps the input. A busy machine may take long over a short one."""
MEMORY_MB: Final = 2048


class Run:
    """Counts, times and keeps. ``into`` is the folder for inputs that failed."""

    def __init__(self, target: Target, inputs: int, into: Path, result: Path) -> None:
        self.target, self.inputs, self.into, self.result = target, inputs, into, result
        self.count = self.taken = 0
        self.faults: dict[str, str] = {}
        self.slow: list[tuple[int, bytes]] = []
        self.begun = time.monotonic()

    def one(self, data: bytes) -> None:
        """Called by libFuzzer with each input."""
        begun = time.process_time_ns()
        try:
            self.taken += self.target.one(data)
        except Exception as fault:  # noqa: BLE001  (whatever it is, it is what is looked for)
            self._keep(fault, data)
        took = time.process_time_ns() - begun
        if len(self.slow) < SLOWEST:
            heapq.heappush(self.slow, (took, data))
        elif took > self.slow[0][0]:
            heapq.heapreplace(self.slow, (took, data))
        self.count += 1
        if self.count >= self.inputs:
            self.write()
            sys.stdout.flush()
            os._exit(0)  # libFuzzer would end it too, a little later
        if self.count % WRITES_EVERY == 0:
            self.write()

    def write(self) -> None:
        told: dict[str, Any] = {
            "inputs": self.count,
            "taken": self.taken,
            "faults": self.faults,
            "slow": [data.hex() for _, data in sorted(self.slow, reverse=True)],
            "seconds": time.monotonic() - self.begun,
        }
        self.result.write_text(json.dumps(told))

    def _keep(self, fault: Exception, data: bytes) -> None:
        place = traceback.extract_tb(fault.__traceback__)[-1]
        key = f"{type(fault).__name__} at {Path(place.filename).name}:{place.lineno}"
        if key in self.faults:
            return
        name = f"fault-{sha256(data).hexdigest()[:12]}"
        (self.into / name).write_bytes(data)
        self.faults[key] = f"{name}: {str(fault)[:200]}"
        self.write()


def main() -> None:
    wanted = _arguments()
    with atheris.instrument_imports(include=WATCHED):
        from tests.fuzz.target import find, warm

        target = find(wanted.target)
    warm(target)
    words = wanted.result.with_suffix(".words")
    words.write_text(
        '"\\x00"\n' + "".join(f'"{_escaped(word)}"\n' for word in target.words)
    )  # libFuzzer refuses an empty one
    seeds = wanted.result.with_suffix(".seeds")
    seeds.mkdir()
    for data in target.seeds():
        (seeds / sha256(data).hexdigest()[:12]).write_bytes(data)
    run = Run(target, wanted.inputs, wanted.found, wanted.result)
    options = {
        "max_len": target.longest,
        "runs": wanted.inputs,
        "seed": wanted.seed,
        "timeout": HANG_S,
        "rss_limit_mb": MEMORY_MB,
        "artifact_prefix": f"{wanted.found}/",
        "dict": words,
        "verbosity": 0,
        "print_final_stats": 0,
        "report_slow_units": 10_000,  # they are timed by ourselves
        "len_control": 20,
    }
    atheris.Setup(
        [
            "fuzz",
            *(f"-{name}={value}" for name, value in options.items()),
            str(wanted.corpus),
            str(seeds),
            *wanted.more,
        ],
        run.one,
    )
    atheris.Fuzz()


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{byte:02x}" for byte in word)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target")
    parser.add_argument("--inputs", type=int, required=True)
    parser.add_argument("--seed", type=int, default=1)
    for name in ("--corpus", "--found", "--result"):
        parser.add_argument(name, type=Path, required=True)
    parser.add_argument("--more", nargs="*", default=[], help="further folders of inputs to begin with")
    return parser.parse_args()


if __name__ == "__main__":
    main()
