"""All time-series servers together, for the thread of decisions."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

from monitor.loglines import log
from monitor.tending import Tender

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.model import SiteSpec
    from monitor.forward.posting import Server
    from monitor.forward.sender import Pace, Sender
    from monitor.service.clock import Clock
    from monitor.store import Store
    from monitor.store.sinks import Forwarded

RESTART_S: Final = (5.0, 600.0)
"""Before a thread that broke down is started anew, doubling up to the second number. Common practice, no source."""


class Forwarder:
    """``moved`` passes on to the store's owner what has arrived; it is called in other threads."""

    def __init__(
        self,
        servers: Sequence[tuple[Server, Pace]],
        site: SiteSpec,
        store: Store,
        clock: Clock,
        moved: Callable[[Forwarded], None],
    ) -> None:
        reached = store.sinks([server.id for server, _ in servers])
        self._senders: list[Sender] = []
        if servers:
            from monitor.forward.lines import Lines  # noqa: PLC0415  (few have one, and a start need not wait for it)
            from monitor.forward.posting import Poster  # noqa: PLC0415
            from monitor.forward.sender import Sender  # noqa: PLC0415
            from monitor.forward.trail import Trail  # noqa: PLC0415

            for server, pace in servers:
                trail, poster, upto = Trail(store.path, Lines(site)), Poster(server), reached[server.id]
                self._senders.append(Sender(server.id, trail, poster, pace, clock, store.ceilings, upto, moved))
        self._tender = Tender({sender.id: sender for sender in self._senders}, again_s=RESTART_S, say=_broke)

    def start(self) -> None:
        for sender in self._senders:
            sender.start()

    def tend(self) -> None:
        """A thread that has ended is started anew after a while; it goes on where it was."""
        self._tender.look()

    def stuck(self, patience: float) -> str:
        """The first server whose thread is there and has shown no life for ``patience`` seconds; empty when none."""
        since = time.monotonic() - patience
        return next((sender.id for sender in self._senders if sender.alive and sender.last_tick < since), "")

    def ask_to_stop(self) -> None:
        """No more calls are begun."""
        for sender in self._senders:
            sender.ask_to_stop()

    def stop(self, timeout: float) -> bool:
        """Let calls under way end, at most ``timeout`` seconds altogether; whether all did."""
        deadline = time.monotonic() + timeout
        self.ask_to_stop()
        ended = [sender.join(max(0.0, deadline - time.monotonic())) for sender in self._senders]
        return all(ended)

    def document(self) -> dict[str, Any]:
        """What of it goes out with the bench."""
        return {"series_servers": [sender.document() for sender in self._senders]}


def _broke(server: str, times: int) -> None:
    log.error("series.thread-died", server=server, times=times)
