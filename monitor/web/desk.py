"""What page and API need of the service: the newest view of the bench, word of a newer one, and a way to act."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from monitor.core.food import SkipStart
from monitor.core.light import light
from monitor.core.log import Chill, Discard, Emptied, Harvest, Seen, Settle, Start, Undo, Work
from monitor.core.log_food import Correct, FoodEntry
from monitor.core.model import AlarmCommand
from monitor.core.phones import Subscribe, Unsubscribe

if TYPE_CHECKING:
    from monitor.store.record import Record

Command = (
    Start
    | Seen
    | Harvest
    | Discard
    | Settle
    | Work
    | Chill
    | Emptied
    | FoodEntry
    | Correct
    | SkipStart
    | Undo
    | AlarmCommand
    | Subscribe
    | Unsubscribe
)


@light
class Why:
    """A question: how an alarm stands, and what was decided about it."""

    alarm: str


@light
class Check:
    """A question: what the service knows of itself."""


@light
class Look:
    """Somebody looks who does not follow the views: what is new is to be shown now."""


@runtime_checkable
class Desk(Protocol):
    """The service as seen from the web thread. ``bench`` and ``version`` are cheap, and safe from any thread."""

    def bench(self) -> dict[str, Any]:
        """The newest published view, ready for JSON. Beside the agreed keys it may carry ``lots``, last used first."""

    def version(self) -> int:
        """The number of the newest view; grows by one at each new view."""

    async def look(self) -> None:
        """Until the newest view tells what came in before now. Gives up soon when nobody decides; the view tells its age."""

    @property
    def record(self) -> Record:
        """What was kept; its answers come from the disk, so ask in another thread."""

    def figures(self) -> dict[str, Any]:
        """What the service counts of its own work, as of the newest view; see ``monitor.service.figures``. Cheap."""

    def rooms(self) -> dict[str, Any]:
        """Our room and the others that are heard of, as ``monitor.service.rooms`` tells them. Cheap."""

    def food(self) -> dict[str, Any]:
        """Demand, supply and plan of the coming days; empty before the first look ahead. Cheap."""

    async def wait(self, version: int, timeout: float) -> int:  # noqa: ASYNC109  (the other side owns the clock of waiting)
        """Until the view is newer than ``version`` or ``timeout`` seconds have passed; the newest version."""

    async def try_channels(self) -> list[dict[str, Any]]:
        """One test letter through each channel; for each ``id``, ``ok``, ``error``, ``todo``. Raises Refused while one runs."""

    async def report(self, days: int) -> dict[str, Any]:
        """How much the alarms asked of a person in the last ``days`` days, 1 to 30. Raises Refused while it can't be read."""

    async def checkup(self) -> dict[str, Any]:
        """How machine and service fare: ``level``, ``findings`` with the worst first, and ``facts``."""

    async def why(self, alarm: str) -> dict[str, Any]:
        """``alarm`` as it stands or None, its ``rule`` and ``subject``, and its ``decisions``, the oldest first.

        Raises Refused for an alarm that cannot be.
        """

    async def do(self, command: Command) -> dict[str, Any]:
        """Carry out a keeper's command and return what became of it. Raises ``monitor.core.model.Refused``."""
