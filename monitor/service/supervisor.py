"""One supervisor wires the parts, and its thread takes every decision: inputs come through one queue, one at a time."""

from __future__ import annotations

import queue
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor import failpoint
from monitor.core import forgetting
from monitor.core.engine import Engine
from monitor.core.food import FoodAhead
from monitor.core.light import light
from monitor.core.model import (
    BrokerLink,
    ClockSet,
    ClockUnset,
    Ms,
    Refused,
    Tick,
)
from monitor.core.phones import PhoneGone
from monitor.failpoint import Point
from monitor.forward import Forwarder
from monitor.intake.commands import family
from monitor.intake.incoming import Incoming
from monitor.intake.session import Session
from monitor.loglines import log
from monitor.notify import Delivery, Notifier, Outbox
from monitor.service.anew import begin_anew, open_store
from monitor.service.backing import Backer
from monitor.service.carrying import Carrier
from monitor.service.chores import Chore, Chores, Upkeep
from monitor.service.clerk import Clerk
from monitor.service.committing import Committer
from monitor.service.desk import Asked, ServiceDesk, Tried
from monitor.service.doing import Doing
from monitor.service.early import Early, not_set
from monitor.service.figures import Figures
from monitor.service.food import Food, GatherFood, NoPlan
from monitor.service.heartbeat import Heartbeat
from monitor.service.house import House, Parts, backed_up
from monitor.service.ingest import Ingest
from monitor.service.ledger import Ledger
from monitor.service.memory import settle
from monitor.service.recalling import recall
from monitor.service.rooms import Announcer, RoomsBoard
from monitor.service.telling import Teller
from monitor.service.watchdog import Watchdog
from monitor.store import StoreCorrupt, StoreError
from monitor.store.errors import in_our_words
from monitor.store.record import Record
from monitor.store.sinks import Forwarded
from monitor.tending import Tender

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.checkup_facts import Inside
    from monitor.service.wiring import Wiring
    from monitor.store.history import Columns

TICK_S: Final = 1.0
DRAIN: Final = 500  # inputs taken in one go, before a tick may come in between
LEAVE_S: Final = 4.0
"""A service manager waits longer for the end; and what hangs would be waited for in vain. Common practice, no source."""


@light
class _Link:
    up: bool


