"""What other threads want of the thread that holds the connection, and the bell that wakes it."""

from __future__ import annotations

import socket
from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Letter:
    """Something to publish at QoS 1."""

    topic: str
    payload: bytes
    retain: bool


class Orders:
    """Any thread gives orders, one thread carries them out. Appending and popping of a deque are atomic."""

    def __init__(self) -> None:
        self.acks: deque[tuple[int, int]] = deque()  # connection, packet id
        self.letters: deque[Letter] = deque()
        self.stop = False
        self._reader, self._writer = socket.socketpair()
        self._reader.setblocking(False)
        self._writer.setblocking(False)
        self._rung = False

    def fileno(self) -> int:
        """Readable when there is something to do."""
        return self._reader.fileno()

    def ring(self) -> None:
        """Wake the thread; cheap when it is already awake."""
        if not self._rung:
            self._rung = True
            try:
                self._writer.send(b"\0")
            except OSError:
                return  # full: it will wake anyway; closed: nobody waits any more

    def hush(self) -> None:
        """To be called before the orders are read, so that none can slip between."""
        self._rung = False
        try:
            self._reader.recv(4096)
        except BlockingIOError:
            return

    def close(self) -> None:
        self._reader.close()
        self._writer.close()
