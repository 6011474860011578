"""How soon the daemon is ready, what it holds in memory and what it does when nothing happens; prints a table for people.

    python -m tests.bench.measure_start

The real process with thirty probes, six batches and twelve days of history; it needs mosquitto on the PATH and three minutes. The
modules are compiled beforehand, as an installation compiles them, and what only a workshop has is hidden from it. Nothing is
asserted: a loaded machine measures itself.
"""

from __future__ import annotations

import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Final

from monitor.core.model import DAY, HISTORY, SLOT, SlotClosed
from monitor.store import Store
from tests.conftest import Mosquitto
from tests.system.daemon import HERE_ONLY, PATIENCE_S, Daemon, Phone, send, table, until
from tests.system.shed_of_ten import BATCHES, VESSELS, minutes_of_readings, shed_of_ten

if TYPE_CHECKING:
    from collections.abc import Callable

STARTS: Final = 7
IDLE_S: Final = 60
WORKSHOP_ONLY: Final = ("rich", "pygments", "greenlet")  # a logger would load them where they happen to be
LOADED: Final = (
    "import monitor.cli.run, monitor.service.daemon, monitor.web.app, monitor.web.serving, monitor.service.memory as memory; "
    "memory.settle()"
)
PARTS: Final = {
    "letters through apprise": "import apprise; apprise.Apprise().add('json://127.0.0.1:9/')",
    "Web Push": "import http_ece, py_vapid; from cryptography.hazmat.primitives.asymmetric import ec",
    "the copy for time-series servers": "import urllib3; urllib3.PoolManager()",
}
UNITS: Final = "from monitor.settings.units import Kind, read; read('78 F', Kind.TEMPERATURE)"
RESIDENT: Final = """
def resident():
    lines = open("/proc/self/status").read().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))
"""


class Manager:
    """The end of a service manager at which a service says that it is ready."""

    def __init__(self, folder: Path) -> None:
        self.address = str(folder / "notify")
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self.address)
        self._socket.settimeout(3 * PATIENCE_S)

    def until_ready(self) -> None:
        while self._socket.recv(4096) != b"READY=1":
            pass

    def close(self) -> None:
        self._socket.close()


def as_installed(folder: Path, manager: Manager) -> None:
    """The environment of the processes to come: compiled modules, only what is installed, and a manager that listens."""
    hidden = folder / "hidden"
    hidden.mkdir()
    for name in WORKSHOP_ONLY:
        (hidden / f"{name}.py").write_text("raise ImportError('not installed')\n")
    path = os.pathsep.join([str(hidden), *filter(None, [os.environ.get("PYTHONPATH")])])
    HERE_ONLY.pop("PYTHONDONTWRITEBYTECODE", None)
    HERE_ONLY.update(PYTHONPATH=path, PYTHONPYCACHEPREFIX=str(folder / "compiled"), NOTIFY_SOCKET=manager.address)


def remember(path: Path) -> None:
    """Twelve days of every probe, as roll-ups keep them."""
    path.parent.mkdir(parents=True, exist_ok=True)
    end = int(time.time() * 1000) // SLOT * SLOT - SLOT
    with Store.open(path, now=end) as store:
        for slot in range(end - HISTORY, end, SLOT):
            swing = 500 if slot // DAY % 2 else 0
            for vessel in VESSELS:
                store.put_slot(SlotClosed(f"{vessel}-water", slot, 30, 30 * (24_500 + swing)))
                store.put_slot(SlotClosed(f"{vessel}-low", slot, 30, 30 * (24_200 + swing)))
                store.put_slot(SlotClosed(f"{vessel}-air", slot, 30, 30_000))
            if slot // SLOT % 288 == 0:
                store.commit()
        store.commit()


def ready_s(daemon: Daemon, manager: Manager) -> tuple[float, float]:
    """Seconds from starting the process until it says that it is ready, and processor time, which tells more on a busy one."""
    began = time.monotonic()
    daemon.start(ready=False)
    try:
        manager.until_ready()
    except TimeoutError:
        raise AssertionError(f"it does not say that it is ready:\n{daemon.log}") from None
    return time.monotonic() - began, used_s(daemon.pid)


