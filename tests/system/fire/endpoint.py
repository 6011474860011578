"""The other end of a channel, which fails in each of the ways that push servers fail, and can be mended."""

from __future__ import annotations

import json
import socket
import ssl
import struct
import threading
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from tests.adapters.intake.certificates import Authority
from tests.system.daemon import PATIENCE_S, quiet_port, table

if TYPE_CHECKING:
    from pathlib import Path

    from tests.adapters.intake.certificates import Papers

SECRET: Final = "a secret of the shed and its server"
WELL: Final = "takes them"
ANSWERS: Final = {
    WELL: "200 OK",
    "asks to wait": "429 Too Many Requests\r\nRetry-After: 1",
    "has had too many": "429 Too Many Requests",
    "is broken": "500 Internal Server Error",
    "is gone": "410 Gone",
    "sends on to itself": "308 Permanent Redirect\r\nLocation: /letters",
}
"""What is answered to a whole letter."""
MANNERS: Final = (*ANSWERS, "refuses", "hangs", "breaks off", "shows an expired certificate")
BROKEN_OFF: Final = b"HTTP/1.1 200"
AT_ONCE: Final = 65_536  # bytes
HANG_UP_HARD: Final = struct.pack("ii", 1, 0)


class Endpoint:
    """Takes posted letters over TLS and does as ``manner`` says, which may be changed at any time. It keeps its port."""

    def __init__(self, folder: Path, name: str, manner: str = WELL) -> None:
        self.name = name
        self.letters: list[dict[str, Any]] = []  # taken, and answered so
        self.tries = 0
        self.port = quiet_port()
        authority = Authority(folder / name, "ours")
        self._ca_file = authority.ca_file
        self._good, self._expired = authority.papers("good"), authority.papers("expired", expired=True)
        self._secret_file = folder / name / "secret"
        self._secret_file.write_text(SECRET)
        self._door: socket.socket | None = None
        self._over = threading.Event()  # a hanging try is let go
        self.manner = ""
        self.turn(manner)

    @property
    def table(self) -> str:
        """As a channel is configured with it."""
        url = f"https://127.0.0.1:{self.port}/letters"
        more = {"secret_file": str(self._secret_file), "ca_file": str(self._ca_file)}
        return table("channel", id=self.name, kind="webhook", url=url, **more)

    def turn(self, manner: str) -> None:
        """From now on it does this."""
        if manner not in MANNERS:
            raise ValueError(f"nobody {manner}")
        self._over.set()
        self._over = threading.Event()
        self.manner = manner
        if manner == "refuses":
            self.close()
        elif self._door is None:
            self._door = socket.create_server(("127.0.0.1", self.port))
            threading.Thread(target=self._serve, args=(self._door,), name=self.name, daemon=True).start()

    def close(self) -> None:
        self._over.set()
        if self._door is not None:
            with suppress(OSError):
                self._door.shutdown(socket.SHUT_RDWR)
            self._door.close()
            self._door = None

    def _serve(self, door: socket.socket) -> None:
        while True:
            try:
                caller, _ = door.accept()
            except OSError:
                return
            threading.Thread(target=self._hear, args=(caller,), daemon=True).start()

    def _hear(self, caller: socket.socket) -> None:
        expired = self.manner == "shows an expired certificate"
        with caller, suppress(OSError):  # the caller may be killed, or not trust us
            caller.settimeout(PATIENCE_S)
            with _context(self._expired if expired else self._good).wrap_socket(caller, server_side=True) as talk:
                letter = _read(talk)
                if letter is not None:
                    self._answer(talk, letter)

    def _answer(self, talk: ssl.SSLSocket, letter: dict[str, Any]) -> None:
        self.tries += 1
        manner, over = self.manner, self._over
        if manner == "hangs":
            over.wait(PATIENCE_S)
        elif manner == "breaks off":
            talk.sendall(BROKEN_OFF)
            talk.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, HANG_UP_HARD)
        elif manner in ANSWERS:
            if manner == WELL:
                self.letters.append(letter)
            talk.sendall(f"HTTP/1.1 {ANSWERS[manner]}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n".encode())


def _context(papers: Papers) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(papers.cert, papers.key)
    return context


def _read(talk: ssl.SSLSocket) -> dict[str, Any] | None:
    """The letter that is posted; None when the caller goes before it is whole."""
    data = b""
    while (head := data.find(b"\r\n\r\n")) < 0 or len(data) - head - 4 < _length(data[:head]):
        more = talk.recv(AT_ONCE)
        if not more:
            return None
        data += more
    letter: dict[str, Any] = json.loads(data[head + 4 :])
    return letter


def _length(head: bytes) -> int:
    lines = (line.partition(b":") for line in head.split(b"\r\n"))
    return next(int(value) for name, _, value in lines if name.lower() == b"content-length")
