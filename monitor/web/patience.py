"""HTTP for callers who dawdle: a request that does not arrive is not waited for, and nobody takes all connections."""

from __future__ import annotations

import ipaddress
from typing import TYPE_CHECKING, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from monitor.web.server import PATIENCE_S

if TYPE_CHECKING:
    import asyncio

CONNECTIONS: Final = 100
"""Open at one time."""
PER_CALLER: Final = 40
"""Of these from one address: a browser opens six for each page it shows; common practice, no source."""

_ARRIVED: Final = (h11.DONE, h11.MUST_CLOSE, h11.CLOSED, h11.ERROR)


def network(host: str) -> str:
    """Whom something is counted for: an address, or the network of an IPv6 one, which has addresses without end."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if address.version == 6:
        return str(ipaddress.ip_network((int(address), 64), strict=False))
    return host


class Patient(H11Protocol):
    """The server's own protocol with a deadline for each request and a share of the connections for each caller."""

    patience_s = PATIENCE_S
    caller = ""
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self.caller = network(self.client[0]) if self.client else ""
        mine = sum(isinstance(one, Patient) and one.caller == self.caller for one in self.connections)
        if mine > PER_CALLER:
            transport.abort()
        else:
            self._wait()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state in _ARRIVED:
            self._wait_no_more()
        else:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._wait_no_more()
        super().connection_lost(exc)

    def _wait(self) -> None:
        """From its first byte on; more bytes give no more time."""
        if self._deadline is None:
            self._deadline = self.loop.call_later(self.patience_s, self.transport.close)

    def _wait_no_more(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None


def patient(patience_s: float) -> type[Patient]:
    """The protocol with this much patience."""
    return type("Patient", (Patient,), {"patience_s": patience_s})