def used_s(pid: int) -> float:
    """Processor time that a process has used, all its threads together."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def idle_share(daemon: Daemon, broker: Mosquitto) -> float:
    """Share of a core while thirty probes tell something every ten seconds and nobody looks."""
    readings = list(minutes_of_readings(2))
    speaker = Thread(target=send, args=(broker, readings[: 3 * IDLE_S + 15], 1 / 3))
    speaker.start()
    time.sleep(4)
    before, began = used_s(daemon.pid), time.monotonic()
    time.sleep(IDLE_S)
    share = (used_s(daemon.pid) - before) / (time.monotonic() - began)
    speaker.join()
    return share


def adds_mb(*parts: str) -> float:
    """What loading parts adds to a process that has all the rest and has settled, as a daemon has after its start."""
    code = "\n".join([RESIDENT, LOADED, "before = resident()", *parts, "print(resident() - before)"])
    told = ""
    for _ in range(2):  # the first time it compiles, which takes memory that is not to be counted
        told = subprocess.run(
            [sys.executable, "-c", code], env=HERE_ONLY, stdout=subprocess.PIPE, check=True, text=True
        ).stdout
    return int(told) / 1024


def measure(folder: Path, note: Callable[[str, str], None]) -> None:
    with ExitStack() as stack:
        broker, phone, manager = Mosquitto(folder / "broker"), Phone(), Manager(folder)
        stack.callback(manager.close)
        as_installed(folder, manager)
        broker.start()
        stack.callback(broker.kill)
        phone.start()
        stack.callback(phone.stop)
        own = table(
            "channel", id="own-server", kind="webhook", url=f"http://127.0.0.1:{phone.port}/", secret_env="SECRET"
        )
        HERE_ONLY["SECRET"] = os.environ["SECRET"] = "sixteen letters and more"
        daemon = Daemon(folder / "daemon", shed_of_ten(broker.url, None) + own)
        stack.callback(daemon.tear_down)
        remember(daemon.store)
        ready_s(daemon, manager)  # it compiles, which takes time and memory that are not to be counted
        daemon.terminate()
        ready_s(daemon, manager)
        until(daemon.connected)
        for hours, vessel in enumerate(BATCHES):  # soaking, and on their way
            daemon.told("batch", "start", vessel, "--cysts", "2 g", "--time", f"{hours} h ago")
        send(broker, minutes_of_readings(5))
        send(broker, [("shed/ash/air", "off")])
        until(lambda: phone.about("Air stopped in ash"))
        daemon.page()
        note("resident: 30 probes, 6 batches, a letter sent by webhook", f"{daemon.resident_mb():.0f} MB (below 90)")
        send(broker, [("shed/ash/air", "on")])
        daemon.told("backup")  # or the first one, which is made once a night, falls into the minute that is measured
        share = idle_share(daemon, broker)
        note(f"processor over {IDLE_S} s, 30 probes at 10 s, 6 batches", f"{share:.2%} of a core (below 1 %)")
        starts, pages = [], []
        for _ in range(STARTS):
            daemon.terminate()
            began = time.monotonic()
            starts.append(ready_s(daemon, manager))
            daemon.page()
            pages.append(time.monotonic() - began)
        lasted, used = zip(*starts, strict=True)
        note(
            "start to ready, 12 days of history and 6 batches taken back",
            f"{statistics.median(lasted):.2f} s (worst of {STARTS}: {max(lasted):.2f} s; below 1), "
            f"of processor time {statistics.median(used):.2f} s",
        )
        note("start to the first page that is shown", f"{statistics.median(pages):.2f} s (worst: {max(pages):.2f} s)")
        note("resident, after that start", f"{daemon.resident_mb():.0f} MB")
        daemon.terminate()
        added = {name: adds_mb(part) for name, part in PARTS.items()}
        for name, size in added.items():
            note(f"{name}, when it is used, adds", f"{size:.0f} MB")
        note("all of these in one process", f"{adds_mb(*PARTS.values()):.0f} MB (at most 40)")
        note("a configuration with other units than ours (78 F, 2 gal) adds", f"{adds_mb(UNITS):.0f} MB")


def main() -> None:
    sys.stdout.write("| what | measured |\n|---|---|\n")
    with tempfile.TemporaryDirectory(prefix="swimup-measure-") as folder:
        measure(Path(folder), lambda what, value: print(f"| {what} | {value} |", flush=True))  # noqa: T201  (its purpose)


if __name__ == "__main__":
    main()
