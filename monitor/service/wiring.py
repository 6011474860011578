"""What a supervisor is made of: given once, and never changed while it runs."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

from monitor.core.dispatch import AT_ONCE
from monitor.core.light import light
from monitor.core.model import HOUR
from monitor.notify.phonebook import PhoneBook
from monitor.settings.food import Planning
from monitor.store import Keep

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from monitor.core.dispatch import Manners, Reach
    from monitor.core.model import Ms, SiteSpec
    from monitor.forward.posting import Server
    from monitor.forward.sender import Pace
    from monitor.intake.binding import Binding
    from monitor.intake.link import Link
    from monitor.notify import Channel
    from monitor.service.backing import Plan
    from monitor.service.clock import Clock
    from monitor.service.heartbeat import Heartbeat
    from monitor.store.ahead import Ahead

NO_PLANNING: Final = Planning(on=False, every=HOUR, soon_s=20.0, seconds=60.0, memory_mb=1024)


@light
class Wiring:
    """The room as configured, its link, store, channels and clock; whatever has a default can be left out."""

    site: SiteSpec
    bindings: Sequence[Binding]
    link: Link
    channels: Sequence[Channel]
    store_path: str
    commit_every: Ms
    clock: Clock
    heartbeat: Heartbeat | None = None
    web_alive: Callable[[], bool] = lambda: True
    manners: Manners = AT_ONCE
    reaches: Mapping[str, Reach] = field(default_factory=dict)
    book: PhoneBook = field(default_factory=PhoneBook)
    keep: Keep = field(default_factory=Keep)
    series_servers: Sequence[tuple[Server, Pace]] = ()
    backups: Plan | None = None
    page: str = ""
    planning: Planning = NO_PLANNING
    ahead: Ahead | None = None  # has begun to read what the store kept
    other_rooms: Sequence[str] | None = None  # to be shown: those, or with none named all that are heard of

    @property
    def channel_ids(self) -> list[str]:
        return [channel.id for channel in self.channels]
