from __future__ import annotations

import asyncio
import threading
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Refused
from monitor.notify import try_channels
from monitor.notify.apprise_channel import AppriseChannel
from monitor.service.desk import ServiceDesk
from monitor.store.record import Record
from tests.adapters.notify.counterparts import Webhook

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from monitor.store import Letter


class Stuck:
    """A channel that breaks its promise to end by itself, until it is let go."""

    id = "stuck"

    def __init__(self) -> None:
        self.begun = threading.Event()
        self.go = threading.Event()

    def send(self, letter: Letter) -> None:  # noqa: ARG002  (the signature of a channel)
        self.begun.set()
        self.go.wait(20)


@pytest.fixture
def stuck() -> Iterator[Stuck]:
    channel = Stuck()
    yield channel
    channel.go.set()


@pytest.fixture
def webhook(tmp_path: Path) -> Iterator[Webhook]:
    server = Webhook(tmp_path)
    server.work()
    yield server
    server.away()


def test_each_channel_has_its_result_in_order(webhook: Webhook, stuck: Stuck) -> None:
    """One that works, one that is wrong for ever and one that is stuck are told apart, each with what to do."""
    told = try_channels([stuck, webhook.channel, AppriseChannel("typo", "jsom://127.0.0.1/")], "shed", 0, patience=5.0)
    assert [(one["id"], one["ok"]) for one in told] == [("stuck", False), ("hook", True), ("typo", False)]
    assert told[0]["error"] == "no result within 5 s"
    assert "test again" in told[0]["todo"]
    assert "Correct this [[channel]]" in told[2]["todo"]
    assert len(webhook.ids(1)) == 1


def test_one_test_at_a_time(stuck: Stuck) -> None:
    """Whoever tests while a test is running is refused, and afterwards it is free again."""
    desk = ServiceDesk(
        lambda _asked: None, [stuck], "shed", lambda: 0, lambda _days: {}, Record("none.sqlite3"), lambda _: {}
    )

    async def both() -> list[dict[str, object]]:
        first = asyncio.create_task(desk.try_channels())
        assert await asyncio.to_thread(stuck.begun.wait, 20)
        with pytest.raises(Refused, match="is running"):
            await desk.try_channels()
        stuck.go.set()
        await first
        return await desk.try_channels()

    assert asyncio.run(both()) == [{"id": "stuck", "ok": True, "error": "", "todo": ""}]
