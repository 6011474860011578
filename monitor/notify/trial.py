"""One test letter through every channel, beside the outbox and without a trace in it."""

from __future__ import annotations

import queue
import secrets
import time
from typing import TYPE_CHECKING, Any

from monitor.core.dispatch import Kind
from monitor.core.model import Priority
from monitor.loglines import log
from monitor.notify.notifier import Notifier
from monitor.notify.outbox import Delivery
from monitor.store import Letter

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.core.model import Ms
    from monitor.notify.outbox import Channel

LATER = "Look at the other side and at the network, then test again. Alarms wait meanwhile, and are told when it works."
NEVER = "Correct this [[channel]] in the configuration and start the service anew. An alarm would be given up."


def letter_for(number: int, channel: str, site: str, now: Ms) -> Letter:
    return Letter(
        id=number,
        transition_id=None,
        alarm="test",
        channel=channel,
        title=f"Test from {site}",
        body="Somebody asked whether letters arrive here. This one did; nothing is wrong.",
        priority=Priority.LOW,
        created=now,
        token=secrets.token_hex(4),
        kind=Kind.TEST,
    )


def try_channels(channels: Sequence[Channel], site: str, now: Ms, patience: float) -> list[dict[str, Any]]:
    """Send through all at once; for each channel ``id``, ``ok``, ``error`` and ``todo``. Takes ``patience`` seconds at most.

    Threads of its own, so that a channel that is stuck with an alarm does not keep the answer back.
    """
    results: queue.SimpleQueue[Delivery] = queue.SimpleQueue()
    notifier = Notifier(channels, results.put)
    for number, channel in enumerate(channels):
        notifier.deliver(letter_for(number, channel.id, site, now))
    ended: dict[int, Delivery] = {}
    deadline = time.monotonic() + patience
    while len(ended) < len(channels):
        try:
            delivery = results.get(timeout=max(deadline - time.monotonic(), 0.0))
        except queue.Empty:
            break
        ended[delivery.letter_id] = delivery
    notifier.stop(0.0)
    late = f"no result within {patience:g} s"
    told = [_told(channel.id, ended.get(n, Delivery(n, ok=False, error=late))) for n, channel in enumerate(channels)]
    log.info("channels.tested", channels=len(told), failed=[one["id"] for one in told if not one["ok"]])
    return told


def _told(channel: str, delivery: Delivery) -> dict[str, Any]:
    if delivery.ok:
        return {"id": channel, "ok": True, "error": "", "todo": ""}
    todo = delivery.todo or (LATER if delivery.transient else NEVER)
    error = delivery.error.removeprefix(f"channel {channel}: ")
    return {"id": channel, "ok": False, "error": error, "todo": todo}
