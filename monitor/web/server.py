"""The web server in a thread of its own, with its own event loop.

That thread loads what serves: decisions need not wait for it, and whoever calls meanwhile is answered a little later.
"""

from __future__ import annotations

import errno
import socket
import ssl
import threading
from typing import TYPE_CHECKING, Final

from monitor.loglines import log
from monitor.web.options import WebProblem

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from starlette.applications import Starlette

    from monitor.web.serving import Serving

PATIENCE_S: Final = 20.0
"""Seconds in which a whole request, head and body, must arrive: 80 kB at 4 kB/s."""


class WebServer:
    """Serves what ``make`` gives on ``host``:``port`` from the thread "web". ``start`` and ``stop`` belong to one thread."""

    def __init__(
        self,
        make: Callable[[], Starlette],
        host: str = "127.0.0.1",
        port: int = 8417,
        cert: Path | None = None,
        key: Path | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._make = make
        self._host, self._wanted = host, port
        self._cert, self._key = cert, key
        self._patience_s = patience_s
        self._server: Serving | None = None
        self._thread: threading.Thread | None = None
        self._listener: socket.socket | None = None
        self._ending = False
        self._bound = 0
        self.failure: BaseException | None = None
        """Why the thread ended by itself; None while it runs and after a wanted stop."""

    @property
    def port(self) -> int:
        """The port in use; 0 before ``start``."""
        return self._bound

    @property
    def url(self) -> str:
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"{'https' if self._cert else 'http'}://{host}:{self._bound}"

    @property
    def alive(self) -> bool:
        return self._thread is not None and self._thread.is_alive()

    def bind(self) -> None:
        """Take address and keys; whoever calls from now on waits for ``begin``. Raises WebProblem when they won't do."""
        self._try_keys()
        self._listener = self._listen()
        self._bound = self._listener.getsockname()[1]

    def begin(self) -> None:
        """``bind`` where that was not done, and serve as soon as all is loaded. Raises WebProblem."""
        if self._thread is not None:
            raise RuntimeError("the web server has been started before")
        if self._listener is None:
            self.bind()
        self._thread = threading.Thread(target=self._run, args=(self._listener,), name="web", daemon=True)
        self._thread.start()
        log.info("web.started", url=self.url)

    def start(self, timeout: float = 10.0) -> None:
        """``begin``, and return once requests are answered. Raises WebProblem."""
        self.begin()
        waited = threading.Event()
        for _ in range(int(timeout / 0.01)):
            if self._serves() or not self.alive:
                break
            waited.wait(0.01)
        if not self._serves():
            raise WebProblem(f"the page did not come up within {timeout:g} s ({self.failure or 'no reason given'}).")

    def _serves(self) -> bool:
        return self._server is not None and self._server.started

    def stop(self, timeout: float = 5.0) -> bool:
        """Ask the server to end, wait at most ``timeout`` seconds; whether it has ended."""
        self._ending = True
        if self._thread is None:
            if self._listener is not None:
                self._listener.close()
            return True
        if self._server is not None:
            self._server.end()
        self._thread.join(timeout)
        if self._thread.is_alive():
            if self._server is not None:
                self._server.force_exit = True
            log.warning("web.stop-slow", waited_s=timeout)
            return False
        log.info("web.stopped")
        return True

    def _try_keys(self) -> None:
        if self._cert is None:
            return
        try:
            ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(self._cert, self._key)
        except (OSError, ssl.SSLError) as problem:
            raise WebProblem(
                f'web.cert_file "{self._cert}" and its key cannot be used ({problem}): make new ones with swimup cert.'
            ) from problem

    def _listen(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        # TCP is named, as asyncio else doesn't know that it may send small answers at once: each would wait 40 ms.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((self._host, self._wanted))
            listener.listen()
        except OSError as problem:
            listener.close()
            where = f"web.host {self._host}, web.port {self._wanted}"
            if problem.errno == errno.EADDRINUSE:
                raise WebProblem(
                    f"{where}: the port is in use. Is swimup running already? Else choose another."
                ) from problem
            raise WebProblem(f"{where}: cannot be used here ({problem.strerror}).") from problem
        return listener

    def _run(self, listener: socket.socket) -> None:
        try:
            import asyncio  # noqa: PLC0415  (so that a start need not wait for it)

            from monitor.web.serving import Serving  # noqa: PLC0415

            self._server = server = Serving(self._make(), self._cert, self._key, self._patience_s)
            if not self._ending:
                asyncio.run(server.serve(sockets=[listener]))
        except (OSError, RuntimeError, SystemExit, WebProblem) as problem:
            self.failure = problem
            log.error("web.failed", error=repr(problem))  # noqa: TRY400  (one line; .failure keeps the whole)
        finally:
            listener.close()
