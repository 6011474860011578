"""A pantry as JSON comes in, what lies ahead goes out: ``python -m monitor.planner --seconds 60 --memory-mb 1024``."""

from __future__ import annotations

import argparse
import os
import resource
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from monitor.planner.run import OUT_OF_MEMORY, OUT_OF_TIME, UNREADABLE

if TYPE_CHECKING:
    from types import FrameType

NICE: Final = 10
MB: Final = 1 << 20
SHARE: Final = 8
"""The optimiser gets one part in so many of the time, and at most ``LONGEST_S``; a busy machine needs the rest."""
LONGEST_S: Final = 2.0
CROWDED: Final = 0.75
"""Of its address space. Where libraries failed for want of it, more than 0.8 had been in use; a plan takes 0.3 of the usual."""


def main() -> int:
    wanted = _arguments()
    _limit(wanted.seconds, wanted.memory_mb)
    try:
        return _plan(sys.stdin.buffer.read(), min(LONGEST_S, wanted.seconds / SHARE))
    except MemoryError:
        return OUT_OF_MEMORY
    except Exception:
        if _crowded(wanted.memory_mb):
            return OUT_OF_MEMORY  # without a traceback: it takes memory as well, and may break off
        raise


def _crowded(memory_mb: int) -> bool:
    """Whether memory is what was lacking. Libraries that find no room tell it as any error, or as none at all."""
    try:
        status = Path("/proc/self/status").read_text()
    except MemoryError:
        return True
    except OSError:  # not Linux
        return False
    peak_kb = next((int(line.split()[1]) for line in status.splitlines() if line.startswith("VmPeak:")), 0)
    return peak_kb * 1024 >= CROWDED * memory_mb * MB


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, required=True, help="processor time it may take")
    parser.add_argument("--memory-mb", type=int, required=True, help="address space it may take")
    return parser.parse_args()


def _limit(seconds: float, memory_mb: int) -> None:
    """From here on the system sees to it, whatever the libraries do."""
    with suppress(OSError):
        os.nice(NICE)
    most = memory_mb * MB
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
    signal.signal(signal.SIGXCPU, _out_of_time)
    whole = max(1, int(seconds))
    resource.setrlimit(resource.RLIMIT_CPU, (whole, whole + 5))


def _out_of_time(_number: int, _frame: FrameType | None) -> None:
    os._exit(OUT_OF_TIME)  # nothing of this process is worth tidying up


def _plan(text: bytes, seconds: float) -> int:
    # Only now: what these load has to fit into the limits too.
    from monitor.core.pantry_codec import NotReadable, ahead_to_json, from_json  # noqa: PLC0415

    try:
        pantry = from_json(text)
    except NotReadable as error:
        sys.stderr.write(f"{error}\n")
        return UNREADABLE
    from monitor.planner.work import work  # noqa: PLC0415

    sys.stdout.buffer.write(ahead_to_json(work(pantry, seconds)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
