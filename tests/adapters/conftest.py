"""What the adapter tests share: something that listens to a session, and waiting for what will come."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Any

import pytest

from monitor.intake.session import Incoming, Link, Session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto

    Until = Callable[..., None]

PATIENCE_S = 20.0


def until(condition: Callable[[], object], what: str = "the awaited did not come") -> None:
    """Return as soon as the condition holds; fail when it does not within a time no healthy machine needs."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > deadline:
            pytest.fail(what)
        time.sleep(0.005)


class Hearing:
    """A session with everything it tells, in order."""

    def __init__(self, link: Link, topics: list[str], **more: Any) -> None:
        self.messages: list[Incoming] = []
        self.links: list[tuple[bool, str]] = []
        self.problems: list[tuple[str, str]] = []
        self.ack_at_once = more.pop("ack_at_once", True)
        self.fail_with: BaseException | None = None
        self._lock = threading.Lock()
        more.setdefault("first_delay_s", 0.05)
        more.setdefault("longest_delay_s", 0.3)
        self.session = Session(
            link,
            topics,
            "shed",
            self._message,
            lambda up, text: self.links.append((up, text)),
            on_problem=lambda subject, text: self.problems.append((subject, text)),
            **more,
        )

    def _message(self, incoming: Incoming) -> None:
        if self.fail_with is not None:
            raise self.fail_with
        self.messages.append(incoming)
        if self.ack_at_once:
            self.session.ack(incoming)

    @property
    def payloads(self) -> list[str]:
        return [message.payload.decode() for message in self.messages]

    @property
    def ups(self) -> list[bool]:
        return [up for up, _ in self.links]

    def tried_often(self) -> bool:
        """Whether it has tried to connect more than twice."""
        return self.session.state.connections > 2

    def wait_up(self, times: int = 1) -> None:
        until(lambda: self.ups.count(True) >= times, f"the link did not come up {times} times: {self.links}")

    def wait_payloads(self, count: int) -> None:
        until(lambda: len(self.messages) >= count, f"{count} messages awaited, {len(self.messages)} came")


@pytest.fixture
def hear() -> Iterator[Callable[..., Hearing]]:
    """Starts sessions that end with the test: ``hear(link, topics, ...)``; ``start=False`` only makes one."""
    made: list[Hearing] = []

    def make(link: Link, topics: list[str], *, start: bool = True, **more: Any) -> Hearing:
        hearing = Hearing(link, topics, **more)
        made.append(hearing)
        if start:
            hearing.session.start()
        return hearing

    yield make
    for hearing in made:
        hearing.session.stop()
        assert not hearing.session.alive


@pytest.fixture
def link_to() -> Callable[..., Link]:
    """A plain link to a broker: ``link_to(mosquitto, client_id="swimup-shed", ...)``."""

    def make(broker: Mosquitto, client_id: str = "swimup-shed", **more: Any) -> Link:
        return Link(broker.host, broker.port, client_id, **more)

    return make
