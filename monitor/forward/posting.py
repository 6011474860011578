"""Lines to a server, one call after the other, over the InfluxDB v2 write API: one POST, so an HTTP client is enough. It is
imported at the first call, as it costs memory.
"""

from __future__ import annotations

import gzip
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from urllib3 import PoolManager

TIMEOUT_S: Final = 3.0
"""For the connection and for each wait for an answer; the service must be able to end meanwhile."""
LONGEST_RETRY_AFTER_S: Final = 600.0
_SAID: Final = 200

_TODO: Final = {
    401: "Look at token_file: the server does not know this token.",
    403: "Look at token_file: this token may not write into the bucket.",
    404: "Look at url, org and bucket: the server does not know one of them.",
}


@light
class Server:
    """As configured. The token is never told."""

    id: str
    url: str
    org: str = "swimup"
    bucket: str = "swimup"
    token: str | None = None
    ca_file: Path | None = None
    gzip: bool = False

    def __repr__(self) -> str:
        return f"Server({self.id!r})"


class SendFailed(Exception):  # noqa: N818  (it is what became of a call)
    """The server has not taken the lines. ``retry_after``: seconds it asks for.

    ``refused``: it has answered that it will never take (all of) them. ``too_much``: that they are too many for one call.
    """

    def __init__(
        self, message: str, *, todo: str = "", retry_after: float = 0.0, refused: bool = False, too_much: bool = False
    ) -> None:
        super().__init__(message)
        self.todo = todo
        self.retry_after = retry_after
        self.refused = refused
        self.too_much = too_much


class Poster:
    """For one thread."""

    def __init__(self, server: Server, timeout: float = TIMEOUT_S) -> None:
        self._server = server
        asked = urlencode({"org": server.org, "bucket": server.bucket, "precision": "ms"})
        self._url = f"{server.url.rstrip('/')}/api/v2/write?{asked}"
        self._headers = {"Content-Type": "text/plain; charset=utf-8", "Accept": "application/json"}
        if server.token:
            self._headers["Authorization"] = f"Token {server.token}"
        if server.gzip:
            self._headers["Content-Encoding"] = "gzip"
        self._timeout = timeout
        self._pool: PoolManager | None = None

    def post(self, lines: Sequence[str]) -> None:
        """Returns when the server has taken them. Raises SendFailed."""
        from urllib3.exceptions import HTTPError, SSLError  # noqa: PLC0415  (see above)

        body = "\n".join(lines).encode()
        try:
            if self._pool is None:
                self._pool = self._open()
            answer = self._pool.request(
                "POST", self._url, body=gzip.compress(body) if self._server.gzip else body, headers=self._headers
            )
        except SSLError as error:
            raise SendFailed(f"its certificate can't be trusted: {_plain(str(error))}") from None
        except HTTPError as error:
            raise SendFailed(f"it is not reached: {_cause(error)}") from None
        except OSError as error:  # a ca_file that is gone
            raise SendFailed(f"it can't be asked: {error.strerror or type(error).__name__}") from None
        if not 200 <= answer.status < 300:
            raise _answered(answer.status, answer.data.decode("utf-8", "replace"), answer.headers)

    def close(self) -> None:
        if self._pool is not None:
            self._pool.clear()
            self._pool = None

    def _open(self) -> PoolManager:
        """No proxy from the environment, no second try and no redirect: what is configured is what is done."""
        from urllib3 import PoolManager, Timeout  # noqa: PLC0415

        ca_file = self._server.ca_file
        return PoolManager(
            timeout=Timeout(connect=self._timeout, read=self._timeout),
            retries=False,
            ca_certs=None if ca_file is None else str(ca_file),
        )


def _answered(status: int, body: str | None, headers: Any) -> SendFailed:
    said = f"it answered with status {status}"
    if plain := _plain(body or ""):
        said += f": {plain}"
    if status == 413:
        return SendFailed(said, too_much=True)
    if status in (400, 422):
        return SendFailed(said, refused=True)
    return SendFailed(said, todo=_TODO.get(status, ""), retry_after=_retry_after(headers))


def _retry_after(headers: Any) -> float:
    """Seconds, as servers for machines write it; a date is as good as nothing."""
    text = str((headers or {}).get("Retry-After", "")).strip()
    return min(float(text), LONGEST_RETRY_AFTER_S) if text.isascii() and text.isdecimal() else 0.0


def _cause(error: BaseException) -> str:
    """What the system said beneath, else the kind of the error."""
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, TimeoutError):
            return "it gave no answer in time"
        if isinstance(cause, OSError) and cause.strerror:
            return cause.strerror
        cause = cause.__cause__ or cause.__context__
    return "it gave no answer in time" if "Timeout" in type(error).__name__ else type(error).__name__


def _plain(text: str) -> str:
    """At most a short line of what a stranger said."""
    line = " ".join(text.split())
    return "".join(letter for letter in line if letter.isprintable())[:_SAID]
