"""Between the thread of decisions and those of the page: the newest view, word of a newer one, and commands."""

from __future__ import annotations

import threading
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.model import Refused
from monitor.notify import try_channels
from monitor.web.desk import Check, Look, Why

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable, Sequence

    from monitor.core.checkup_facts import Inside
    from monitor.core.model import Ms
    from monitor.notify import Channel
    from monitor.store.record import Record
    from monitor.web.desk import Command


TRIAL_S: Final = 12.0
"""For all test letters at once: longer than a channel's own limit, shorter than the command line waits."""
RENEW_S: Final = 0.3
"""A page waits so long for the newest view, and comes with the one before when nobody decides."""


@light(eq=False)
class Asked:
    """A keeper's command or question on its way to the thread of decisions."""

    command: Command | Why | Check | Look
    answer: Future[Any] = field(default_factory=Future)


@light
class Tried:
    """Test letters were sent; through these channels they got."""

    working: tuple[str, ...]


class ServiceDesk:
    """Implements ``monitor.web.desk.Desk``; ``publish`` is for the thread of decisions, the rest for any.

    ``wall`` tells the time that is written on test letters; ``report`` makes the burden report, in any thread,
    and ``examine`` the check-up, from what the thread of decisions knows.
    asyncio is loaded by who asks: a start need not wait for it.
    """

    def __init__(
        self,
        ask: Callable[[Asked | Tried], None],
        channels: Sequence[Channel],
        site: str,
        wall: Callable[[], Ms],
        report: Callable[[int], dict[str, Any]],
        record: Record,
        examine: Callable[[Inside], dict[str, Any]],
    ) -> None:
        self.record = record
        self.rooms: Callable[[], dict[str, Any]] = dict
        self.food: Callable[[], dict[str, Any]] = dict
        self._examine = examine
        self._ask = ask
        self._channels = channels
        self._site = site
        self._wall = wall
        self._report = report
        self._reporting: asyncio.Semaphore | None = None  # a look back takes memory: one at a time
        self._trying = threading.Lock()
        self._lock = threading.Lock()
        self._view: dict[str, Any] = {}
        self._figures: dict[str, Any] = {}
        self._version = 0
        self._waiting: dict[asyncio.Future[None], asyncio.AbstractEventLoop] = {}
        self._waited = False  # somebody did for the newest view
        self._looking: Asked | None = None

    def publish(self, view: dict[str, Any], figures: dict[str, Any] | None = None) -> None:
        """A newer view; whoever waits is woken. What is given must not be changed afterwards."""
        with self._lock:
            self._view = view
            self._figures = figures or {}
            self._version += 1
            waiting, self._waiting = self._waiting, {}
            self._waited = bool(waiting)
        for future, loop in waiting.items():
            if not loop.is_closed():
                loop.call_soon_threadsafe(_wake, future)

    @property
    def watched(self) -> bool:
        """Whether a page or a program follows the views, or did up to the newest."""
        return self._waited or bool(self._waiting)

    async def look(self) -> None:
        import asyncio  # noqa: PLC0415

        if self.watched:
            return  # views come as fast as they may
        with self._lock:
            looking = self._looking
            if looking is None or looking.answer.done():
                looking = self._looking = Asked(Look())
                self._ask(looking)  # one for all who look meanwhile
        with suppress(TimeoutError, Refused):
            await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(looking.answer)), RENEW_S)

    def bench(self) -> dict[str, Any]:
        return self._view

    def figures(self) -> dict[str, Any]:
        return self._figures

    def version(self) -> int:
        return self._version

    async def wait(self, version: int, timeout: float) -> int:  # noqa: ASYNC109  (a heartbeat, not a deadline)
        import asyncio  # noqa: PLC0415

        loop = asyncio.get_running_loop()
        future: asyncio.Future[None] = loop.create_future()
        with self._lock:
            if self._version > version:
                return self._version
            self._waiting[future] = loop
        try:
            await asyncio.wait_for(future, timeout)
        except TimeoutError:
            pass
        finally:
            with self._lock:
                self._waiting.pop(future, None)
        return self._version

    async def try_channels(self) -> list[dict[str, Any]]:
        import asyncio  # noqa: PLC0415

        return await asyncio.to_thread(self._try_channels)

    def _try_channels(self) -> list[dict[str, Any]]:
        if not self._trying.acquire(blocking=False):
            raise Refused("a test of the channels is running; wait for its result")
        try:
            results = try_channels(self._channels, self._site, self._wall(), TRIAL_S)
            self._ask(Tried(tuple(result["id"] for result in results if result["ok"])))
            return results
        finally:
            self._trying.release()

    async def report(self, days: int) -> dict[str, Any]:
        import asyncio  # noqa: PLC0415

        if self._reporting is None:
            self._reporting = asyncio.Semaphore(1)
        async with self._reporting:
            return await asyncio.to_thread(self._report, days)

    async def checkup(self) -> dict[str, Any]:
        import asyncio  # noqa: PLC0415

        inside: Inside = await self._answer(Check())
        return await asyncio.to_thread(self._examine, inside)

    async def why(self, alarm: str) -> dict[str, Any]:
        told: dict[str, Any] = await self._answer(Why(alarm))
        return told

    async def do(self, command: Command) -> dict[str, Any]:
        done: dict[str, Any] = await self._answer(command)
        return done

    async def _answer(self, command: Command | Why | Check) -> Any:
        import asyncio  # noqa: PLC0415

        asked = Asked(command)
        self._ask(asked)
        return await asyncio.wrap_future(asked.answer)


def _wake(future: asyncio.Future[None]) -> None:
    if not future.done():
        future.set_result(None)
