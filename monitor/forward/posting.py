"""Lines to a server, one call after the other, over the InfluxDB v2 write API. The client library is imported at the first call:
it takes 40 MB.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

TIMEOUT_S: Final = 3.0
"""For the connection and for each wait for an answer; the service must be able to end meanwhile."""
LONGEST_RETRY_AFTER_S: Final = 600.0
_SAID: Final = 200

_TODO: Final = {
    401: "Look at token_file: the server does not know this token.",
    403: "Look at token_file: this token may not write into the bucket.",
    404: "Look at url, org and bucket: the server does not know one of them.",
}


@dataclass(frozen=True, slots=True)
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
        self._timeout = timeout
        self._client: Any = None
        self._api: Any = None

    def post(self, lines: Sequence[str]) -> None:
        """Returns when the server has taken them. Raises SendFailed."""
        from influxdb_client.rest import ApiException  # noqa: PLC0415  (see above)
        from urllib3.exceptions import HTTPError  # noqa: PLC0415

        server = self._server
        try:
            if self._api is None:
                self._open()
            self._api.write(server.bucket, server.org, "\n".join(lines).encode(), "ms")
        except ApiException as error:
            if not error.status:  # no answer: the certificate was not to its liking
                raise SendFailed(f"its certificate can't be trusted: {_plain(error.reason)}") from None
            raise _answered(error.status, error.body, error.headers) from None
        except HTTPError as error:
            raise SendFailed(f"it is not reached: {_cause(error)}") from None
        except OSError as error:  # a ca_file that is gone
            raise SendFailed(f"it can't be asked: {error.strerror or type(error).__name__}") from None

    def close(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = self._api = None

    def _open(self) -> None:
        from influxdb_client.client.influxdb_client import InfluxDBClient  # noqa: PLC0415
        from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415

        server = self._server
        self._client = InfluxDBClient(
            server.url,
            server.token or "",  # none is sent then
            org=server.org,
            timeout=round(self._timeout * 1000),
            enable_gzip=server.gzip,
            ssl_ca_cert=None if server.ca_file is None else str(server.ca_file),
        )
        self._api = self._client.write_api(write_options=SYNCHRONOUS)


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
