"""What other threads want of the thread that holds the connection, and the bell that wakes it."""

from __future__ import annotations

import socket
import threading
from collections import OrderedDict, deque
from typing import Final

from monitor.core.light import light

WAIT_AT_MOST: Final = 4096
"""Letters, and retained topics remembered for the next connection; those of a home are a tenth of that."""


@light
class Letter:
    """Something to publish at QoS 1."""

    topic: str
    payload: bytes
    retain: bool


class Letters:
    """What is to be published, in order; any thread. Of a retained topic only the newest waits: the broker keeps no other.

    When too many wait the oldest that is not retained is dropped, or the oldest at all.
    """

    def __init__(self) -> None:
        self._waiting: OrderedDict[str | int, Letter] = OrderedDict()  # by topic; by number what is not retained
        self._numbered = 0
        self._lock = threading.Lock()

    def __len__(self) -> int:
        return len(self._waiting)

    def append(self, letter: Letter) -> None:
        with self._lock:
            self._numbered += not letter.retain
            self._waiting[letter.topic if letter.retain else self._numbered] = letter
            if len(self._waiting) > WAIT_AT_MOST:
                spare = next((key for key in self._waiting if isinstance(key, int)), next(iter(self._waiting)))
                del self._waiting[spare]

    def popleft(self) -> Letter:
        """Raises KeyError when there is none."""
        with self._lock:
            return self._waiting.popitem(last=False)[1]

    def clear(self) -> None:
        with self._lock:
            self._waiting.clear()


class Orders:
    """Any thread gives orders, one thread carries them out. Appending and popping of a deque are atomic."""

    def __init__(self) -> None:
        self.acks: deque[tuple[int, int]] = deque()  # connection, packet id
        self.letters = Letters()
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
