"""How fast readings go from the broker to committed and decided, beside a bare and a naive consumer; prints tables for people.

    python -m tests.bench.measure_ingest

It needs mosquitto on the PATH, and /var/tmp on a real disk. Three minutes. Nothing here is asserted: a loaded machine measures
itself; processor time and ratios within the run tell more there than rates. Rounds of all consumers take turns, each on topics
of its own with all the others idle. Of a round counts what was taken when it was last looked at, from the first byte published
on; of the service, only what is committed. See ``consumers`` for those beside it. The service is ``swimup run`` with thirty
probes, a batch in six of ten vessels, its page up and a webhook; for the time to a decision ``timed_run``, which is the same
with a note of times.
"""

from __future__ import annotations

import json
import statistics
import tempfile
import time
from contextlib import ExitStack
from itertools import cycle, islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tests.bench.ingest_bench import COMMIT_S, TOO_HOT_C, Bench, Pace, Watched
from tests.system.shed_of_ten import BATCHES, VESSELS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.bench.wire_publisher import WirePublisher

ROUNDS: Final = 5
BARE: Final = 15_000
NAIVE: Final = 250
SWIMUP: Final = 30_000  # a second at full speed
RATE: Final = 100  # readings a second while times are taken
TIMED_S: Final = 4.0  # of each turn
TURNS: Final = 5
PUSHES: Final = 120
PUSH_EVERY_S: Final = 0.3
HOME_COMMITS: Final = 6
HOME_RATE: Final = 30
"""With a commit each 6 s that is 180 readings a commit, as of thirty probes at 10 s and a commit each minute."""
WARM_C: Final = TOO_HOT_C - 1.5
HOT_C: Final = TOO_HOT_C + 1.0


def at_rate(wire: WirePublisher, messages: Iterator[tuple[str, bytes]], rate: float, seconds: float) -> dict[str, int]:
    """Publish evenly; when each payload was, ns of the monotonic clock."""
    sent = {}
    begin = time.monotonic()
    for number in range(round(rate * seconds)):
        time.sleep(max(begin + number / rate - time.monotonic(), 0.0))
        topic, payload = next(messages)
        frame = wire.frame(topic, payload)
        sent[payload.decode()] = time.monotonic_ns()
        wire.send(frame, 1)
    return sent


def delays_ms(sent: dict[str, int], came: list[tuple[str, int]]) -> list[float]:
    """From published to there, of all that was timed. Raises when something did not come."""
    first: dict[str, int] = {}
    for payload, at in came:
        first.setdefault(payload, at)
    return [(first[payload] - at) / 1e6 for payload, at in sent.items()]


def quantiles(values: list[float]) -> tuple[float, float, float]:
    """Half, 99 of 100, and the worst."""
    cuts = statistics.quantiles(values, n=100, method="inclusive")
    return cuts[49], cuts[98], max(values)


def pushes_ms(bench: Bench, daemon: Watched) -> list[float]:
    """From the reading that decides it to the push at the catcher, with 100 readings a second beside.

    Water rises above 40 C, where no time is left, so that a push does not wait to gather others; then it is back below.
    """
    warm(bench, daemon)
    others = bench.readings.under("shed", tuple(vessel for vessel in VESSELS if vessel not in BATCHES))
    found = []
    for vessel in islice(cycle(BATCHES), PUSHES):
        at_rate(bench.wire, others, RATE, PUSH_EVERY_S)
        already = len(bench.phone.about("Too hot in"))
        began = time.monotonic_ns()
        bench.say_water(vessel, HOT_C)
        bench.phone.until_about("Too hot in", already + 1)
        found.append((time.monotonic_ns() - began) / 1e6)
        bench.say_water(vessel, WARM_C)
    return found


def warm(bench: Bench, daemon: Watched) -> None:
    """Nearly too hot: three readings in a row that say so are believed."""
    for vessel in BATCHES:
        while daemon.water(vessel) != WARM_C:
            bench.say_water(vessel, WARM_C)
            time.sleep(0.1)


def rates(bench: Bench, daemon: Watched) -> dict[str, Pace]:
    bare, naive = bench.consumer("count"), bench.consumer("insert")
    paces = {name: Pace() for name in ("bare", "naive", "swimup")}
    for _ in range(ROUNDS):
        naive.round(bench.readings, NAIVE, paces["naive"])
        bare.round(bench.readings, BARE, paces["bare"])
        daemon.round(bench.wire, bench.readings, SWIMUP, paces["swimup"])
    return paces


