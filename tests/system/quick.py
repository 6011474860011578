"""A daemon that starts in a moment, so that hundreds of kills can be afforded, and that can be told where to fail."""

from __future__ import annotations

import atexit
import json
import os
import signal
import subprocess
import sys
import threading
import time
from functools import cache
from typing import IO, TYPE_CHECKING, Any, Final

from tests.system.daemon import HERE_ONLY, PATIENCE_S, Daemon, until
from tests.system.inside import ask

if TYPE_CHECKING:
    from pathlib import Path

    from tests.system.daemon import Process

COMMAND: Final = (sys.executable, "-m", "tests.system.forking")
LOOK_S: Final = 0.01


class Nursery:
    """Talks to the process that forks. What a start takes is nearly all loading, which a crash cannot harm."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            COMMAND,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=HERE_ONLY,
            process_group=0,  # Ctrl-C is for whoever tries, who ends this in good order
        )
        self._lock = threading.Lock()

    def ask(self, what: dict[str, Any]) -> Any:
        with self._lock:
            into, out = _pipe(self._process.stdin), _pipe(self._process.stdout)
            into.write(f"{json.dumps(what)}\n".encode())
            into.flush()
            return json.loads(out.readline())

    def close(self) -> None:
        """End it, and with it all that it forked."""
        _pipe(self._process.stdin).close()
        self._process.wait(PATIENCE_S)
        _pipe(self._process.stdout).close()


def _pipe(pipe: IO[bytes] | None) -> IO[bytes]:
    assert pipe is not None
    return pipe


@cache
def nursery() -> Nursery:
    """One for all tests of this process."""
    made = Nursery()
    atexit.register(made.close)
    return made


class Forked:
    """A process of the nursery's, to be used as one of ``subprocess``."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        if self.returncode is None:
            self.returncode = nursery().ask({"pid": self.pid})
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Its exit code. Raises TimeoutError."""
        ends = time.monotonic() + (PATIENCE_S if timeout is None else timeout)
        while (code := self.poll()) is None:
            if time.monotonic() > ends:
                raise TimeoutError(f"process {self.pid} has not ended")
            time.sleep(LOOK_S)
        return code

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)


class QuickDaemon(Daemon):
    """``fail_at``: where its next run ends itself, as in SWIMUP_FAIL_AT."""

    def __init__(self, folder: Path, text: str) -> None:
        super().__init__(folder, text)
        self.fail_at = ""
        self._door = folder / "door"

    def _spawn(self, command: list[str]) -> Process:
        asked = {
            "arguments": command,
            "log": str(self.log_file),
            "environment": self.environment,
            "fail_at": self.fail_at,
            "door": str(self._door),
        }
        self._door.unlink(missing_ok=True)
        return Forked(nursery().ask(asked))

    def tasks(self) -> list[str]:
        """The names of its threads, as it tells them itself."""
        until(self._door.exists, "the monitor has no door")
        found: list[str] = ask(str(self._door), None)
        return found

    def strike(self, task: str) -> None:
        """End one of them from within; it must be there."""
        assert ask(str(self._door), task), f"there is no thread {task!r}"
