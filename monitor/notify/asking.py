"""One HTTP/1.1 request, and status and headers of its answer; the answer's body is of no interest and not waited for.

The page speaks through the same two libraries already, so it costs no memory; a whole client would cost 10 MB. No proxy and
no password from the environment, and no redirect: what is configured is what is done.
"""

from __future__ import annotations

import os
from base64 import b64encode
from ssl import SSLCertVerificationError, SSLError
from typing import TYPE_CHECKING, Final
from urllib.parse import SplitResult, quote, unquote, urlsplit

if TYPE_CHECKING:
    import ssl
    from collections.abc import Iterator, Mapping

    import h11
    from anyio.abc import ByteStream

PORTS: Final = {"http": 80, "https": 443}
_LEFT_AS_IT_IS: Final = "%/:?#[]@!$&'()*+,;=~"
_PIECE: Final = 16_384
CUT: Final = "the connection was cut"


class BrokenOff(Exception):  # noqa: N818  (it is what became of a request)
    """There was a connection, and no answer over it that could be understood; the message says what came."""


async def ask(
    method: str,
    url: str,
    headers: Mapping[str, str],
    body: bytes = b"",
    *,
    connect_s: float,
    trust: ssl.SSLContext | None = None,
    address: str | None = None,
) -> tuple[int, dict[str, str]]:
    """Status and headers, these by name in small letters. The caller limits the whole.

    ``connect_s``: limit for connecting with the TLS handshake. ``address``: where to connect, in place of looking up the
    name. Raises OSError (TimeoutError, SSLError) when there was no connection, BrokenOff, or ValueError for an address that
    is none.
    """
    from anyio import BrokenResourceError, ClosedResourceError, connect_tcp, fail_after  # noqa: PLC0415
    from h11 import RemoteProtocolError  # noqa: PLC0415

    parts = urlsplit(url)
    name = _name(parts)
    port = parts.port or PORTS[parts.scheme]
    stream: ByteStream
    with fail_after(connect_s):
        if parts.scheme == "https":
            stream = await connect_tcp(
                address or name, port, ssl_context=trust, tls=True, tls_hostname=name, tls_standard_compatible=False
            )
        else:
            stream = await connect_tcp(address or name, port)
    async with stream:
        try:
            return await _exchange(stream, _request(method, parts, headers, len(body)), body)
        except RemoteProtocolError as error:
            raise BrokenOff("its answer is not HTTP") from error
        except (BrokenResourceError, ClosedResourceError) as error:
            raise BrokenOff(CUT) from error


def ask_now(
    method: str,
    url: str,
    headers: Mapping[str, str],
    body: bytes = b"",
    *,
    timeout_s: float,
    trust: ssl.SSLContext | None = None,
) -> tuple[int, dict[str, str]]:
    """As ``ask``, for a thread in which no loop runs; ``timeout_s`` is for the whole, and TimeoutError tells that it passed."""
    import asyncio  # noqa: PLC0415  (so that a start need not wait for it)

    async def limited() -> tuple[int, dict[str, str]]:
        # The limit for connecting comes first: only then the socket is tidied up.
        async with asyncio.timeout(timeout_s):
            return await ask(method, url, headers, body, connect_s=0.45 * timeout_s, trust=trust)

    return asyncio.run(limited())


async def _exchange(stream: ByteStream, request: h11.Request, body: bytes) -> tuple[int, dict[str, str]]:
    import h11  # noqa: PLC0415
    from anyio import EndOfStream  # noqa: PLC0415

    talk = h11.Connection(h11.CLIENT)
    pieces = [talk.send(event) or b"" for event in (request, h11.Data(body), h11.EndOfMessage())]
    await stream.send(b"".join(pieces))
    while True:  # what is no answer yet, as "100 Continue", is passed over
        event = talk.next_event()
        if isinstance(event, h11.Response):
            return event.status_code, {key.decode().lower(): value.decode("latin-1") for key, value in event.headers}
        if event is h11.NEED_DATA:
            try:
                talk.receive_data(await stream.receive(_PIECE))
            except EndOfStream:
                raise BrokenOff(CUT) from None


def _request(method: str, parts: SplitResult, headers: Mapping[str, str], length: int) -> h11.Request:
    from h11 import Request  # noqa: PLC0415

    name = _name(parts)
    host = f"[{name}]" if ":" in name else name
    if parts.port not in (None, PORTS[parts.scheme]):
        host += f":{parts.port}"
    target = quote(parts.path or "/", _LEFT_AS_IT_IS)
    if parts.query:
        target += "?" + quote(parts.query, _LEFT_AS_IT_IS)
    said = {"Host": host, "Accept": "*/*", "Connection": "close", **headers}
    if length:
        said["Content-Length"] = str(length)
    if parts.username is not None:  # RFC 7617
        who = f"{unquote(parts.username)}:{unquote(parts.password or '')}"
        said["Authorization"] = "Basic " + b64encode(who.encode()).decode()
    return Request(method=method, target=target, headers=list(said.items()))


def _name(parts: SplitResult) -> str:
    """As DNS has it. Raises ValueError."""
    if parts.scheme not in PORTS or not parts.hostname:
        raise ValueError("an address of http or https with a name is needed")
    name = parts.hostname
    return name if name.isascii() else name.encode("idna").decode()


def tls_reason(error: BaseException) -> str | None:
    """Why TLS did not come about, out of the chain of causes; None where it was something else."""
    for cause in _causes(error):
        if isinstance(cause, SSLCertVerificationError):
            return cause.verify_message
        if isinstance(cause, SSLError):
            return cause.reason or str(cause)
    return None


def system_reason(error: BaseException) -> str:
    """What the system said of the connection, beneath what the client makes of it."""
    said = [cause for cause in _causes(error) if isinstance(cause, OSError) and cause.errno is not None]
    if not said:
        return str(error)
    number = said[-1].errno or 0
    return os.strerror(number) if number > 0 else str(said[-1].strerror)  # negative where a name is not found


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        # A group is a host of several addresses: one of them stands for all.
        several = error.exceptions if isinstance(error, BaseExceptionGroup) else ()
        error = several[0] if several else error.__cause__ or error.__context__
