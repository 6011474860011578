"""The web server in a thread of its own, with its own event loop."""

from __future__ import annotations

import asyncio
import errno
import socket
import ssl
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Final

import structlog
import uvicorn

from monitor.web.options import WebProblem
from monitor.web.patience import CONNECTIONS, PATIENCE_S, patient

if TYPE_CHECKING:
    from pathlib import Path

    from starlette.applications import Starlette

log = structlog.get_logger()

TICK_S: Final = 1.0


class _Server(uvicorn.Server):
    """Ends the open event streams first: they never end by themselves and would hold the stop up.

    It is woken when it must end, in place of looking ten times a second; each second it brings its date up to date.
    """

    closing: asyncio.Event | None = None
    _woken: tuple[asyncio.AbstractEventLoop, asyncio.Event] | None = None

    def end(self) -> None:
        """From any thread."""
        self.should_exit = True
        if self._woken is not None:
            loop, event = self._woken
            with suppress(RuntimeError):  # it has ended meanwhile
                loop.call_soon_threadsafe(event.set)

    async def main_loop(self) -> None:
        woken = asyncio.Event()
        self._woken = (asyncio.get_running_loop(), woken)
        while not await self.on_tick(0):
            with suppress(TimeoutError):
                await asyncio.wait_for(woken.wait(), TICK_S)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        if self.closing is not None:
            self.closing.set()
        await super().shutdown(sockets)


class WebServer:
    """Serves ``app`` on ``host``:``port`` from the thread "web". ``start`` and ``stop`` belong to one thread."""

    def __init__(
        self,
        app: Starlette,
        host: str = "127.0.0.1",
        port: int = 8417,
        cert: Path | None = None,
        key: Path | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._host, self._wanted = host, port
        self._cert = cert
        self._config = uvicorn.Config(
            app,
            http=patient(patience_s),
            ws="none",
            loop="asyncio",
            lifespan="off",
            log_config=None,
            log_level="warning",
            access_log=False,
            proxy_headers=False,  # a header must not be able to say who is calling
            server_header=False,
            ssl_certfile=cert,
            ssl_keyfile=key,
            limit_concurrency=CONNECTIONS,
            h11_max_incomplete_event_size=16_384,
            timeout_keep_alive=15,
            timeout_graceful_shutdown=3,
        )
        self._server: _Server | None = None
        self._thread: threading.Thread | None = None
        self._closing: asyncio.Event | None = getattr(app.state, "closing", None)
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

    def start(self, timeout: float = 10.0) -> None:
        """Bind and serve; returns once requests are answered. Raises WebProblem when address or keys won't do."""
        if self._thread is not None:
            raise RuntimeError("the web server has been started before")
        try:
            self._config.load()
        except (OSError, ssl.SSLError) as problem:
            raise WebProblem(
                f'web.cert_file "{self._cert}" and its key cannot be used ({problem}): make new ones with swimup cert.'
            ) from problem
        listener = self._listen()
        self._bound = listener.getsockname()[1]
        self._server = _Server(self._config)
        self._server.closing = self._closing
        self._thread = threading.Thread(target=self._run, args=(self._server, listener), name="web", daemon=True)
        self._thread.start()
        waited = threading.Event()
        for _ in range(int(timeout / 0.01)):
            if self._server.started or not self._thread.is_alive():
                break
            waited.wait(0.01)
        if not self._server.started:
            raise WebProblem(f"the page did not come up within {timeout:g} s ({self.failure or 'no reason given'}).")
        log.info("web.started", url=self.url)

    def stop(self, timeout: float = 5.0) -> bool:
        """Ask the server to end, wait at most ``timeout`` seconds; whether it has ended."""
        if self._server is None or self._thread is None:
            return True
        self._server.end()
        self._thread.join(timeout)
        if self._thread.is_alive():
            self._server.force_exit = True
            log.warning("web.stop-slow", waited_s=timeout)
            return False
        log.info("web.stopped")
        return True

    def _listen(self) -> socket.socket:
        family = socket.AF_INET6 if ":" in self._host else socket.AF_INET
        # TCP is named, as asyncio else doesn't know that it may send small answers at once: each would wait 40 ms.
        listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
        try:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((self._host, self._wanted))
        except OSError as problem:
            listener.close()
            where = f"web.host {self._host}, web.port {self._wanted}"
            if problem.errno == errno.EADDRINUSE:
                raise WebProblem(
                    f"{where}: the port is in use. Is swimup running already? Else choose another."
                ) from problem
            raise WebProblem(f"{where}: cannot be used here ({problem.strerror}).") from problem
        return listener

    def _run(self, server: _Server, listener: socket.socket) -> None:
        try:
            asyncio.run(server.serve(sockets=[listener]))
        except (OSError, RuntimeError, SystemExit) as problem:
            self.failure = problem
            log.error("web.failed", error=repr(problem))  # noqa: TRY400  (one line; .failure keeps the whole)
        finally:
            listener.close()