class Supervisor:
    """``run`` opens the store, brings the state back, and works until ``stop`` is called, from any thread or a signal."""

    def __init__(self, wiring: Wiring) -> None:
        self._w = wiring
        self._clock = wiring.clock
        self._inputs: queue.SimpleQueue[Any] = queue.SimpleQueue()
        self._stopping = False
        self.desk = ServiceDesk(
            self._inputs.put,
            wiring.channels,
            wiring.site.id,
            wiring.clock.wall,
            self._report,
            Record(wiring.store_path),
            self._examine,
        )
        self._rooms = RoomsBoard(
            wiring.site.id, wiring.page, wiring.link, wiring.other_rooms, wiring.clock, self.desk.bench
        )
        self.desk.rooms = self._rooms.document
        wiring.book.report = lambda phone: self._inputs.put(PhoneGone(self._clock.now(), phone))
        self._heard: set[str] = set()  # topics of the readings that were taken in one go
        self._started = False
        self.last_tick = 0.0

    def stop(self) -> None:
        """Ask it to end; safe in a signal handler."""
        self._stopping = True
        self._inputs.put(None)

    # -- life

    def run(self, on_ready: Callable[[], None] | None = None, then: Callable[[], None] | None = None) -> None:
        """Work until stopped; over a damaged store with a new one. Raises StoreError when it can't be opened.

        ``on_ready`` is called ahead of telling the manager that all is ready, ``then`` for what can wait until it is told.
        """
        try:
            self._live(on_ready, then)
        except StoreCorrupt as why:
            if self._started:
                raise
            begin_anew(Path(self._w.store_path), self._clock.now(), self._w.backups, why)
            self._live(on_ready, then)

    def _live(self, on_ready: Callable[[], None] | None, then: Callable[[], None] | None) -> None:
        columns = None if self._w.ahead is None else self._w.ahead.take()
        with open_store(Path(self._w.store_path), self._clock.now(), self._w.backups) as store:
            self._store = store
            self._engine = Engine(self._w.site, self._clock.now())
            self._engine.step(BrokerLink(self._clock.now(), up=False))  # nobody has answered yet
            self._early = Early(self._clock, self._unset)
            self._ingest = Ingest(self._engine, store, self._w.bindings, self._early)
            with in_our_words(store.path):
                self._recall(columns)
            self._let_go(self._clock.now())
            self._outbox = Outbox(store, self._w.manners, self._w.reaches)
            self._notifier = Notifier(self._w.channels, self._inputs.put)
            self._session = self._make_session()
            self._backer = Backer(store.path, self._w.backups, self._clock, backed_up(store))
            self._house = self._make_house()
            self._figures = self._make_figures()
            self._committer = self._make_committer()
            self._teller = self._make_teller()
            self._carrier = self._make_carrier()
            servers, put = self._w.series_servers, self._inputs.put
            self._forwarder = Forwarder(servers, self._w.site, store, self._clock, put)
            self._upkeep = Upkeep(store, self._w.keep, self._clock, put, self._backer.wake, self._let_go)
            self._ledger = Ledger(store, self._clock)
            self._chores = Chores(self._inputs.put, self._clock)
            self._food = Food(self._w.planning, self._engine, self._clock, put)
            self.desk.food = self._food.document
            self._clerk = self._make_clerk()
            self._doing = Doing(self._engine, self._ingest, self._clock, self._clerk.carry_out, self._session.publish)
            self._tender = Tender({"backup": self._backer, "food": self._food, "rooms": self._rooms})
            began = self._house.began()
            self._ledger.began(began)
            self._carrier.carry(self._engine.step(began))
            self._wait_for_clock()
            self._started = True
            try:
                self._notifier.start()
                self._session.start()
                self._chores.start()
                self._forwarder.start()
                self._backer.start()
                self._rooms.start()
                self._food.start()
                if on_ready is not None:
                    on_ready()
                self._house.ready()
                self._committer.commit()  # should this run end without warning, the next one must know
                self._tell_all()
                settle()
                if then is not None:
                    then()
                self._work()
            finally:
                self._end()

    def _make_house(self) -> House:
        heartbeat = self._w.heartbeat or Heartbeat(None, 0, self._clock)
        health = self._backer.health
        return House(self._engine, self._store, self._w.store_path, self._clock, heartbeat, Watchdog(), health)

    def _house_document(self) -> dict[str, Any]:
        return self._house.document() | self._forwarder.document()

    def _make_figures(self) -> Figures:
        return Figures(self._store, self._ingest.counters, self._w.channel_ids, self._inputs.qsize)

    def _make_committer(self) -> Committer:
        return Committer(
            self._store,
            self._ingest,
            self._house,
            self._figures,
            self._clock,
            self._w.commit_every,
            self._session,
            self._release,
        )

    def _make_teller(self) -> Teller:
        publish = self._session.publish
        return Teller(
            self._engine,
            self.desk,
            self._clock,
            publish,
            self._house_document,
            self._store.tell,
            self._figures.document,
            Announcer(self._rooms.run, self._w.page, self._clock, publish),
            lambda: not self._inputs.empty(),
        )

    def _make_carrier(self) -> Carrier:
        return Carrier(
            self._engine,
            self._store,
            self._committer,
            self._outbox,
            self._notifier,
            self._teller,
            self._w.book,
            self._w.channel_ids,
            self._clock,
        )

    def _make_clerk(self) -> Clerk:
        return Clerk(
            self._engine,
            self._store,
            self._early,
            self._carrier,
            self._committer,
            self._teller,
            self._food,
            self._known,
        )

    def _unset(self, now: Ms) -> bool:
        return not_set(now, self._engine.state.house.ran_until)

    def _wait_for_clock(self) -> None:
        """A board without a clock of its own begins wrong: what it hears meanwhile is held, and decided on all the same."""
        if self._early.begin():
            log.warning("clock.unset", text="readings wait for their right time, 10 min at most")
            self._engine.step(ClockUnset(self._clock.now(), unset=True))

    def _release(self) -> None:
        """The clock is set, or it is no use to wait any longer."""
        log.info("clock.settled", set=not self._early.unset, readings=self._early.held)
        self._engine.step(ClockUnset(self._clock.now(), unset=False))
        self._carrier.carry(self._ingest.release())
        self._teller.touch_vessel(None)
        self._committer.commit()

    def _report(self, days: int) -> dict[str, Any]:
        from monitor.service.burden import Reporter  # noqa: PLC0415  (loaded by who asks for it, as the two below)

        return Reporter(self._w.store_path, self._w.site.timezone, self._clock).report(days)

    def _examine(self, inside: Inside) -> dict[str, Any]:
        from monitor.service.checkup import Examiner  # noqa: PLC0415

        return Examiner(self._w.store_path, self._w.site.timezone).examine(inside)

    def _known(self) -> Inside:
        from monitor.service.checkup import Knowledge  # noqa: PLC0415

        knowledge = Knowledge(self._engine, self._ingest, self._figures, self._ledger, self._store, self._clock)
        version = self._session.state.version if self._engine.state.broker_up else None
        return knowledge.tell(version or "", self._forwarder.document()["series_servers"])

    def _parts(self) -> Parts:
        return Parts(
            self._notifier,
            self._w.channel_ids,
            round_tick=self.last_tick,
            link_tick=self._session.state.tick,
            chores_tick=self._chores.last_tick,
            chores_alive=self._chores.alive,
            stuck_copy=self._forwarder.stuck,
            stuck_food=self._food.stuck,
            web_alive=self._w.web_alive(),
        )

    def _make_session(self) -> Session:
        return Session(
            self._w.link,
            self._ingest.topics,
            self._w.site.id,
            self._inputs.put,
            lambda up, _text: self._inputs.put(_Link(up)),  # the session has logged why
            clock=self._clock.now,
            session=self._ingest.session,
            families=[family(self._w.site.id)],
        )

    def _let_go(self, now: Ms) -> None:
        """What is long over leaves memory; what a clock that was ahead has let go comes back."""
        if forgetting.too_much(self._engine.state, now):
            forgetting.take_back(self._engine.state, self._store.entries())
        forgetting.let_go(self._engine.state, now)

    def _recall(self, columns: Columns | None) -> None:
        recall(self._store, self._engine, self._clock.now(), columns)
        self._w.book.renew(self._engine.state.phones)

    def _tell_all(self) -> None:
        for alarm in self._engine.alarms():
            self._teller.alarm(alarm)
        self._teller.run(at_once=True)

    def _end(self) -> None:
        """Whoever is in the middle of something is asked first and waited for together: each alone would add up."""
        until = self._clock.steady() + LEAVE_S
        parts = (self._food, self._forwarder, self._backer, self._notifier)
        for part in parts:
            part.ask_to_stop()
        self._house.stopping(asked=self._stopping)
        self._chores.stop()
        self._rooms.stop()
        self._committer.commit()
        self._session.stop(LEAVE_S)
        for part in parts:
            part.stop(max(until - self._clock.steady(), 0.0))
        self._drain_answers()
        with suppress(StoreError):
            self._store.commit()
        log.info("service.stopped")

    def _drain_answers(self) -> None:
        """What came in last: results of letters are kept, commands are answered; messages stay with the broker."""
        while True:
            try:
                item = self._inputs.get_nowait()
            except queue.Empty:
                return
            if isinstance(item, Delivery):
                self._house.outcome(item)
                self._outbox.settle(item, self._clock.wall())
            elif isinstance(item, Forwarded):
                self._store.forwarded(item)
            elif isinstance(item, GatherFood):
                item.answer.set_result(None)
            elif isinstance(item, Asked):
                item.answer.set_exception(Refused("the service is stopping; try again when it runs"))

    # -- the loop

    def _work(self) -> None:
        clock = self._clock
        next_tick = self.last_tick = clock.steady()
        while not self._stopping:
            due = min(next_tick, self._committer.due or next_tick, self._teller.due())
            self._take_inputs(max(due - clock.steady(), 0.0))
            self._tell_heard()
            if clock.steady() >= next_tick:
                next_tick = clock.steady() + TICK_S
                self._tick()
            self._teller.run()
            self._committer.look()

    def _take_inputs(self, wait: float) -> None:
        try:
            item = self._inputs.get(timeout=wait) if wait > 0 else self._inputs.get_nowait()
        except queue.Empty:
            return
        for left in reversed(range(DRAIN)):
            if item is not None:
                self._take(item)
            if not left:
                return
            try:
                item = self._inputs.get_nowait()
            except queue.Empty:
                return
            if self._stopping:
                self._inputs.put(item)
                return

    def _tell_heard(self) -> None:
        """Of many readings of a vessel taken in one go there is one piece of news."""
        for topic in self._heard:
            for binding in self._ingest.of(topic):
                self._teller.touch_vessel(self._w.site.probes[binding.probe].vessel, read=True)
        self._heard.clear()

    def _take(self, item: Any) -> None:
        """One input. Whatever breaks is logged and set aside: the next input may be the one that matters."""
        try:
            match item:
                case Incoming() if self._doing.takes(item.topic):
                    self._doing.take(item)
                case Incoming():
                    effects = self._ingest.take(item)
                    self._heard.add(item.topic)
                    if not effects:
                        return  # as nearly every reading: nothing of it is urgent
                    self._carrier.carry(effects)
                case Asked():
                    self._clerk.answer(item)
                case PhoneGone():
                    self._carrier.carry(self._engine.step(item))
                case GatherFood():
                    self._food.answer(item)
                case FoodAhead() | NoPlan():
                    failpoint.reach(Point.PLAN_FOUND)
                    self._carrier.carry(self._food.took(item))
                    failpoint.reach(Point.PLAN_TAKEN)
                    self._teller.touch_vessel(None)
                case Delivery():
                    self._figures.tried(self._house.outcome(item), ok=item.ok)
                    self._outbox.settle(item, self._clock.wall())
                case Tried():
                    for channel in item.working:
                        self._house.worked(channel)
                case _Link():
                    self._link_changed(item)
                case Forwarded():
                    self._store.forwarded(item)
                case Chore():
                    self._upkeep.do(item)
            self._committer.commit_urgent()
            if self._carrier.posted or isinstance(item, Delivery):
                # What waits for nothing; a channel gets its next letter when the one before is struck off.
                self._carrier.hand_out()
        except Exception as error:
            log.exception("input.failed", kind=type(item).__name__)
            if isinstance(item, Incoming):
                self._ingest.set_aside(item, f"it broke the program: {type(error).__name__}")
            elif isinstance(item, Asked | GatherFood) and not item.answer.done():
                item.answer.set_exception(error)

    def _tick(self) -> None:
        try:
            settled = self._early.settled()
            was = self._clock.jumped()
            if was is not None:
                log.warning("clock.set", was=was, now=self._clock.now())
                self._early.shift(self._clock.now() - was)
                self._carrier.carry(self._engine.step(ClockSet(self._clock.now(), was)))
                self._let_go(self._clock.now())
            if settled:
                self._release()
            host = self._house.look(self._parts())
            if host is not None:
                self._engine.step(host)
            self._carrier.carry(self._engine.step(Tick(self._clock.now())))
            if not self._session.alive:
                log.error("broker.session-died")
                self._session.start()  # the same one: it knows what the broker is to keep
            self._forwarder.tend()
            self._tender.look()
            self._ledger.look()
            self._food.look()
            self._carrier.hand_out()
            self.last_tick = self._clock.steady()
        except Exception:
            log.exception("tick.failed")

    def _link_changed(self, link: _Link) -> None:
        if self._engine.state.broker_up and not link.up:
            self._figures.broker_lost()
        self._carrier.carry(self._engine.step(BrokerLink(self._clock.now(), link.up)))
        self._teller.touch_vessel(None)
