"""Commands that come in over MQTT, on their way to the same decision as those of the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.model import Refused
from monitor.intake.commands import INVALID, LONGEST_ALARM, REFUSED, answer_topic, done, family, problem, read_command
from monitor.intake.unreadable import Unreadable, shown
from monitor.loglines import log

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.engine import Engine
    from monitor.core.model import AlarmCommand
    from monitor.intake.incoming import Incoming
    from monitor.service.clock import Clock
    from monitor.service.ingest import Ingest


class Doing:
    """Used by the thread of decisions. ``carry_out`` takes a command to the disk, or raises ``Refused``."""

    def __init__(
        self,
        engine: Engine,
        ingest: Ingest,
        clock: Clock,
        carry_out: Callable[[AlarmCommand], None],
        publish: Callable[[str, bytes, bool], None],
    ) -> None:
        self._engine = engine
        self._ingest = ingest
        self._clock = clock
        self._carry_out = carry_out
        self._publish = publish
        self._site = engine.state.site.id
        self._family = family(self._site)
        self._head = f"{self._family}/"
        self._retained: set[str] = set()

    def takes(self, topic: str) -> bool:
        return topic.startswith(self._head) and "/" not in topic[len(self._head) :]

    def take(self, message: Incoming) -> None:
        """Carry it out and answer. The broker hears of it after the commit; killed before, it is delivered again."""
        self._ingest.note(message)
        alarm = message.topic.rpartition("/")[2]
        if len(alarm) > LONGEST_ALARM:  # the topic of an answer could be too long to be published
            reason = f"{shown(alarm)} of {len(alarm)} letters is no alarm"
            self._ingest.refuse(family(self._site), message, Unreadable(reason, "oversize"))
            log.warning("command.unreadable", alarm=shown(alarm), reason=reason)
            return
        if message.retain:
            # It would be carried out anew on every connection, for ever.
            if message.payload and alarm not in self._retained and len(self._retained) < 100:
                self._retained.add(alarm)
                log.warning("command.retained", topic=message.topic, todo="publish commands without the retain flag")
            return
        now = self._clock.now()
        try:
            command = read_command(message, now)
            self._carry_out(command)
        except Unreadable as why:
            self._ingest.refuse(family(self._site), message, why)
            log.warning("command.unreadable", topic=message.topic, reason=why.reason)
            self._answer(alarm, problem(alarm, INVALID, why.reason, now))
        except Refused as refused:
            log.info("command.refused", topic=message.topic, reason=str(refused))
            self._answer(alarm, problem(alarm, REFUSED, str(refused), now))
        else:
            log.info("command.done", kind=type(command).__name__.lower(), alarm=alarm, by=command.by)
            self._answer(alarm, done(command, self._engine.state.alarm_state(alarm).value, now))

    def _answer(self, alarm: str, payload: bytes) -> None:
        self._publish(answer_topic(self._site, alarm), payload, False)
