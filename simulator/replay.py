"""The same world as a replay folder, without a broker: readings, keeper's log and truth."""

from __future__ import annotations

import csv
import json
from typing import IO, TYPE_CHECKING, Any

from simulator.payload import instant

if TYPE_CHECKING:
    from simulator.feed import Feed
    from simulator.scenario import Scenario

STRETCH_S = 6 * 3600


def write_readings(file: IO[str], feed: Feed, until_s: int) -> int:
    """Write ``time,probe,value`` in order of time up to ``until_s``; returns how many. Raises SeriesTooShort."""
    start_ms = feed.world.scenario.start_ms
    table = csv.writer(file, lineterminator="\n")
    table.writerow(("time", "probe", "value"))
    count = 0
    while True:
        goal_s = min(feed.world.offset_s + STRETCH_S, until_s)
        for sample in feed.until(goal_s):
            table.writerow((instant(start_ms + sample.offset_s * 1000), sample.probe.id, sample.value))
            count += 1
        if goal_s >= until_s:
            return count


def log_events(scenario: Scenario) -> list[dict[str, Any]]:
    """What a keeper would have logged, in order of time: each start, and the harvests of the scenario."""
    litres = {vessel.id: vessel.litres for vessel in scenario.vessel}
    events: list[tuple[int, dict[str, Any]]] = []
    for batch in scenario.batch:
        start = {
            "event": "start",
            "batch": batch.id,
            "vessel": batch.vessel,
            "lot": batch.tin,
            "cysts_g": batch.cysts_g,
            "litres": batch.litres or litres[batch.vessel],
            "salinity_g_l": batch.salinity_g_l,
        }
        events.append((batch.at, start))
        if batch.harvest is not None:
            events.append((batch.harvest, {"event": "harvest", "batch": batch.id}))
    events.sort(key=lambda pair: pair[0])
    return [{"time": instant(scenario.start_ms + offset_s * 1000), **event} for offset_s, event in events]


def write_log(file: IO[str], scenario: Scenario, until_s: int) -> int:
    """Write the events up to ``until_s`` as JSON lines; returns how many."""
    limit = instant(scenario.start_ms + until_s * 1000)
    events = [event for event in log_events(scenario) if event["time"] <= limit]
    file.writelines(json.dumps(event) + "\n" for event in events)
    return len(events)
