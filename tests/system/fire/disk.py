"""Faults against: the store outlives its disk."""

from __future__ import annotations

import re
import resource
from typing import TYPE_CHECKING, Final

from tests.system.daemon import OPENER, air, configuration, send, until, water
from tests.system.fire.fault import Fault
from tests.system.fire.kept import sound
from tests.system.fire.small_disk import SmallDisk, on_a_disk
from tests.system.fire.speaker import readings

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone
    from tests.system.fire.fault import Ground

UNSAVED: Final = 10_000
"""So many readings may wait while the disk takes none."""
BEFORE: Final = 100
MEGABYTES: Final = 16
AT_ONCE: Final = 'air_on_delay = "0 s"\non_delay = "0 s"\ndisk_free_mb = 10'
ROUND_S: Final = 10.0
"""Decisions go on: nothing here may take longer on a loaded machine, and a hang would take for ever."""


def shed(ground: Ground, *, megabytes: int = MEGABYTES) -> tuple[Mosquitto, Phone, Daemon, SmallDisk]:
    """A room whose store has a small disk of its own; not yet started."""
    broker, phone = ground.broker(), ground.phone()
    text = configuration(
        broker.url,
        water("ash"),
        air("ash"),
        air("birch"),
        vessels=("ash", "birch"),
        phone=phone.url,
        alarms=AT_ONCE,
    )
    daemon = ground.quick_daemon(text)
    return broker, phone, daemon, SmallDisk(ground, daemon, megabytes)


def in_thousandths(first: int, count: int) -> list[int]:
    """So many different readings, the first after ``first``."""
    return list(range(first + 1, first + count + 1))


def begin(broker: Mosquitto, daemon: Daemon) -> None:
    """A batch is under way in each vessel, and some readings are stored."""
    daemon.start()
    until(daemon.connected)
    for vessel in ("ash", "birch"):
        daemon.post("batches", vessel=vessel, lot="tin-7", cysts_g=2.0, batch=vessel)
    send(broker, readings(in_thousandths(20_000, BEFORE)))
    until(lambda: len(daemon.stored("ash-water")) == BEFORE, "the first readings were not stored")


def counted(daemon: Daemon, name: str) -> int:
    """What it counts since its start, such as ``lost_readings``."""
    with OPENER.open(f"{daemon.url}/metrics", timeout=ROUND_S) as answer:
        text = answer.read().decode()
    found = re.search(rf"^swimup_store_{name}_total (\d+)", text, re.MULTILINE)
    assert found is not None, f"nothing tells of {name}"
    return int(found[1])


def air_stops(broker: Mosquitto, vessel: str) -> None:
    send(broker, [(f"shed/{vessel}/air", "off")])


def is_told(daemon: Daemon, phone: Phone, vessel: str) -> None:
    """That its air stopped is on the phone within seconds, the few among them in which a letter waits for others."""
    until(
        lambda: phone.about(f"Air stopped in {vessel}"),
        f"nobody was told that the air stopped in {vessel}\n{daemon.log[-3000:]}",
    )


def is_freed(daemon: Daemon, pid: int) -> None:
    """There is room again: the same process stores what waits."""
    until(lambda: daemon.logged("disk.recovered"), f"it does not recover\n{daemon.log[-3000:]}")
    assert daemon.pid == pid
    assert daemon.store.with_name(f"{daemon.store.name}.reserve").exists(), "no reserve is set aside anew"


def fills_up(ground: Ground) -> None:
    """It warns early; full, it decides and tells from memory and keeps alarms and the log; freed, the newest readings too."""
    broker, phone, daemon, disk = shed(ground)
    begin(broker, daemon)
    pid = daemon.pid
    disk.fill(leave=9_000_000)
    until(lambda: daemon.alarm("disk-low:site"), "no early warning")
    disk.fill()
    total = UNSAVED + ground.random.randrange(300, 900, 10)
    send(broker, readings(in_thousandths(21_000, total)))
    daemon.until_water((21_000 + total) / 1000)  # the bench shows hundredths
    air_stops(broker, "ash")
    assert counted(daemon, "lost_readings") > 0, "more waits than may"
    daemon.post("batches/ash/seen", what="first")
    is_told(daemon, phone, "ash")
    full = "on the full disk nothing is kept of"
    assert daemon.rows("SELECT 1 FROM transition WHERE alarm = 'air-stopped:ash'"), f"{full} an alarm"
    assert daemon.rows("SELECT 1 FROM event WHERE kind = 'seen'"), f"{full} what a keeper was told is noted"
    assert len(daemon.stored("ash-water")) < BEFORE + total - UNSAVED + 1

    disk.clear()
    air_stops(broker, "birch")
    is_freed(daemon, pid)
    is_told(daemon, phone, "birch")
    gone = counted(daemon, "lost_readings")
    assert daemon.terminate(ROUND_S) == 0
    stored = daemon.stored("ash-water")
    assert len(stored) == BEFORE + total - gone, f"{gone} are counted as lost"
    kept = UNSAVED - 2  # the air of both waited, too
    assert stored[-kept:] == in_thousandths(21_000 + total - kept, kept), "the newest were not kept"
    assert stored[:BEFORE] == in_thousandths(20_000, BEFORE)
    sound(daemon)