def home_bytes(bench: Bench, daemon: Watched) -> float:
    """Bytes written a reading when as few readings share a commit as at home."""
    kept, written = daemon.kept(), daemon.written()
    at_rate(bench.wire, bench.readings.under("shed"), HOME_RATE, COMMIT_S * HOME_COMMITS)
    daemon.until_kept(kept + HOME_RATE * COMMIT_S * HOME_COMMITS)
    return (daemon.written() - written) / (daemon.kept() - kept)


def decisions(bench: Bench) -> tuple[list[float], list[float]]:
    """Times to the bare consumer and to the decision, ms, in turns."""
    file = bench.folder / "decided.json"
    daemon = bench.daemon("timed", file)
    bare = bench.consumer("time")
    for_bare, for_swimup = bench.readings.under(bare.prefix), bench.readings.under("shed")
    sent_bare: dict[str, int] = {}
    sent: dict[str, int] = {}
    for _ in range(TURNS):
        sent_bare |= at_rate(bench.wire, for_bare, RATE, TIMED_S)
        sent |= at_rate(bench.wire, for_swimup, RATE, TIMED_S)
    time.sleep(1)
    daemon.terminate()
    return delays_ms(sent_bare, bare.told()["came"]), delays_ms(sent, json.loads(file.read_text()))


def measure(folder: Path, say: Callable[[str], None]) -> None:
    with ExitStack() as stack:
        bench = Bench(folder, stack)
        daemon = bench.daemon("daemon")
        written = home_bytes(bench, daemon)  # first: a flood leaves roll-ups of its own to be written later
        paces = rates(bench, daemon)
        tell_rates(paces, say)
        tell_bytes(paces, written, say)
        pushed = pushes_ms(bench, daemon)
        daemon.terminate()
        bare, decided = decisions(bench)
        first, *others = pushed
        times = {"published to counted, bare": bare, "published to decided": decided, "published to pushed": others}
        tell_times(times, say)
        say(f"\nThe first push took {first:.0f} ms: it loads what pushes need.")


def tell_rates(paces: dict[str, Pace], say: Callable[[str], None]) -> None:
    say(
        "| consumer | readings a second | of the bare | processor time a reading | of the bare |\n|---|---:|---:|---:|---:|"
    )
    bare = paces["bare"]
    for name, pace in paces.items():
        times = statistics.median(mine / its for mine, its in zip(pace.rates, bare.rates, strict=True))
        work = statistics.median(mine / its for mine, its in zip(pace.cpu_us, bare.cpu_us, strict=True))
        rate, cpu = statistics.median(pace.rates), statistics.median(pace.cpu_us)
        say(
            f"| {name} | {rate:,.0f} ({min(pace.rates):,.0f}-{max(pace.rates):,.0f}) | {times:.3g} | {cpu:.0f} µs | {work:.2f} |"
        )
    faster = statistics.median(
        mine / its for mine, its in zip(paces["swimup"].rates, paces["naive"].rates, strict=True)
    )
    say(f"\nTo committed and decided {faster:.0f} times as fast as naive; medians of {ROUNDS} rounds in turns.\n")


def tell_bytes(paces: dict[str, Pace], home: float, say: Callable[[str], None]) -> None:
    naive, flood = (statistics.median(paces[name].written) for name in ("naive", "swimup"))
    say("| bytes written a reading | | naive has |\n|---|---:|---:|")
    say(f"| naive, {ROUNDS * NAIVE} readings | {naive:,.0f} | |")
    say(f"| 180 readings a commit, as at home; {HOME_COMMITS} commits | {home:,.0f} | {naive / home:.0f} times |")
    say(f"| at full speed | {flood:,.0f} | {naive / flood:.0f} times |")
    say("")


def tell_times(found: dict[str, list[float]], say: Callable[[str], None]) -> None:
    say(f"| at {RATE} readings a second | times | half within | 99 of 100 | worst |\n|---|---:|---:|---:|---:|")
    for name, values in found.items():
        half, most, worst = quantiles(values)
        say(f"| {name} | {len(values)} | {half:.1f} ms | {most:.1f} ms | {worst:.1f} ms |")


def main() -> None:
    with tempfile.TemporaryDirectory(prefix="swimup-measure-", dir="/var/tmp") as folder:
        measure(Path(folder), lambda line: print(line, flush=True))  # noqa: T201  (its purpose)


if __name__ == "__main__":
    main()
