"""``python -m tests.system.forking``: loads the monitor, runs nothing of it, and forks ``swimup`` for each line it is told.

A line is JSON: ``{"arguments": [...], "log": path, "environment": {...}, "fail_at": place, "door": path}`` is answered with a
pid, ``{"pid": n}`` with its exit code, or null while it runs. At the end of its input all that it forked ends.
"""

from __future__ import annotations

import json
import os
import signal
import sys
from contextlib import suppress
from importlib import import_module
from typing import Any, Final

from monitor import failpoint
from monitor.cli import swimup
from tests.system.inside import open_door

LOADED: Final = ("monitor.cli.run", "monitor.service.daemon", "monitor.web.app", "monitor.web.serving", "apprise")
"""What takes long to load in ``swimup run``, and starts no thread."""


def main() -> None:
    """Serve until the input ends."""
    for module in LOADED:
        import_module(module)
    codes: dict[int, int | None] = {}
    for line in sys.stdin:
        asked = json.loads(line)
        if "arguments" in asked:
            pid = os.fork()
            if pid == 0:
                _become(asked)
                return
            codes[pid] = None
            _tell(pid)
        else:
            _tell(_code(codes, asked["pid"]))
    for pid, code in codes.items():
        if code is None:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)


def _tell(number: int | None) -> None:
    sys.stdout.write(f"{json.dumps(number)}\n")
    sys.stdout.flush()


def _code(codes: dict[int, int | None], pid: int) -> int | None:
    if codes[pid] is None:
        ended, status = os.waitpid(pid, os.WNOHANG)
        codes[pid] = os.waitstatus_to_exitcode(status) if ended else None
    return codes[pid]


def _become(asked: dict[str, Any]) -> None:
    """The monitor, with nothing left of what it was forked from."""
    nothing = os.open(os.devnull, os.O_RDONLY)
    log = os.open(asked["log"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    for own, standard in ((nothing, 0), (log, 1), (log, 2)):
        os.dup2(own, standard)
    os.environ.update(asked["environment"])
    failpoint.arm(asked["fail_at"])
    if asked["door"]:
        open_door(asked["door"])
    swimup(asked["arguments"], prog_name="swimup")


if __name__ == "__main__":
    main()
