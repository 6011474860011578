"""Word to the service manager: ready, alive, stopping (sd_notify(3)). Alive is said only while every long task is."""

from __future__ import annotations

import os
import socket
import time
from typing import TYPE_CHECKING, Final

from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

PINGS: Final = 4
"""In each period of the watchdog, so that one that is late does no harm."""


class Watchdog:
    """``environment``: where the manager says how it wants to hear of us. Without its word nothing is ever sent."""

    def __init__(
        self, environment: Mapping[str, str] = os.environ, steady: Callable[[], float] = time.monotonic
    ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        self._steady = steady
        period = environment.get("WATCHDOG_USEC", "")
        mine = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self._every = int(period) / 1e6 / PINGS if mine and period.isdecimal() and int(period) else None
        self._next = 0.0
        self._withheld = ""

    def ready(self) -> None:
        self._send("READY=1")

    def stopping(self) -> None:
        self._send("STOPPING=1")

    def alive(self, stuck: str) -> None:
        """Say so when it is time, unless something is ``stuck``: then the manager will restart the whole."""
        if stuck != self._withheld:
            self._withheld = stuck
            if stuck:
                log.error("watchdog.withheld", stuck=stuck)
            else:
                log.info("watchdog.resumed")
        now = self._steady()
        if stuck or self._every is None or now < self._next:
            return
        self._next = now + self._every
        self._send("WATCHDOG=1")

    def _send(self, word: str) -> None:
        if not self._address:
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK) as out:
                out.sendto(word.encode(), address)
        except OSError as error:  # a manager that does not listen is no reason to stop watching
            log.warning("manager.unreached", word=word, reason=str(error))
