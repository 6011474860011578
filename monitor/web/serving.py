"""The server of pages itself, with what it takes from callers; loaded by the thread that serves."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from importlib import import_module
from typing import TYPE_CHECKING, Final

import uvicorn

from monitor.web.patience import CONNECTIONS, patient

if TYPE_CHECKING:
    import socket
    from pathlib import Path

    from starlette.applications import Starlette

TICK_S: Final = 1.0

with suppress(ImportError):
    # Else the first letter or log-in loads it, and the 4 MB that loading takes for a while are never given back.
    import_module("anyio._backends._asyncio")


class Serving(uvicorn.Server):
    """Ends the open event streams first: they never end by themselves and would hold the stop up.

    It is woken when it must end, in place of looking ten times a second; each second it brings its date up to date.
    """

    _woken: tuple[asyncio.AbstractEventLoop, asyncio.Event] | None = None

    def __init__(self, app: Starlette, cert: Path | None, key: Path | None, patience_s: float) -> None:
        super().__init__(
            uvicorn.Config(
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
        )
        self._closing: asyncio.Event | None = getattr(app.state, "closing", None)

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
        if self._closing is not None:
            self._closing.set()
        await super().shutdown(sockets)
