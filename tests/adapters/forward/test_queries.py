"""What deploy/series/README.md offers is true of a real server."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.log import Start
from monitor.core.model import DAY, HOUR, MINUTE, SECOND, AlarmState, Quality, Reading
from monitor.core.wording import rfc3339
from monitor.forward.lines import numbers
from monitor.forward.sender import Pace
from tests.adapters.forward.test_outage import BEGIN
from tests.adapters.forward.test_write_api import estimate, transition

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.forward.conftest import Shed
    from tests.series_store import SeriesStore

    Patiently = Callable[[Callable[[], object], str], None]

DOC = (Path(__file__).parents[3] / "deploy/series/README.md").read_text(encoding="utf-8")
NOW = BEGIN + DAY

EXPECTED: dict[str, list[dict[str, float]]] = {
    # title: for each query, the values by a tag
    "Water now, C": [{"ash-water": 26.0, "birch-water": 24.0}],
    "How much warmer the water is than the room, K": [{"ash-water": 5.0, "birch-water": 3.0}],
    "Coldest and warmest of the day": [
        {"ash-water": 20.0, "birch-water": 24.0},
        {"ash-water": 26.0, "birch-water": 24.0},
    ],
    "Share of air readings of the day that said stopped (MetricsQL)": [{"ash-air": 0.25}],
    "Hours until ready": [{"ash-1": 2.0}],
    "How wide the range of ready is, hours": [{"ash-1": 1.5}],
    "Hatched so far, percent": [{"ash-1": 25.0}],
    'By how much "ready" has moved since it was first told, minutes (MetricsQL)': [{"ash-1": -30.0}],
    "What is wrong now": [{"air-stopped:birch": 1.0}],
    "How often somebody was told in a day, by rule": [{"air-stopped": 2.0}],
    "Readings of the day that were not used": [{"room": 1.0}],
    "Seconds since each probe was last heard (MetricsQL)": [
        {"ash-water": 60.0, "birch-water": 60.0, "room": 60.0, "ash-air": 61.0}
    ],
}


def a_day(shed: Shed) -> None:
    """Readings, a batch with two estimates, one alarm that is over and one that is not; the last of it a minute before NOW."""
    store = shed.store
    last = NOW - MINUTE
    for time, ash in ((NOW - 12 * HOUR, 20_000), (last, 26_000)):
        store.add(Reading("ash-water", time, ash))
        store.add(Reading("birch-water", time, 24_000))
        store.add(Reading("room", time, 21_000))
    store.add(Reading("room", last - MINUTE, 85_000, Quality.SUSPECT, "85 C is what it says when it starts"))
    for n in range(4):
        store.add(Reading("ash-air", last - n * SECOND - SECOND, 1000 if n else 0, state=1 if n else 0))
    store.log(Start(NOW - 20 * HOUR, NOW - 20 * HOUR, "ash-1", "ash", "tin-7", 2.0, 1.5, 25.0))
    for told, ready in ((NOW - 5 * HOUR, NOW + 150 * MINUTE), (NOW - 10 * MINUTE, NOW + 2 * HOUR)):
        sides = {"lo": ready - HOUR, "mid": ready, "hi": ready + HOUR // 2}
        span = {side: rfc3339(when) for side, when in sides.items()}
        store.tell("ash-1", told, estimate() | {"ready": span})
    stopped = transition()
    alarm = replace(stopped.alarm, id="air-stopped:ash", subject="ash")
    store.put_alarm(replace(stopped, time=NOW - 3 * HOUR, alarm=alarm))
    over = replace(alarm, state=AlarmState.RETURNED)
    store.put_alarm(replace(stopped, time=NOW - 2 * HOUR, alarm=over, notify=False))
    store.put_alarm(replace(stopped, time=NOW - HOUR))
    store.commit()


def test_every_ready_query_gives_what_its_title_says(
    shed: Shed, series_store: SeriesStore, patiently: Patiently
) -> None:
    """Each query of the guide is run on a day whose answers are known."""
    offered = {
        title: re.findall(r"```promql\n(.*?)\n```", text, re.DOTALL)
        for title, text in re.findall(r"^### (.*?)\n(.*?)(?=^### |\Z)", DOC, re.DOTALL | re.MULTILINE)
    }
    assert offered.keys() == EXPECTED.keys()
    series_store.start()
    a_day(shed)
    shed.forward(series_store.url, Pace(every_s=0.05, settle_s=60.0))
    patiently(lambda: shed.state["state"] == "current", "it is not sent")
    for title, queries in offered.items():
        found = [
            {
                next(one["metric"][tag] for tag in ("probe", "batch", "alarm", "rule") if tag in one["metric"]): round(
                    float(one["value"][1]), 6
                )
                for one in series_store.query(query, NOW / 1000)
            }
            for query in queries
        ]
        assert found == EXPECTED[title], title


def test_the_numbers_that_stand_for_words_are_told() -> None:
    """The guide's table of numbers is the program's."""
    for field, words in numbers().items():
        told = ", ".join(f"{number} {word}" for word, number in words.items())
        assert f"| `{field}` | {told} |" in DOC


def test_the_server_is_set_up_as_in_the_tests() -> None:
    """The options that matter are in the guide, and nothing in it listens to the network."""
    assert "-dedup.minScrapeInterval=1ms" in DOC
    assert "-httpListenAddr=127.0.0.1:8428" in DOC
    assert not re.search(r"Addr=(?!127\.0\.0\.1:)|ADDRESS=(?!127\.0\.0\.1:)", DOC)
