"""What a decision leads to: it is kept, shown, and told as letters, which go out once they are on the disk."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from monitor.core.model import BatchChanged, Learned, Logged, SlotClosed, Transition
from monitor.core.phones import PHONES_KEY
from monitor.core.rules_site import DELIVERY
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from monitor.core.engine import Engine
    from monitor.core.log import LogEntry
    from monitor.core.model import Effect
    from monitor.notify import Notifier, Outbox
    from monitor.notify.phonebook import PhoneBook
    from monitor.service.clock import Clock
    from monitor.service.committing import Committer
    from monitor.service.telling import Teller
    from monitor.store import Store


class Carrier:
    """Used by the thread of decisions."""

    def __init__(
        self,
        engine: Engine,
        store: Store,
        committer: Committer,
        outbox: Outbox,
        notifier: Notifier,
        teller: Teller,
        book: PhoneBook,
        channels: Sequence[str],
        clock: Clock,
    ) -> None:
        self._engine = engine
        self._store = store
        self._committer = committer
        self._outbox = outbox
        self._notifier = notifier
        self._teller = teller
        self._book = book
        self._channels = channels
        self._clock = clock
        self.posted = False
        """There are letters that nobody has looked at yet."""

    def carry(self, effects: Iterable[Effect]) -> None:
        """Take over what the core gave back; nothing is on the disk or on its way yet."""
        for effect in effects:
            match effect:
                case Transition():
                    self._transition(effect)
                case SlotClosed():
                    self._store.put_slot(effect)
                case Learned():
                    self._store.keep(effect.key, json.dumps(effect.document))
                    if effect.key == PHONES_KEY:
                        self._book.renew(self._engine.state.phones)
                        self._teller.touch_vessel(None)
                case Logged():
                    self.note(effect.entry)
                case BatchChanged():
                    self._teller.touch_batch(effect.batch)

    def note(self, entry: LogEntry) -> None:
        """An entry of the log, the keeper's or the engine's own, is kept."""
        self._store.log(entry)
        log.info("log.entry", kind=type(entry).__name__.lower(), subject=subject(entry))

    def hand_out(self) -> None:
        """Letters whose time has come go; what was made one letter of several is on the disk before."""
        self.posted = False
        self._outbox.arrange(self._clock.wall(), self._clock.now())
        self._committer.commit_urgent()
        self._outbox.pump(self._clock.wall(), self._notifier, self._clock.now())

    def _transition(self, transition: Transition) -> None:
        alarm = transition.alarm
        # A channel that does not work is no way to say so.
        channels = [channel for channel in self._channels if alarm.id != f"{DELIVERY}:{channel}"]
        self._outbox.post(transition, channels, self._clock.wall())
        self.posted = True
        self._teller.alarm(alarm)
        log.info(
            "alarm.changed",
            alarm=alarm.id,
            before=transition.before.value,
            after=alarm.state.value,
            priority=alarm.priority.value,
            told=transition.notify,
            reason=transition.reason,
        )


def subject(command: Any) -> str:
    """What a command or an entry is about, for a line of the service's log; empty when it names nothing."""
    for name in ("subject", "store", "batch", "alarm", "vessel", "start"):
        if hasattr(command, name):
            return str(getattr(command, name))
    return ""
