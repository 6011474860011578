"""The line between the daemon and its broker, in which what the daemon says can be lost."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.conftest import Mosquitto


class Wire:
    """Passes bytes between whoever connects and a broker. While ``mute``, the broker hears nothing but still speaks."""

    def __init__(self, broker: Mosquitto) -> None:
        self._broker = (broker.host, broker.port)
        self._door = socket.create_server(("127.0.0.1", 0))
        self.url = f"mqtt://127.0.0.1:{self._door.getsockname()[1]}"
        self.mute = False
        self.swallowed = 0
        threading.Thread(target=self._serve, name="wire", daemon=True).start()

    def close(self) -> None:
        with suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()

    def _serve(self) -> None:
        while True:
            try:
                inner, _ = self._door.accept()
            except OSError:
                return
            outer = socket.create_connection(self._broker)
            for source, target, spoken in ((inner, outer, True), (outer, inner, False)):
                threading.Thread(target=self._pass_on, args=(source, target, spoken), daemon=True).start()

    def _pass_on(self, source: socket.socket, target: socket.socket, spoken: bool) -> None:
        """Until either end hangs up; then both do."""
        with source, target, suppress(OSError):
            while data := source.recv(65_536):
                if spoken and self.mute:
                    self.swallowed += len(data)
                else:
                    target.sendall(data)
            target.shutdown(socket.SHUT_RDWR)
