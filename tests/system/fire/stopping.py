"""Faults against: it can be told to stop."""

from __future__ import annotations

import os
import signal
import socket
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tests.system.daemon import air, configuration, send, table, until, water
from tests.system.fire.fault import Fault
from tests.system.fire.small_disk import SmallDisk, on_a_disk
from tests.system.fire.speaker import readings

if TYPE_CHECKING:
    from tests.system.daemon import Daemon
    from tests.system.fire.fault import Ground

VALUES: Final = range(20_000, 20_600)
"""Readings, in thousandths."""
STOPS_WITHIN_S: Final = 10.0
PLANS: Final = '[food]\nsoon = "1 s"\nthere_from = "00:00"\nthere_until = "23:59"\n'


def told_to_stop_under_load(ground: Ground) -> None:
    """SIGTERM while readings pour in: it ends in good order within ten seconds, and the next run has all of them once."""
    broker = ground.broker()
    daemon = ground.daemon(configuration(broker.url, water("ash")))
    daemon.start()
    until(daemon.connected)
    values = list(VALUES)
    pouring = threading.Thread(target=send, args=(broker, readings(values), 0.002), name="probe")
    pouring.start()
    threading.Event().wait(ground.random.uniform(0.2, 1.0))
    assert daemon.terminate(STOPS_WITHIN_S) == 0
    daemon.start()
    pouring.join(60)
    until(lambda: len(daemon.stored("ash-water")) >= len(VALUES), "not all readings were stored")
    assert daemon.terminate(STOPS_WITHIN_S) == 0
    assert daemon.stored("ash-water") == values


class Silent:
    """A server that takes each connection and never says a word."""

    def __init__(self, ground: Ground) -> None:
        self._door = socket.create_server(("127.0.0.1", 0), backlog=20)
        self.port: int = self._door.getsockname()[1]
        self._callers: list[socket.socket] = []
        self._forgotten = 0
        ground.when_done(self._close)
        threading.Thread(target=self._serve, name="silent", daemon=True).start()

    @property
    def asked(self) -> bool:
        """Whether somebody waits for its answer."""
        return len(self._callers) > self._forgotten

    def forget(self) -> None:
        """Whoever asked before does not count."""
        self._forgotten = len(self._callers)

    def _serve(self) -> None:
        while True:
            try:
                self._callers.append(self._door.accept()[0])
            except OSError:
                return

    def _close(self) -> None:
        self._door.shutdown(socket.SHUT_RDWR)
        self._door.close()
        for caller in self._callers:
            caller.close()


def children(pid: int) -> list[int]:
    """Processes that this one has started and that are still there."""
    found: list[int] = []
    for each in Path(f"/proc/{pid}/task").glob("*/children"):
        with suppress(OSError):  # a thread that has just ended
            found += map(int, each.read_text().split())
    return found


def gone(pid: int) -> bool:
    """Whether a process has ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2].startswith("Z")
    except OSError:
        return True


def once(daemon: Daemon) -> int:
    """As a manager does."""
    return daemon.terminate(STOPS_WITHIN_S)


def twice(daemon: Daemon) -> int:
    """Somebody who is impatient, or a manager's stop right after a person's."""
    os.kill(daemon.pid, signal.SIGTERM)
    threading.Event().wait(0.1)
    return daemon.terminate(STOPS_WITHIN_S)


def from_the_keyboard(daemon: Daemon) -> int:
    """Ctrl-C."""
    os.kill(daemon.pid, signal.SIGINT)
    return daemon.wait(STOPS_WITHIN_S)


def all_at_work(ground: Ground) -> None:
    """While server and phone hang and a plan is being made it ends in time, with its child, however told; nothing is lost."""
    broker, series, phone = ground.broker(), Silent(ground), Silent(ground)
    text = configuration(
        broker.url,
        water("ash"),
        air("ash"),
        PLANS,
        table("series_server", id="trends", url=f"http://127.0.0.1:{series.port}", every="1 s"),
        vessels=("ash", "birch", "cedar"),
        phone=f"json://127.0.0.1:{phone.port}/",
        alarms='air_on_delay = "0 s"',
    )
    daemon = ground.quick_daemon(text)
    daemon.start()
    until(daemon.connected)
    daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0, batch="ash")
    send(broker, [("shed/ash/air", "off")])
    told = [once, twice, from_the_keyboard]
    ground.random.shuffle(told)
    values: list[int] = []
    for number, way in enumerate(told):
        more = range(20_000 + 200 * number, 20_200 + 200 * number)
        values += more
        series.forget()
        phone.forget()
        daemon.post("eaters", eater="adults", nauplii_per_day=20_000 + number)
        until(lambda: children(daemon.pid), "no plan is being made")
        until(lambda: series.asked, "nothing is copied")
        until(lambda: phone.asked, "nobody is told")
        send(broker, readings(more))
        planner = children(daemon.pid)
        assert way(daemon) == 0, way.__name__
        until(lambda: all(map(gone, planner)), "a child was left behind", STOPS_WITHIN_S)  # noqa: B023  (of this round)
        daemon.start()
    until(lambda: daemon.stored("ash-water") == values, "not all readings were stored")
    assert daemon.rows("SELECT 1 FROM outbox WHERE state = 'waiting'"), "the letter is forgotten"
    assert len(daemon.logged("service.stopped")) == len(told)


def on_a_full_disk(ground: Ground) -> None:
    """While its disk is full it ends in time; what was not stored comes again from the broker when there is room."""
    broker = ground.broker()
    daemon = ground.daemon(configuration(broker.url, water("ash")))
    disk = SmallDisk(ground, daemon, 8)
    daemon.start()
    until(daemon.connected)
    values = list(VALUES)
    send(broker, readings(values[:100]))
    until(lambda: len(daemon.stored("ash-water")) == 100, "the first readings were not stored")
    disk.fill()
    send(broker, readings(values[100:]))
    until(lambda: daemon.logged("disk.failing"), "the disk is not full")
    assert daemon.terminate(STOPS_WITHIN_S) == 0
    disk.clear()
    daemon.start()
    until(lambda: daemon.stored("ash-water") == values, "not all readings were stored")


FULL: Final = "told to stop on a full disk"
FAULTS: Final = (
    Fault("told to stop under load", "stop", told_to_stop_under_load, short=2, long=30),
    Fault("told to stop with all at work", "stop", all_at_work, long=10),
    Fault(FULL, "stop", on_a_disk(FULL)(on_a_full_disk), long=10),
)
