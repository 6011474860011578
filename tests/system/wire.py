"""The line between the daemon and its broker, in which things go wrong as they do between a shed and a house."""

from __future__ import annotations

import socket
import struct
import threading
import time
from contextlib import suppress
from random import Random
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from tests.conftest import Mosquitto

AT_ONCE: Final = 65_536  # bytes
HANG_UP_HARD: Final = struct.pack("ii", 1, 0)  # SO_LINGER: nothing is sent any more, the other end sees a reset


class Wire:
    """Passes bytes between whoever connects and a broker.

    * ``mute``: the broker hears nothing but still speaks.
    * ``refuse``: whoever connects is sent away; so it is as well while there is no broker.
    * ``hold`` and ``release``: the network is away. Nothing passes either way, not even a farewell, and whoever
      connects gets no word; what was sent meanwhile comes through late.
    * ``delay_s`` and ``jitter_s``: before each piece; ``piece``: so many bytes at once at most.
    * ``stranger``: something that is no broker answers with these bytes.

    ``connects`` counts all who connected.
    """

    def __init__(self, broker: Mosquitto, chances: Random | None = None) -> None:
        self._broker = (broker.host, broker.port)
        self._chances = chances or Random(0)  # noqa: S311  (repeatable on purpose)
        self._door = socket.create_server(("127.0.0.1", 0))
        self._open: set[socket.socket] = set()
        self._flows = threading.Event()
        self._flows.set()
        self.url = f"mqtt://127.0.0.1:{self.port}"
        self.mute = self.refuse = False
        self.swallowed = self.connects = 0
        self.delay_s = self.jitter_s = 0.0
        self.piece = AT_ONCE
        self.stranger = b""
        threading.Thread(target=self._serve, name="wire", daemon=True).start()

    @property
    def port(self) -> int:
        port: int = self._door.getsockname()[1]
        return port

    def close(self) -> None:
        with suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        self.cut()
        self.release()

    # -- what goes wrong

    def hold(self) -> None:
        self._flows.clear()

    def release(self) -> None:
        self._flows.set()

    def cut(self) -> None:
        """All connections end with a reset; whoever wants may connect anew."""
        for one in list(self._open):
            _reset(one)

    def babble(self, noise: bytes) -> None:
        """The daemon is told this in the middle of what the broker says."""
        for one in list(self._open):
            with suppress(OSError):  # it may be closed by now
                if one.getsockname()[1] == self.port:
                    one.sendall(noise)

    # -- the line

    def _serve(self) -> None:
        while True:
            try:
                inner, _ = self._door.accept()
            except OSError:
                return
            self.connects += 1
            threading.Thread(target=self._join, args=(inner,), daemon=True).start()

    def _join(self, inner: socket.socket) -> None:
        if self.stranger:
            with inner, suppress(OSError):
                inner.sendall(self.stranger)
                inner.recv(AT_ONCE)
            return
        try:
            if self.refuse:
                raise ConnectionRefusedError
            outer = socket.create_connection(self._broker)
        except OSError:
            _reset(inner)
            inner.close()
            return
        self._open |= {inner, outer}
        back = threading.Thread(target=self._pass_on, args=(outer, inner, False), daemon=True)
        with inner, outer:
            back.start()
            self._pass_on(inner, outer, spoken=True)
            back.join()
        self._open -= {inner, outer}

    def _pass_on(self, source: socket.socket, target: socket.socket, spoken: bool) -> None:
        """Until either end hangs up; then both do."""
        with suppress(OSError):
            while data := source.recv(AT_ONCE):
                self._flows.wait()
                if spoken and self.mute:
                    self.swallowed += len(data)
                else:
                    self._send(target, data)
            self._flows.wait()
        for one in (source, target):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def _send(self, target: socket.socket, data: bytes) -> None:
        for start in range(0, len(data), self.piece):
            wait = self.delay_s + self._chances.uniform(0.0, self.jitter_s)
            if wait > 0:
                time.sleep(wait)
            target.sendall(data[start : start + self.piece])


def _reset(one: socket.socket) -> None:
    """End a connection without a farewell; whoever waits for its bytes in another thread wakes."""
    with suppress(OSError):
        one.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, HANG_UP_HARD)
        one.shutdown(socket.SHUT_RD)
