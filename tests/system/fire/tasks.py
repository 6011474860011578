"""Faults against: a hang is noticed; here each long task of the process ends for good, whatever ended it.

Some are started anew. Where that is no use the service manager hears no more that the service is alive, and starts all anew.
"""

from __future__ import annotations

import os
import signal
import threading
from functools import partial
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import TYPE_CHECKING, Any, Final

from tests.system.daemon import table, until
from tests.system.fire.fault import Fault
from tests.system.fire.stopping import children
from tests.system.fire.traffic import in_use

if TYPE_CHECKING:
    from tests.system.fire.fault import Ground
    from tests.system.fire.traffic import Traffic
    from tests.system.quick import QuickDaemon

ANEW: Final = ("mqtt-session", "notify-phone", "forward-trends", "backup", "food", "rooms")
"""Started anew."""
WITHHELD: Final = {
    "heartbeat": "the heartbeat has ended",
    "web": "the page has ended",
    "chores": "the scheduler of chores has ended",
}
"""The manager hears no more, and the log says why; in this order, as each of them is told of before those ahead of it."""
DECISIONS: Final = "MainThread"
"""Its end ends the process with a code that the manager takes for a failure."""
PLANNER: Final = "planner"
"""The child process."""
PIECES: Final = ("asyncio_", "AnyIO worker thread", "pantry", "store-ahead")
"""What such threads do for others is one piece each, and what goes wrong in it is told to whoever waits for it, or done by it."""
TRIED: Final = (*ANEW, *WITHHELD, DECISIONS)


def each_task_ends(ground: Ground) -> None:
    """Each is missed by name; meanwhile no reading is lost, nothing is kept twice, and air that stops is told."""
    server = _server(ground)
    more = (
        table("series_server", id="trends", url=server, every="1 s"),
        f'[heartbeat]\nurl = "{server}/beat"\n',
        "[rooms]\nshow = true\n",
    )
    daemon, traffic = in_use(ground, *more)
    with traffic:
        assert set(_lasting(daemon)) == set(TRIED)
        daemon.strike("heartbeat")  # it sleeps for longest
        _end_those_that_come_again(ground, daemon, traffic)
        _end_the_planner(daemon, traffic)
        for task, said in WITHHELD.items():
            if task != "heartbeat":
                daemon.strike(task)
            until(partial(_withheld, daemon, said), f"nobody says that {said}")
            traffic.stop_air()
            traffic.until_it_rang()
        daemon.strike(DECISIONS)
        assert daemon.wait() == 1
        daemon.start()
        traffic.settle()


def _end_those_that_come_again(ground: Ground, daemon: QuickDaemon, traffic: Traffic) -> None:
    tasks = list(ANEW)
    ground.random.shuffle(tasks)
    for task in tasks:
        daemon.strike(task)
    traffic.stop_air()  # a letter wakes who carries it
    for task in tasks:
        until(partial(_ended, daemon, task), f"{task} has not ended")
        until(partial(_runs, daemon, task), f"{task} does not come again")
    assert daemon.logged("broker.session-died")
    assert daemon.logged("series.thread-died")
    assert {line.rpartition("task=")[2].split()[0] for line in daemon.logged("task.ended")} == {
        "backup",
        "food",
        "rooms",
    }
    traffic.until_it_rang()
    traffic.until_it_shows()


def _end_the_planner(daemon: QuickDaemon, traffic: Traffic) -> None:
    traffic.set_eater(20_000)
    os.kill(until(lambda: _child(daemon.pid), "no planner was started"), signal.SIGKILL)
    until(lambda: "ended from outside" in str(daemon.logged("food.not-planned")), "nobody misses the planner")
    traffic.set_eater(0)  # which is planned without a child: on a busy machine that one may need its whole minute
    until(lambda: daemon.logged("food.planned-again"), "nothing is planned any more")


def _withheld(daemon: QuickDaemon, why: str) -> bool:
    return why in str(daemon.logged("watchdog.withheld"))


def _ended(daemon: QuickDaemon, task: str) -> bool:
    return f"Exception in thread {task}" in daemon.log


def _runs(daemon: QuickDaemon, task: str) -> bool:
    return task in daemon.tasks()


def _child(pid: int) -> int:
    """The process that one of its threads has started; 0 when there is none."""
    return next(iter(children(pid)), 0)


def _lasting(daemon: QuickDaemon) -> list[str]:
    return [name for name in daemon.tasks() if not name.startswith(PIECES)]


def _server(ground: Ground) -> str:
    """One that takes whatever it is given, and is not there for a heartbeat: so that is tried again soon."""

    class Taker(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Nothing: nobody asks."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Taker)
    threading.Thread(target=server.serve_forever, args=(0.05,), name="taker", daemon=True).start()
    ground.when_done(server.server_close)
    ground.when_done(server.shutdown)
    return f"http://127.0.0.1:{server.server_port}"


FAULTS: Final = (Fault("each task ended", "hang", each_task_ends, each=len(TRIED) + 1),)