def killed_while_full(ground: Ground) -> None:
    """Killed on the full disk and started again there, it has its alarms and log, watches, and loses no reading."""
    broker, phone, daemon, disk = shed(ground)
    begin(broker, daemon)
    disk.fill()
    count = ground.random.randrange(200, 600, 10)  # fewer than half of the window: none is acknowledged unsaved
    air_stops(broker, "ash")
    send(broker, readings(in_thousandths(21_000, count)))
    daemon.until_water((21_000 + count) / 1000)
    daemon.post("batches/ash/seen", what="first")
    is_told(daemon, phone, "ash")
    waiting = "SELECT 1 FROM outbox WHERE alarm = 'air-stopped:ash' AND state = 'waiting'"  # of the disk one may wait for 7:00
    until(lambda: not daemon.rows(waiting), "that it was told is not kept")
    daemon.kill()
    daemon.start()
    pid = daemon.pid
    until(daemon.connected)
    assert (daemon.alarm("air-stopped:ash") or {}).get("state") == "unacknowledged", "the alarm is forgotten"
    assert daemon.rows("SELECT kind FROM event ORDER BY id") == [("start",), ("start",), ("seen",)]
    air_stops(broker, "birch")
    is_told(daemon, phone, "birch")
    assert len(phone.about("Air stopped in ash")) == 1, "it was told again after the restart"
    disk.clear()
    everything = in_thousandths(20_000, BEFORE) + in_thousandths(21_000, count)
    until(lambda: len(daemon.stored("ash-water")) >= len(everything), "not all readings were stored")
    assert daemon.pid == pid
    assert daemon.terminate(ROUND_S) == 0
    assert daemon.stored("ash-water") == everything
    sound(daemon)


def full_at_the_start(ground: Ground) -> None:
    """Started on a full disk after an orderly end, it watches; without a store yet, it says what to do and ends."""
    broker, phone, daemon, disk = shed(ground)
    disk.fill()
    daemon.start(ready=False)
    assert daemon.wait() == 1
    assert "free some space" in daemon.log.lower(), daemon.log
    assert "Traceback" not in daemon.log
    disk.clear()
    begin(broker, daemon)
    assert daemon.terminate(ROUND_S) == 0
    disk.fill()
    daemon.start()
    pid = daemon.pid
    until(daemon.connected)
    air_stops(broker, "ash")
    send(broker, readings(in_thousandths(21_000, 50)))
    is_told(daemon, phone, "ash")
    disk.clear()
    until(lambda: len(daemon.stored("ash-water")) == BEFORE + 50, "what was read on the full disk was not stored")
    assert daemon.pid == pid
    sound(daemon)


def read_only(ground: Ground) -> None:
    """On a card that takes no writes it says so and what to do, and ends; on one that takes them again it starts."""
    broker, phone, daemon, disk = shed(ground)
    begin(broker, daemon)
    assert daemon.terminate(ROUND_S) == 0
    disk.writable(writable=False)
    daemon.start(ready=False)
    assert daemon.wait() == 1
    assert "cannot be" in daemon.log and str(daemon.store) in daemon.log, daemon.log  # noqa: PT018  (one sentence)
    assert "Traceback" not in daemon.log
    disk.writable(writable=True)
    daemon.start()
    until(daemon.connected)
    air_stops(broker, "ash")
    is_told(daemon, phone, "ash")


def writing_fails(ground: Ground) -> None:
    """While each write fails, of the log of the program too, it decides, tells and answers; then it stores all of it."""
    broker, phone = ground.broker(), ground.phone()
    text = configuration(broker.url, water("ash"), air("ash"), air("birch"), vessels=("ash", "birch"), phone=phone.url)
    daemon = ground.quick_daemon(text.replace("[alarms]\n", f"[alarms]\n{AT_ONCE}\n"))
    begin(broker, daemon)
    pid, usual = daemon.pid, resource.prlimit(daemon.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (0, usual[1]))
    air_stops(broker, "ash")
    count = ground.random.randrange(1200, 2400, 10)
    send(broker, readings(in_thousandths(21_000, count)))
    daemon.until_water((21_000 + count) / 1000)
    is_told(daemon, phone, "ash")
    daemon.post("batches/ash/seen", what="first")
    air_stops(broker, "birch")
    is_told(daemon, phone, "birch")
    assert daemon.rows("SELECT 1 FROM event WHERE kind = 'seen'") == [], "writing did not fail"
    assert counted(daemon, "commits_failed") < count / 4, "it tries to write all that waits with each reading"
    resource.prlimit(pid, resource.RLIMIT_FSIZE, usual)
    until(lambda: len(daemon.stored("ash-water")) == BEFORE + count, "not all readings were stored")
    assert daemon.pid == pid
    assert daemon.terminate(ROUND_S) == 0
    assert daemon.rows("SELECT 1 FROM event WHERE kind = 'seen'") == [(1,)]
    assert len(daemon.rows("SELECT 1 FROM transition WHERE alarm LIKE 'air-stopped:%'")) >= 2
    assert daemon.stored("ash-water") == in_thousandths(20_000, BEFORE) + in_thousandths(21_000, count)
    assert daemon.logged("service.stopped"), "the log has not recovered"
    sound(daemon)


def _mounted(name: str, trial: Callable[[Ground], None], long: int) -> Fault:
    return Fault(name, "disk", on_a_disk(name)(trial), long=long)


FAULTS: Final = (
    _mounted("disk fills up", fills_up, 5),
    _mounted("killed on a full disk", killed_while_full, 10),
    _mounted("disk full at the start", full_at_the_start, 5),
    _mounted("disk read-only at the start", read_only, 3),
    Fault("every write fails", "disk", writing_fails, long=5),
)
