"""What a service manager and whoever waits for a sign of life hear of a daemon; and a thread of it that hangs."""

from __future__ import annotations

import ctypes
import os
import socket
import threading
import time
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Final

from tests.system.daemon import quiet_port

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

PING: Final = "WATCHDOG=1"
_SEIZE, _INTERRUPT, _DETACH = 0x4206, 0x4207, 17  # ptrace(2)
_WALL: Final = 0x4000_0000  # __WALL of waitpid(2)


class Manager:
    """Listens at the notify socket as sd_notify(3) describes it, from the daemon's next start on; ``period`` in seconds."""

    def __init__(self, ground: Ground, daemon: Daemon, period: float) -> None:
        self.period = period
        self._words: list[tuple[float, str]] = []
        place = ground.folder / "notify"
        self._ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._ear.bind(str(place))
        daemon.environment |= {"NOTIFY_SOCKET": str(place), "WATCHDOG_USEC": str(round(period * 1e6))}
        ground.when_done(self._close)
        threading.Thread(target=self._listen, name="manager", daemon=True).start()

    def _close(self) -> None:
        self._ear.shutdown(socket.SHUT_RDWR)
        self._ear.close()

    def _listen(self) -> None:
        while word := self._ear.recv(1000):
            self._words.append((time.monotonic(), word.decode()))

    @property
    def words(self) -> list[str]:
        return [word for _, word in self._words]

    def pinged(self) -> bool:
        """Whether it was told within the period that all is well; else a manager would end and start the service."""
        return any(word == PING and time.monotonic() - when < self.period for when, word in self._words)


class Lifeline:
    """Somebody else's machine that waits for a sign of life."""

    def __init__(self, ground: Ground) -> None:
        self.signs = 0
        line = self

        class Catcher(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                line.signs += 1
                self.send_response(200)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Nothing: what counts is counted."""

        port = quiet_port()
        self.url = f"http://127.0.0.1:{port}/shed"
        server = ThreadingHTTPServer(("127.0.0.1", port), Catcher)
        ground.when_done(server.server_close)
        ground.when_done(server.shutdown)
        threading.Thread(target=server.serve_forever, args=(0.05,), name="lifeline", daemon=True).start()


@contextmanager
def hanging(thread: int) -> Iterator[None]:
    """One thread of a child of ours stands still, by its kernel number, as if it hung in the kernel; the others go on."""
    ptrace = ctypes.CDLL(None, use_errno=True).ptrace
    ptrace.argtypes = [ctypes.c_long, ctypes.c_long, ctypes.c_void_p, ctypes.c_void_p]
    for what in (_SEIZE, _INTERRUPT):
        if ptrace(what, thread, None, None) != 0:
            raise OSError(ctypes.get_errno(), "a thread could not be made to hang: ptrace is not allowed here")
    os.waitpid(thread, _WALL)
    try:
        yield
    finally:
        ptrace(_DETACH, thread, None, None)
