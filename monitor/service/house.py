"""The house seen from within: what is measured for the rules about it, and who is told that the whole still works.

Used by the thread of decisions. It keeps two marks in the store, by which the next run knows how this one ended.
"""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from monitor.core.house import Began, ChannelHealth, Host
from monitor.core.light import light
from monitor.service.anew import noted_anew
from monitor.service.host import clock_synced, folder_of, room

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.core.engine import Engine
    from monitor.core.house import Kept
    from monitor.core.model import Ms
    from monitor.notify import Delivery, Notifier
    from monitor.service.clock import Clock
    from monitor.service.heartbeat import Heartbeat
    from monitor.service.watchdog import Watchdog
    from monitor.store import Letter, Store

LOOK_EVERY_S: Final = 10.0
MARK_EVERY_S: Final = 60.0
"""The gap that a restart tells is known to this and the interval of commits: more often would only wear the card."""
HUNG_S: Final = 60.0
"""A try that takes longer counts as hanging: channels give up by themselves well before. Common practice, no source."""
LANE_STUCK_S: Final = 900.0
"""Only a restart ends a try that has hung so long; by then the alarm about it has gone out. Common practice, no source."""
TASK_STUCK_S: Final = 120.0
"""The link shows life four times a second; only a name server that does not answer holds it up, for half a minute at most."""

CLEAN: Final = "run/clean"
ALIVE: Final = "run/alive"
BACKED_UP: Final = "run/backup"


def backed_up(store: Store) -> Ms | None:
    """When the newest good backup was, as it was last known."""
    with suppress(TypeError, ValueError):
        return int(store.kept(BACKED_UP) or "")
    return None


@light(frozen=False)
class _Lane:
    """What is known of a channel in this run. Seconds are of the steady clock."""

    since: float | None = None  # it has failed since; None when it has not, or nothing is known yet
    works: bool = False
    error: str = ""
    todo: str = ""


@light
class Parts:
    """What is looked at: the other long tasks and the channels."""

    notifier: Notifier
    channels: Sequence[str]
    round_tick: float  # steady seconds when the thread of decisions last came to the end of a round
    link_tick: float | None  # the same of the link's thread, when it last showed life
    chores_tick: float  # and of the scheduler's
    stuck_copy: Callable[[float], str]  # the time-series server whose thread was silent for so many seconds, or ""
    web_alive: bool
    chores_alive: bool = True
    stuck_food: Callable[[float], bool] = lambda _: False  # whether whoever looks ahead was silent for so many seconds


