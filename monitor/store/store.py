"""The store: one SQLite file, one owner thread, one transaction per commit.

Everything that is put in waits in memory until ``commit()``; every question is answered from the file and from what
waits, so callers need not care which of the two holds it. See ``monitor.store.errors`` for what can go wrong.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from monitor import failpoint
from monitor.core.model import Priority
from monitor.failpoint import Point
from monitor.store.deliveries import DeliveryShelf
from monitor.store.errors import DiskFull, StoreError, from_sqlite, in_our_words
from monitor.store.files import claim
from monitor.store.history import KeptShelf, QuarantineShelf, SlotShelf
from monitor.store.journal import AlarmShelf, LogShelf
from monitor.store.letter_shelf import LetterShelf
from monitor.store.readings import ReadingShelf
from monitor.store.reserve import Reserve
from monitor.store.retention import Keep, clear, give_back
from monitor.store.rollups import roll_up
from monitor.store.schema import migrate
from monitor.store.shelf import Names
from monitor.store.sinks import SinkShelf
from monitor.store.told import ToldShelf

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from monitor.core.log import LogEntry
    from monitor.core.model import Alarm, Ms, Reading, SlotClosed, Transition
    from monitor.store.history import Columns
    from monitor.store.letters import Draft, Letter, Posted
    from monitor.store.records import Quarantined
    from monitor.store.shelf import Shelf
    from monitor.store.sinks import Ceilings, Forwarded, Reached

_ALL_PROBES = 10_000
_SOME_REASONS = 1_000
_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


class Store:
    """Made with ``Store.open``. Every method must be called from the thread that opened it."""

    def __init__(self, path: Path, connection: sqlite3.Connection, lock: int, reserve: Reserve) -> None:
        self.path = path
        self._owner = threading.get_ident()
        self._owner_name = threading.current_thread().name
        self._connection = connection
        self._lock: int | None = lock
        self._reserve = reserve
        self._failing = False
        self._lost = 0
        series = Names(connection, "series", "probe", _ALL_PROBES)
        reasons = Names(connection, "reason", "text", _SOME_REASONS)
        self._readings = ReadingShelf(connection, series, reasons)
        self._deliveries = DeliveryShelf(connection)
        self._slots = SlotShelf(connection, series)
        self._quarantine = QuarantineShelf(connection, series)
        self._kept = KeptShelf(connection)
        self._told = ToldShelf(connection)
        self._sinks = SinkShelf(connection, self._readings.unwritten)
        self._log = LogShelf(connection)
        self._alarms = AlarmShelf(connection)
        self._letters = LetterShelf(connection)
        self._urgent_shelves: tuple[Shelf, ...] = (self._log, self._alarms, self._letters)
        # Names first: rows refer to them. Letters after the transitions they refer to.
        self._shelves: tuple[Shelf, ...] = (
            series,
            reasons,
            self._readings,
            self._deliveries,
            self._slots,
            self._quarantine,
            self._kept,
            self._told,
            self._sinks,
            *self._urgent_shelves,
        )

    # -- opening and closing

    @classmethod
    def open(
        cls, path: Path | str, *, now: Ms | None = None, before_update: Callable[[int], None] | None = None
    ) -> Self:
        """Open the store, making the file (0600) and its folders (0700) if need be, and bring its schema up to date.

        ``now`` is written beside each migration; default the system clock. ``before_update`` is called with the schema of
        an older store before it is changed, while nobody else can open it. Raises StoreError or one of its kinds.
        """
        path = Path(path)
        lock = claim(path)
        reserve = Reserve(path.with_name(path.name + ".reserve"))
        at = time.time_ns() // 1_000_000 if now is None else now
        try:
            try:
                return cls._opened(path, at, lock, reserve, before_update)
            except DiskFull:
                if not reserve.held:
                    raise
                reserve.release()  # a restart on a full disk must still get its alarms back
                return cls._opened(path, at, lock, reserve, before_update)
        except BaseException:
            os.close(lock)
            raise

    @classmethod
    def _opened(
        cls, path: Path, now: Ms, lock: int, reserve: Reserve, before_update: Callable[[int], None] | None
    ) -> Self:
        with in_our_words(path):
            connection = sqlite3.connect(path, timeout=2.0, isolation_level=None)
            try:
                # Takes effect in a new file only, and makes it possible to give room back a little at a time.
                for pragma in (
                    "page_size = 4096",
                    "auto_vacuum = INCREMENTAL",
                    "journal_mode = WAL",
                    "foreign_keys = ON",
                    "secure_delete = OFF",
                ):
                    connection.execute(f"PRAGMA {pragma}").fetchall()
                connection.execute("PRAGMA synchronous = FULL")
                migrate(connection, path, now, before=before_update)
                store = cls(path, connection, lock, reserve)
            except BaseException:
                connection.close()
                raise
        reserve.make()
        return store

    def close(self) -> None:
        """Close the file. What was not committed is not written."""
        self._mine()
        if self._lock is not None:
            self._connection.close()
            os.close(self._lock)
            self._lock = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- committing

    @property
    def pending(self) -> int:
        """How many readings and other things wait to be committed."""
        return sum(shelf.waiting for shelf in self._shelves)

    @property
    def urgent(self) -> bool:
        """Whether something waits that must not: a log entry, an alarm transition, a letter or its outcome."""
        return bool(self._log.waiting or self._alarms.waiting or self._letters.urgent)

    @property
    def lost(self) -> int:
        """How many readings gave way since opening because the disk took none and too many waited."""
        return self._lost

    def free_bytes(self) -> int:
        """What the disk still offers."""
        return self._reserve.free()

    def commit(self) -> int:
        """Write everything that waits in one transaction; give back how many things that were.

        With something urgent among it the transaction is on the disk when this returns; otherwise it survives the end
        of the process, and a power cut may take the last of it. Raises DiskFull when the disk takes no more: all that
        was not written keeps waiting and goes with a later commit, and the urgent part may be written all the same
        (``DiskFull.urgent_saved``). Raises StoreInUse likewise.
        """
        self._mine()
        waiting = self.pending
        if not waiting:
            return 0
        try:
            self._write_all()
        except DiskFull as error:
            self._failing = True
            raise DiskFull(str(error), urgent_saved=self._save_urgent()) from error
        except StoreError:
            self._failing = True
            raise
        self._failing = False
        self._reserve.make()
        return waiting

    def _write_all(self) -> None:
        if not self._reserve.roomy():
            raise DiskFull(f"{self.path}: the disk is nearly full; only alarms and log entries are written.")
        self._write(self._shelves, durable=self.urgent)

    def _save_urgent(self) -> bool:
        if not self.urgent:
            return True
        self._reserve.release()
        try:
            self._write(self._urgent_shelves, durable=True)
        except DiskFull:
            return False
        return True

    def _write(self, shelves: Sequence[Shelf], *, durable: bool) -> None:
        with in_our_words(self.path), self._sinks.ceilings.held() as ceilings:
            self._sinks.under(ceilings)
            # Takes effect only between transactions.
            self._connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                for shelf in shelves:
                    shelf.write(self._connection)
                failpoint.reach(Point.BEFORE_COMMIT)
                self._connection.execute("COMMIT")
                failpoint.reach(Point.COMMITTED)
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
        for shelf in shelves:
            shelf.saved()

    # -- upkeep

    def roll_up(self, now: Ms) -> bool:
        """One bounded step of roll-ups over what is committed, in a transaction of its own; whether more are due.

        Raises StoreError; nothing has changed then.
        """
        self._mine()
        return self._step(lambda: roll_up(self._connection, now))

    def clear(self, now: Ms, keep: Keep) -> bool:
        """One bounded step of clearing away what is old, or of giving room back to the disk; whether more is due.

        Roll up first. Raises StoreError; nothing has changed then.
        """
        self._mine()
        if self._step(lambda: clear(self._connection, now, keep)):
            return True
        with in_our_words(self.path):
            return give_back(self._connection)

    def _step(self, step: Callable[[], bool]) -> bool:
        with in_our_words(self.path):
            self._connection.execute("PRAGMA synchronous = NORMAL")
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                more = step()
                failpoint.reach(Point.BEFORE_UPKEEP_COMMIT)
                self._connection.execute("COMMIT")
                failpoint.reach(Point.UPKEEP_COMMITTED)
            finally:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
        return more

    # -- readings and what belongs to them

    def add(self, reading: Reading) -> Reading | None:
        """Take a reading in; give it back with its ``n``, or None when it is already there.

        It is already there when the same probe has one with the same own time (and the same number, if both have
        one), or, without an own time, with the same number and value within the last hour. Anything else is new and
        gets the next free ``n`` for its probe and time. Raises ValueError for numbers beyond 64 bits.
        """
        self._mine()
        try:  # for every reading: not worth a context manager
            placed = self._readings.add(reading)
        except sqlite3.Error as error:
            raise (from_sqlite(error, self.path) or error) from error
        if self._failing:
            self._lost += self._readings.trim()
        return placed

    def readings(self, since: Ms, until: Ms | None = None, probe: str | None = None) -> Iterator[Reading]:
        """Readings in order of time, ``since`` included, ``until`` not."""
        self._mine()
        return self._readings.between(since, until, probe)

    def remember_delivery(self, session: int | str, mid: int, payload: bytes) -> None:
        """Note a QoS 1 delivery, to be committed together with its readings."""
        self._mine()
        self._deliveries.remember(session, mid, payload)

    def delivered_before(self, mid: int, payload: bytes) -> bool:
        """Whether this delivery was noted before. Ask only when the broker has marked it as repeated (DUP)."""
        self._mine()
        return self._deliveries.before(mid, payload)

    def new_broker_session(self) -> None:
        """The broker has no session of ours any more: packet ids start anew."""
        self._mine()
        self._deliveries.new_session()

    def put_slot(self, closed: SlotClosed) -> None:
        self._mine()
        self._slots.put(closed)

    def slots(self, since: Ms) -> list[SlotClosed]:
        """Slots that begin at ``since`` or later, in order of (slot, series)."""
        self._mine()
        with in_our_words(self.path):
            return self._slots.since(since)

    def past(self, since: Ms, columns: Columns | None = None) -> Iterator[tuple[str, NDArray[np.int64]]]:
        """The same, probe by probe, shape (k, 3): slot, count, total; only what is on the disk, so ask before any is put.

        ``columns``: as ``Ahead`` has read them.
        """
        self._mine()
        return self._slots.by_probe(since, columns)

    def quarantine(self, probe: str, time: Ms, reason: str, payload: bytes) -> None:
        """Keep the head of a message that could not be read; the newest 20 of each probe stay."""
        self._mine()
        with in_our_words(self.path):
            self._quarantine.put(probe, time, reason, payload)

    def quarantined(self, probe: str) -> list[Quarantined]:
        """Oldest first."""
        self._mine()
        return self._quarantine.of(probe)

    def keep(self, key: str, value: str) -> None:
        """Keep a text (JSON) under a key, in the place of the one before."""
        self._mine()
        self._kept.keep(key, value)

    def kept(self, key: str) -> str | None:
        self._mine()
        with in_our_words(self.path):
            return self._kept.kept(key)

    def tell(self, batch: str, time: Ms, document: Mapping[str, Any]) -> int:
        """Keep an estimate's document as it was told at ``time``; give back its number."""
        self._mine()
        return self._told.tell(batch, time, document)

    # -- time-series servers

    @property
    def ceilings(self) -> Ceilings:
        """Up to where each server's copier reads; to be shared with it."""
        return self._sinks.ceilings

    def sinks(self, names: Collection[str]) -> dict[str, Reached]:
        """How far each of these servers has got. What is known of any other is forgotten at once."""
        self._mine()
        with in_our_words(self.path):
            return self._sinks.use(names)

    def forwarded(self, item: Forwarded) -> None:
        """A server has got so much."""
        self._mine()
        self._sinks.forwarded(item)

    # -- log and alarms

    def log(self, entry: LogEntry) -> int:
        """Take an entry of the keeper's log in; give back its number."""
        self._mine()
        return self._log.log(entry)

    def entries(self) -> list[LogEntry]:
        """The whole log in order of ``logged``."""
        self._mine()
        with in_our_words(self.path):
            return self._log.entries()

    def put_alarm(self, transition: Transition) -> int:
        """The alarm stands as ``transition.alarm`` from now on; give back the number of the transition."""
        self._mine()
        return self._alarms.put(transition)

    def alarms(self) -> list[Alarm]:
        """Alarms that are not normal, by id."""
        self._mine()
        return self._alarms.standing()

    def transitions(self, since: Ms) -> list[Transition]:
        """Transitions at ``since`` or later, in the order they were put."""
        self._mine()
        with in_our_words(self.path):
            return self._alarms.transitions(since)

    # -- letters

    def enqueue(self, transition_id: int | None, channel: str, draft: Draft) -> Letter:
        """Put a letter into the outbox, to be tried when its hold ends.

        ``transition_id`` comes from ``put_alarm``; None for a notice or a letter that takes the place of several.
        """
        self._mine()
        if transition_id is not None and not self._alarms.knows(transition_id):
            raise ValueError(f"there is no transition {transition_id} to write a letter about")
        return self._letters.enqueue(transition_id, channel, draft)

    def undelivered(self) -> list[Letter]:
        """All letters neither told nor given up, oldest first."""
        self._mine()
        return self._letters.undelivered()

    def due(self, now: Ms) -> list[Letter]:
        """Letters whose next try has come, the most pressing first."""
        due = [letter for letter in self.undelivered() if letter.next_try <= now]
        return sorted(due, key=lambda letter: (_RANK[letter.priority], letter.next_try, letter.id))

    def told(self, letter_id: int, now: Ms, went: Ms | None = None) -> None:
        """The letter was delivered; ``went``: when it was handed out, in the engine's time.

        Raises KeyError when it does not wait (any more); so do the next ones.
        """
        self._mine()
        self._letters.told(letter_id, now, now if went is None else went)

    def postpone(self, letter_id: int, next_try: Ms, error: str) -> None:
        """A try failed; the next is at ``next_try``."""
        self._mine()
        self._letters.postpone(letter_id, next_try, error)

    def hasten(self, letter_id: int, next_try: Ms) -> None:
        """The next try comes sooner than was said; no try is counted."""
        self._mine()
        self._letters.hasten(letter_id, next_try)

    def give_up(self, letter_id: int, error: str) -> None:
        """No further try; the letter stays on record for 30 days."""
        self._mine()
        self._letters.give_up(letter_id, error)

    def hold(self, letter: Letter) -> None:
        """The letter waits from now on as it is given here: its ``hold``, ``cause`` and ``why`` may differ."""
        self._mine()
        self._letters.hold(letter)

    def withdraw(self, letter_id: int, reason: str) -> None:
        """There is no need to tell it any more; the letter stays on record with the reason."""
        self._mine()
        self._letters.withdraw(letter_id, reason)

    def merge(self, letter_ids: Sequence[int], into: int, reason: str) -> None:
        """Another letter tells these too: all is in the same commit. They stay on record, with a pointer to it."""
        self._mine()
        self._letters.merge(letter_ids, into, reason)

    def last_told(self, channel: str, alarm: str) -> Ms | None:
        """When the newest transition was that a channel was told of this alarm's trouble, as far as it is on record."""
        self._mine()
        return self._letters.last_told(channel, alarm)

    def pushes(self, channel: str) -> list[Ms]:
        """When letters went to a channel lately, in the engine's time."""
        self._mine()
        return self._letters.pushes(channel)

    def letters_since(self, since: Ms) -> list[Posted]:
        """All letters written at ``since`` (real time) or later and what became of them; they are kept 30 days."""
        self._mine()
        with in_our_words(self.path):
            return self._letters.since(since)

    def _mine(self) -> None:
        if threading.get_ident() != self._owner:
            raise RuntimeError(
                f"the store belongs to thread {self._owner_name!r}, which opened it, and was used from "
                f"{threading.current_thread().name!r}: send the work to its owner's queue"
            )
        if self._lock is None:
            raise RuntimeError(f"the store {self.path} is closed")
