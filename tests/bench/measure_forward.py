"""What a back-fill of a time-series server costs the readings that come in meanwhile; prints a table for people.

    python -m tests.bench.measure_forward

It needs mosquitto and victoria-metrics on the PATH. Nothing here is asserted: a loaded machine measures itself.

One run of one service, in turns: the server is away (nothing is sent), then it is back and is sent what it has missed. Each beat
publishes a reading of every probe and then a command for an alarm that there is not. Messages are taken in order, so its answer
says that all of them have been decoded, judged, put into the store and stepped through the core; that takes the time measured.
"""

from __future__ import annotations

import socket
import statistics
import threading
import time
from contextlib import ExitStack
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from monitor.core.model import DAY, HOUR, SECOND, Reading
from monitor.store import Store
from tests.bench.markdown import noted
from tests.conftest import Mosquitto
from tests.series_store import SeriesStore
from tests.system.daemon import Daemon, air, configuration, table, until, water

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

DAYS: Final = 12
VESSELS: Final = ("ash", "birch", "cedar")
BEAT_S: Final = 0.1
BEATS: Final = 120
TURNS: Final = 4


def history(path: Path, now: int) -> int:
    """Days of water and air of each vessel at 10 s; how many readings that is."""
    path.parent.mkdir(parents=True)
    count = 0
    with Store.open(path) as store:
        for hour in range(now - DAYS * DAY, now - HOUR, HOUR):
            for at in range(hour, hour + HOUR, 10 * SECOND):
                for n, vessel in enumerate(VESSELS):
                    store.add(Reading(f"{vessel}-water", at + n, 25_000 + at // SECOND % 800))
                    store.add(Reading(f"{vessel}-air", at + n, 1000, state=1))
                    count += 2
            store.commit()
    return count


class Asker:
    """Publishes beats and notes when each is answered."""

    def __init__(self, broker: Mosquitto) -> None:
        self._number = 0
        self._news = threading.Event()
        self._awaited = ""
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = self._answer
        self._client.connect(broker.host, broker.port)
        raw = self._client.socket()
        if not isinstance(raw, socket.socket):
            raise TypeError("the broker is not reached by a plain socket")
        raw.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # small packets are not held back
        self._client.subscribe("swimup/shed/done/+", 1)
        self._client.loop_start()

    def _answer(self, _client: Client, _data: Any, message: Any) -> None:
        if message.topic == self._awaited:
            self._news.set()

    def beat_ms(self) -> float:
        """From the first message out to the answer in."""
        self._number += 1
        self._awaited = f"swimup/shed/done/none:beat-{self._number}"
        self._news.clear()
        began = time.perf_counter()
        for vessel in VESSELS:
            self._client.publish(f"shed/{vessel}/water", f"{25 + self._number % 50 / 100:.2f}", qos=1)
            self._client.publish(f"shed/{vessel}/air", "on", qos=1)
        self._client.publish(f"swimup/shed/do/none:beat-{self._number}", "acknowledge", qos=1)
        if not self._news.wait(10):
            raise RuntimeError("the service does not answer")
        return 1000 * (time.perf_counter() - began)

    def beats(self) -> list[float]:
        found = []
        for _ in range(BEATS):
            began = time.monotonic()
            found.append(self.beat_ms())
            time.sleep(max(BEAT_S - (time.monotonic() - began), 0.0))
        return found

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def measure(folder: Path, note: Callable[[str, str], None]) -> None:
    with ExitStack() as stack:
        broker, server = Mosquitto(folder / "broker", ["set_tcp_nodelay true"]), SeriesStore(folder / "series")
        broker.start()
        stack.callback(broker.kill)
        stack.callback(server.kill)
        copied = table("series_server", id="trends", url=server.url, every="1 s")
        probes = [probe(vessel) for vessel in VESSELS for probe in (water, air)]
        daemon = Daemon(folder / "daemon", configuration(broker.url, *probes, copied, vessels=VESSELS))
        stack.callback(daemon.tear_down)
        count = history(daemon.store, time.time_ns() // 1_000_000)
        daemon.start()
        until(daemon.connected)
        asker = Asker(broker)
        stack.callback(asker.close)
        for _ in range(20):
            asker.beat_ms()
        idle, busy, sent, took = [], [], 0, 0.0
        for turn in range(TURNS):
            idle += asker.beats()
            server.start()
            until(partial(logged_times, daemon, "series.recovered", turn + 1), "the back-fill does not begin")
            before, began = lines_sent(daemon), time.monotonic()
            busy += asker.beats()
            sent, took = sent + lines_sent(daemon) - before, took + time.monotonic() - began
            if daemon.bench()["series_servers"][0]["state"] != "behind":
                raise RuntimeError("the back-fill ended before the measurement: give it more days")
            server.kill()
            until(partial(logged_times, daemon, "series.failing", turn + 2), "the end is not noticed")
        note("readings to be sent, each twice", f"{count:,}")
        note("lines sent while it was measured", f"{sent:,}, {sent / took:,.0f} a second")
        for name, of in (("half", 0.5), ("95 of 100", 0.95), ("99 of 100", 0.99)):
            rest, work = (statistics.quantiles(values, n=100)[round(of * 100) - 1] for values in (idle, busy))
            note(
                f"{name} of the beats answered within",
                f"{rest:.1f} ms idle, {work:.1f} ms busy: {work / rest - 1:+.0%}",
            )
        note("mean", f"{statistics.mean(idle):.1f} ms idle, {statistics.mean(busy):.1f} ms busy")
        note("resident", f"{daemon.resident_mb():.0f} MB")


def logged_times(daemon: Daemon, event: str, times: int) -> bool:
    return len(daemon.logged(event)) >= times


def lines_sent(daemon: Daemon) -> int:
    return int(daemon.bench()["series_servers"][0]["sent"])


if __name__ == "__main__":
    noted(measure)
