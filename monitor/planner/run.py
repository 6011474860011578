"""Planning in a child process with its own limits of time and memory, as the daemon asks for it.

The child is ``python -m monitor.planner``: a pantry goes in, what lies ahead comes out, and all that it loaded ends with it.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from typing import IO, TYPE_CHECKING, Final

from monitor.core.pantry_codec import NotReadable, ahead_from_json, to_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.food import FoodAhead, Pantry

COMMAND: Final = (sys.executable, "-m", "monitor.planner")
OUT_OF_MEMORY: Final = 3
"""How the child ends when its memory did not do."""
OUT_OF_TIME: Final = 4
"""How it ends when its processor time did not do."""
UNREADABLE: Final = 5
"""How it ends when what it was given is no pantry."""
NO_ROOM: Final = ("memory", "cannot allocate", "failed to map", "can't load")
"""What libraries say that find no room, each in its own words."""
CRASHED: Final = (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS)
"""How it ends where a library goes on without the memory it was refused."""
LOOK_S: Final = 0.2
ONE_THREAD: Final = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
"""Each thread of theirs takes address space, of which there is little, and the board has other work."""


class PlanFailed(Exception):  # noqa: N818  (it says what happened)
    """There is no plan; the text says why, for a keeper."""


def plan_in_child(
    pantry: Pantry,
    seconds: float = 60.0,
    memory_mb: int = 1024,
    *,
    stop: threading.Event | None = None,
    command: Sequence[str] = COMMAND,
) -> FoodAhead:
    """What lies ahead, and what to start when. Blocks for at most ``seconds`` by the wall clock.

    Raises ``PlanFailed``, also within half a second of ``stop``. The child is ended in each case.
    """
    limits = ("--seconds", f"{seconds:g}", "--memory-mb", str(memory_mb))
    try:
        child = subprocess.Popen(
            [*command, *limits],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, **ONE_THREAD},
        )
    except OSError as error:
        raise PlanFailed(f"The planner could not be started: {error}.") from error
    try:
        out, err = _talk(child, to_json(pantry), seconds, stop)
    finally:
        if child.poll() is None:
            child.kill()
        child.communicate()
    if child.returncode != 0:
        raise PlanFailed(_why(child.returncode, err, seconds, memory_mb))
    try:
        return ahead_from_json(out)
    except NotReadable as error:
        raise PlanFailed("The planner answered with something that is no plan. Nothing was changed.") from error


def _talk(
    child: subprocess.Popen[bytes], said: bytes, seconds: float, stop: threading.Event | None
) -> tuple[bytes, bytes]:
    end = time.monotonic() + seconds
    # A thread of its own writes: after its first timeout ``communicate`` writes no more, and a pantry is larger than a pipe.
    into, child.stdin = child.stdin, None
    writer = threading.Thread(target=_say, args=(into, said), name="pantry", daemon=True)
    writer.start()
    while True:
        with suppress(subprocess.TimeoutExpired):
            return child.communicate(timeout=LOOK_S)
        if stop is not None and stop.is_set():
            raise PlanFailed("Planning was stopped.")
        if time.monotonic() >= end:
            raise PlanFailed(_slow(seconds))


def _say(into: IO[bytes] | None, said: bytes) -> None:
    """To a child that may end before it has heard all."""
    if into is None:
        return
    with suppress(OSError):
        into.write(said)
    with suppress(OSError):
        into.close()


def _why(code: int, err: bytes, seconds: float, memory_mb: int) -> str:
    if code == OUT_OF_MEMORY:
        return f"The planner needs more memory than the {memory_mb} MB it may have. Allow it more, or plan fewer days."
    if code == OUT_OF_TIME:
        return _slow(seconds)
    if code == UNREADABLE:
        return "The planner could not read what it was given. This is a fault of the program."
    if -code in CRASHED:
        return f"The planner crashed (signal {-code}). It may need more memory than the {memory_mb} MB it may have."
    if code < 0:
        return f"The planner was ended from outside (signal {-code}), perhaps because the machine is short of memory."
    lines = err.decode(errors="replace").strip().splitlines()
    last = f": {lines[-1][:200]}" if lines else ""
    if any(word in last.casefold() for word in NO_ROOM):
        return _why(OUT_OF_MEMORY, err, seconds, memory_mb)
    return f"The planner failed{last}"


def _slow(seconds: float) -> str:
    return f"The planner was not done after {seconds:g} s and was ended. The machine may be busy; it is tried again."
