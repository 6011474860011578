"""What the attacks on the page share: requests as bytes, and what must hold after each of them."""

from __future__ import annotations

import socket
from contextlib import contextmanager, suppress
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any

from monitor.web.options import WebOptions
from tests.adapters.web.conftest import Served
from tests.adapters.web.memory_desk import MemoryDesk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import httpx

EVIL = '"\'><img src=x onerror="window.hurt=1;alert(1)"><script>window.hurt=2</script>{{7*7}}'


@contextmanager
def standing(folder: Path, *, patience_s: float = 20, **options: Any) -> Iterator[Served]:
    """A service that outlasts one test."""
    served = Served(MemoryDesk(), WebOptions(folder / "state", **options), patience_s=patience_s)
    try:
        yield served
    finally:
        assert served.server.stop(10)


def connect(served: Served, source: str = "127.0.0.1") -> socket.socket:
    return socket.create_connection(("127.0.0.1", served.server.port), timeout=10, source_address=(source, 0))


def raw(served: Served, *pieces: bytes) -> bytes:
    """All that is answered to these bytes, sent as they are, until the other side closes."""
    with connect(served) as link:
        # Whoever has answered may close before all has been sent.
        with suppress(BrokenPipeError, ConnectionResetError):
            for piece in pieces:
                link.sendall(piece)
        told = b""
        with suppress(ConnectionResetError):
            while more := link.recv(65_536):
                told += more
        return told


def request(served: Served, line: str, *headers: str, body: bytes = b"", host: bool = True) -> bytes:
    """One request on a connection of its own."""
    names = [f"Host: 127.0.0.1:{served.server.port}"] if host else []
    head = "\r\n".join([line, *names, "Connection: close", *headers]) + "\r\n\r\n"
    return raw(served, head.encode("latin-1") + body)


def status(answer: bytes) -> int:
    """The number in an answer's first line."""
    version, number, *_ = answer.split(b"\r\n", 1)[0].split(b" ")
    assert version == b"HTTP/1.1"
    return int(number)


def answers(told: bytes) -> int:
    """How many answers came on one connection."""
    return told.count(b"HTTP/1.1 ")


def unharmed(served: Served, done: int = 0) -> None:
    """The service answers a friend as before, and nothing was done but what was meant."""
    with served.client() as client:
        assert client.get("/api/v1/health").json()["status"] == "ok"
        assert client.get("/api/v1/bench").status_code == 200
    assert len(served.desk.done) == done


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("img", "iframe", "object", "embed", "base") or (tag == "script" and "src" not in given):
            self.faults.append(f"<{tag}> {given}")
        for name, value in attrs:
            if name.startswith("on") or (value or "").strip().lower().startswith(("javascript:", "data:")):
                self.faults.append(f"<{tag} {name}={value!r}>")
            self.texts.append(value or "")

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def shown(html: str) -> str:
    """All text and all attributes of a page; AssertionError where anything in it would run or load."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert reader.faults == []
    return "\n".join(reader.texts)


def headers_hold(answer: httpx.Response) -> None:
    """No frame around it, no script but its own, no guessing of what it is."""
    headers: Any = answer.headers
    where = f"{answer.request.method} {answer.request.url}"
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy, where
    assert "frame-ancestors 'none'" in policy, where
    assert "unsafe" not in policy, where
    assert headers["x-frame-options"] == "DENY", where
    assert headers["x-content-type-options"] == "nosniff", where
    assert headers["referrer-policy"] in ("same-origin", "no-referrer"), where
    assert "access-control-allow-origin" not in headers, where
