"""What a person says, by page, program or MQTT: refused with words, or done and on the disk before the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor import failpoint
from monitor.core import forgetting
from monitor.core.bench import story
from monitor.core.food import SkipStart
from monitor.core.log import Start
from monitor.core.model import AlarmCommand, Refused
from monitor.core.phones import PhoneEvent
from monitor.core.wording import local_date
from monitor.failpoint import Point
from monitor.service.carrying import subject
from monitor.web.desk import Check, Look, Why

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.checkup_facts import Inside
    from monitor.core.engine import Engine
    from monitor.core.log import LogEntry
    from monitor.service.carrying import Carrier
    from monitor.service.committing import Committer
    from monitor.service.desk import Asked
    from monitor.service.early import Early
    from monitor.service.food import Food
    from monitor.service.telling import Teller
    from monitor.store import Store


class Clerk:
    """Used by the thread of decisions. ``known`` tells how the service fares, as far as that thread knows."""

    def __init__(
        self,
        engine: Engine,
        store: Store,
        early: Early,
        carrier: Carrier,
        committer: Committer,
        teller: Teller,
        food: Food,
        known: Callable[[], Inside],
    ) -> None:
        self._engine = engine
        self._store = store
        self._early = early
        self._carrier = carrier
        self._committer = committer
        self._teller = teller
        self._food = food
        self._known = known

    def answer(self, asked: Asked) -> None:
        """Whoever asked at the desk gets an answer, or why it can't be done."""
        command = asked.command
        try:
            match command:
                case Look():
                    self._teller.look()
                    asked.answer.set_result(None)
                    return
                case Check():
                    asked.answer.set_result(self._known())
                    return
                case Why():
                    asked.answer.set_result(story(self._engine, command.alarm))
                    return
                case Start(batch=""):
                    command = replace(command, batch=self._batch_name(command))
            self.carry_out(command)
        except Refused as refused:
            asked.answer.set_exception(refused)
            return
        asked.answer.set_result({"done": type(command).__name__.lower(), "subject": subject(command)})
        failpoint.reach(Point.COMMAND_ANSWERED)

    def carry_out(self, command: LogEntry | AlarmCommand | PhoneEvent | SkipStart) -> None:
        """Take it, wherever it came from, and have it on the disk. Raises Refused, and nothing is changed then."""
        if not isinstance(command, AlarmCommand | PhoneEvent):
            self._early.check_entry()
        if forgetting.asked_for(self._engine.state, command):
            forgetting.take_back(self._engine.state, self._store.entries())
        effects = self._engine.step(command)
        if not isinstance(command, AlarmCommand | PhoneEvent | SkipStart):
            self._carrier.note(command)
            self._teller.touch_vessel(getattr(command, "vessel", None))
        self._carrier.carry(effects)
        if not isinstance(command, AlarmCommand | PhoneEvent):
            self._food.wake()
            self._food.show()
        failpoint.reach(Point.COMMAND_TAKEN)
        self._committer.commit()  # what a keeper was told is done must be on the disk
        failpoint.reach(Point.COMMAND_SAVED)
        self._carrier.hand_out()
        self._teller.run(at_once=True)

    def _batch_name(self, start: Start) -> str:
        """``<vessel>-<local date>``, with a number when that one is taken."""
        state = self._engine.state
        name = f"{start.vessel}-{local_date(start.time, state.site.timezone)}"
        if name not in state.batches:
            return name
        return next(f"{name}-{n}" for n in range(2, len(state.batches) + 3) if f"{name}-{n}" not in state.batches)
