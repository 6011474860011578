"""What the service tells of the house it runs in: its disk, its clock, its channels, and how it began. Never stored."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Self

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import Ms

RESTARTS: Final = "restarts"
WEEKLY_TEST: Final = "weekly-test"  # the rule as well
HOUSE_KEYS: Final = (f"house/{RESTARTS}", f"house/{WEEKLY_TEST}")
"""What of the house is kept: see ``Learned``."""

QUIET_AGAIN: Final[Ms] = 12 * 3_600_000
"""Restarts less than this apart belong together: a keeper looks in twice a day; common practice, no source."""
TRUSTS_NOTHING_AFTER: Final[Ms] = 24 * 3_600_000
"""Whatever a clock once said is no argument against what it has said for a day since."""


@light
class ChannelHealth:
    """How a channel fares. Lengths are real time, whatever time the rules run by: that is the time channels work in."""

    id: str
    failing_for: Ms | None = None  # it has refused or hung for so long; None when it has not, or nothing is known yet
    works: bool = False  # a letter got through since it last failed
    waiting: int = 0  # letters
    oldest: str = ""  # title of the one that waits longest
    error: str = ""  # what came of the last try
    todo: str = ""  # what a keeper can do about it, where the channel knows


@light
class Kept:
    """How backups fare. ``good``: the newest good one, ``begun``: the store itself, both in the engine's time."""

    good: Ms | None
    begun: Ms | None
    error: str = ""  # what came of the last try
    folder: str = ""


@light
class Anew:
    """The store was found damaged at ``time`` and a new one begun. ``backup``: the newest good one, ``None`` without one.

    ``log_taken``: the keeper's log, phones and what tins taught were taken over; readings never are.
    """

    time: Ms
    aside: str  # the name that the damaged file has now
    backup: Ms | None = None
    log_taken: bool = False

    def document(self) -> dict[str, Any]:
        return {"time": self.time, "aside": self.aside, "backup": self.backup, "log_taken": self.log_taken}

    @classmethod
    def from_document(cls, document: dict[str, Any]) -> Self:
        """Raises ValueError for another version's."""
        time, aside, backup = document.get("time"), document.get("aside"), document.get("backup")
        if type(time) is not int or not isinstance(aside, str) or not (backup is None or type(backup) is int):
            raise ValueError("not a note of a damaged store as this version keeps it")
        return cls(time, aside, backup, bool(document.get("log_taken")))


@light
class Host:
    """What was measured, several times a minute. ``None`` wherever it cannot be told: that is no reason to alarm."""

    time: Ms
    disk_free: int | None = None  # bytes
    disk_size: int | None = None  # bytes
    unsaved_for: Ms | None = None  # the store has taken nothing for so long
    unsaved_why: str = ""
    clock_synced: bool | None = None  # whether the system clock is kept by the network or another reference
    simulated: bool = False
    channels: tuple[ChannelHealth, ...] = ()
    backups: Kept | None = None
    anew: Anew | None = None


@light
class Began:
    """The service began to watch. ``alive``: when an earlier run was last known to, ``None`` when there was none.

    ``clean``: that run had been told to end.
    """

    time: Ms
    alive: Ms | None = None
    clean: bool = True


@light
class Crashes:
    """Ends without warning that belong together, each followed by a new beginning."""

    count: int
    first: Ms  # the first new beginning
    gone: Ms  # when it was last known to run, before the newest of them
    back: Ms  # the newest beginning
    longest: Ms  # gap

    def document(self) -> dict[str, Any]:
        return {
            "count": self.count,
            "first": self.first,
            "gone": self.gone,
            "back": self.back,
            "longest": self.longest,
        }

    @staticmethod
    def from_document(document: dict[str, Any]) -> Crashes:
        """Raises ValueError for another version's."""
        names = ("count", "first", "gone", "back", "longest")
        if any(type(document.get(name)) is not int for name in names):
            raise ValueError("not a record of restarts as this version keeps it")
        return Crashes(**{name: document[name] for name in names})

    def and_again(self, gone: Ms, back: Ms) -> Crashes:
        """One more; a new beginning of the count when the last is long past, or a clock says that it is yet to come."""
        gap = max(back - gone, 0)
        if not 0 <= back - self.back < QUIET_AGAIN:
            return Crashes(1, back, gone, back, gap)
        return Crashes(self.count + 1, self.first, gone, back, max(self.longest, gap))


@light
class WeeklyPlan:
    """The weekly test push: ``due`` is the next, ``since`` when the one began that nobody has acknowledged yet.

    ``rule``: day, minute and zone by which ``due`` was reckoned.
    """

    due: Ms
    since: Ms | None = None
    rule: str = ""

    def document(self) -> dict[str, Any]:
        return {"due": self.due, "since": self.since, "rule": self.rule}

    @classmethod
    def from_document(cls, document: dict[str, Any]) -> Self:
        """Raises ValueError for another version's."""
        due, since, rule = document.get("due"), document.get("since"), document.get("rule")
        if type(due) is not int or not (since is None or type(since) is int) or not isinstance(rule, str):
            raise ValueError("not a plan of the weekly test as this version keeps it")
        return cls(due, since, rule)


@light(frozen=False)
class House:
    """What the rules about the house look at; empty in a replay, which has none."""

    host: Host | None = None
    began: Ms | None = None
    ran_until: Ms | None = None  # what the clock said when an earlier run was last alive
    crashes: Crashes | None = None
    jumped: tuple[Ms, Ms] | None = None  # what the clock would have said, and what it said instead
    test: WeeklyPlan | None = None

    def channel(self, name: str) -> ChannelHealth | None:
        """How a channel fares; ``None`` while that was not told, or when there is none of the name."""
        known = () if self.host is None else self.host.channels
        return next((channel for channel in known if channel.id == name), None)

    def begin(self, event: Began) -> None:
        self.began, self.ran_until = event.time, event.alive
        if event.clean or event.alive is None:
            return
        if self.crashes is None:
            self.crashes = Crashes(1, event.time, event.alive, event.time, max(event.time - event.alive, 0))
        else:
            self.crashes = self.crashes.and_again(event.alive, event.time)

    def recall(self, name: str, document: dict[str, Any]) -> None:
        """What was kept under ``house/<name>``; before the new beginning. Raises ValueError for another version's."""
        if name == RESTARTS:
            self.crashes = Crashes.from_document(document)
        elif name == WEEKLY_TEST:
            self.test = WeeklyPlan.from_document(document)

    def clock_set(self, now: Ms, was: Ms, worth_telling: Ms) -> None:
        """The clock was set: what this run has noted moves along, what an earlier one wrote stays."""
        by = now - was
        if self.crashes is not None and self.crashes.back == self.began:
            back = self.crashes.back + by
            longest = max(self.crashes.longest, back - self.crashes.gone)
            first = self.crashes.first + (by if self.crashes.count == 1 else 0)
            self.crashes = replace(self.crashes, first=first, back=back, longest=longest)
        if self.began is not None:
            self.began += by
        if abs(by) >= worth_telling:
            self.jumped = (was, now)