class House:
    def __init__(
        self,
        engine: Engine,
        store: Store,
        store_path: str,
        clock: Clock,
        heartbeat: Heartbeat,
        watchdog: Watchdog,
        backups: Callable[[], Kept | None] = lambda: None,
    ) -> None:
        self._engine = engine
        self._store = store
        self._folder = folder_of(store_path)
        self._clock = clock
        self._heartbeat = heartbeat
        self._watchdog = watchdog
        self._backups = backups
        self._good = backed_up(store)
        self._anew = noted_anew(store)
        self._lanes: dict[str, _Lane] = {}
        self._unsaved: tuple[float, str] | None = None  # since when nothing can be stored, and why
        self._looked = self._marked = float("-inf")
        self._watching = False

    # -- beginning and end

    def began(self) -> Began:
        """How the run before ended, by its marks."""
        alive = self._store.kept(ALIVE)
        known = None
        with suppress(TypeError, ValueError):
            known = int(alive or "")
        return Began(self._clock.now(), known, clean=self._store.kept(CLEAN) != "false")

    def ready(self) -> None:
        """All parts run: from here on an end that nobody asked for is one without warning. To be committed."""
        self._watching = True
        self._store.keep(CLEAN, "false")
        self._mark()
        self._heartbeat.start()
        self._watchdog.ready()

    def stopping(self, *, asked: bool) -> None:
        """The last word, to be committed. ``asked``: somebody told it to end."""
        self._watchdog.stopping()
        self._heartbeat.stop()
        if self._watching:
            self._mark()
            self._store.keep(CLEAN, "true" if asked else "false")

    def _mark(self) -> None:
        self._marked = self._clock.steady()
        self._store.keep(ALIVE, str(self._clock.now()))

    # -- what it is told

    def unsaved(self, why: str) -> None:
        """The store takes nothing."""
        self._unsaved = (self._clock.steady() if self._unsaved is None else self._unsaved[0], why)

    def saved(self) -> None:
        """The store has taken all that waited."""
        self._unsaved = None

    def outcome(self, delivery: Delivery) -> str:
        """How a try with a letter ended; to be told before the outbox is. The channel, empty for a letter nobody knows."""
        channel = next((letter.channel for letter in self._store.undelivered() if letter.id == delivery.letter_id), "")
        if not channel:
            return ""
        if delivery.ok:
            self.worked(channel)
            return channel
        lane = self._lanes.setdefault(channel, _Lane())
        lane.since = self._clock.steady() if lane.since is None else lane.since
        lane.works, lane.error, lane.todo = False, delivery.error, delivery.todo
        return channel

    def worked(self, channel: str) -> None:
        """A letter got through."""
        self._lanes[channel] = _Lane(works=True)

    # -- what it measures

    def look(self, parts: Parts) -> Host | None:
        """What the rules are to know, when it is time; and whoever waits for signs of life is served."""
        now = self._clock.steady()
        stuck = self._stuck(parts)
        self._watchdog.alive(stuck)
        if now - self._marked >= MARK_EVERY_S:
            self._mark()
        if now - self._looked < LOOK_EVERY_S:
            return None
        self._looked = now
        host = self._measure(parts)
        self._heartbeat.judge(self._wrong(host) or stuck)  # not every house has a manager that ends what hangs
        return host

    def document(self) -> dict[str, Any]:
        """What of it goes out with the bench."""
        return {"heartbeat": self._heartbeat.document()}

    def _measure(self, parts: Parts) -> Host:
        backups = self._backups()
        if backups is not None and backups.good is not None and backups.good != self._good:
            self._good = backups.good
            self._store.keep(BACKED_UP, str(self._good))
        space = room(self._folder)
        simulated = self._clock.speed is not None
        return Host(
            time=self._clock.now(),
            disk_free=None if space is None else space[0],
            disk_size=None if space is None else space[1],
            unsaved_for=None if self._unsaved is None else self._lasted(self._unsaved[0]),
            unsaved_why="" if self._unsaved is None else self._unsaved[1],
            clock_synced=None if simulated else clock_synced(),
            simulated=simulated,
            channels=tuple(self._channels(parts)),
            backups=backups,
            anew=self._anew,
        )

    def _lasted(self, since: float) -> Ms:
        return round((self._clock.steady() - since) * 1000)

    def _channels(self, parts: Parts) -> list[ChannelHealth]:
        busy = parts.notifier.busy()
        letters: dict[str, list[Letter]] = {}
        for letter in self._store.undelivered():
            letters.setdefault(letter.channel, []).append(letter)
        return [self._channel(name, busy.get(name, 0.0), letters.get(name, [])) for name in parts.channels]

    def _channel(self, name: str, busy: float, letters: Sequence[Letter]) -> ChannelHealth:
        lane = self._lanes.get(name, _Lane())
        lasted = [] if lane.since is None else [self._lasted(lane.since)]
        if busy > HUNG_S:
            lasted.append(round(busy * 1000))
        tried = [letter.created for letter in letters if letter.tries]
        if tried and name not in self._lanes:  # refused in an earlier run
            lasted.append(max(self._clock.wall() - min(tried), 0))
        hangs = f"it has not answered for {busy:.0f} s" if busy > HUNG_S else ""
        return ChannelHealth(
            id=name,
            failing_for=max(lasted, default=None),
            works=lane.works and not lasted,
            waiting=len(letters),
            oldest=min(letters, key=lambda letter: letter.id).title if letters else "",
            error=hangs or lane.error,
            todo=lane.todo,
        )

    # -- whether all is well

    def _stuck(self, parts: Parts) -> str:
        """The first long task that shows no life. That of decisions shows it by asking, but it may ask and do no more."""
        old = self._clock.steady() - TASK_STUCK_S
        if parts.round_tick < old:
            return "each round of decisions breaks off"
        if parts.link_tick is not None and parts.link_tick < old:
            return "the link to the broker shows no life"
        if not parts.chores_alive:
            return "the scheduler of chores has ended"
        if parts.chores_tick < old:
            return "the scheduler of chores shows no life"
        if copy := parts.stuck_copy(LANE_STUCK_S):
            return f"the copy for {copy} shows no life"
        if parts.stuck_food(TASK_STUCK_S):
            return "the look ahead at food shows no life"
        hung = [name for name, seconds in parts.notifier.busy().items() if seconds > LANE_STUCK_S]
        if hung:
            return f"channel {min(hung)} hangs"
        if not parts.web_alive:
            return "the page has ended"
        return "" if self._heartbeat.alive else "the heartbeat has ended"

    def _wrong(self, host: Host) -> str:
        """What keeps the chain from being healthy, the first link first."""
        state = self._engine.state
        if host.simulated:
            return "time is simulated"
        if not state.broker_up:
            return "the broker is not reached"
        if not any(probe.fresh(host.time) for probe in state.probes.values()):
            return "no probe is fresh"
        if host.unsaved_for is not None:
            return "the store takes nothing"
        patience = state.site.alarms.delivery_on_delay
        failing = [c.id for c in host.channels if c.failing_for is not None and c.failing_for >= patience]
        return f"channel {failing[0]} does not work" if failing else ""
