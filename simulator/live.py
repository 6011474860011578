"""The live run: first the history as fast as the broker takes it, then readings as simulated time goes on."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from simulator.broker import BrokerError
from simulator.payload import encode

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable

    from simulator.broker import Link
    from simulator.clock import SimClock
    from simulator.feed import Feed
    from simulator.world import Sample

GOODBYE_S = 3.0
PATIENCE_S = 30.0
STRETCH_S = 3600


def publish_history(
    feed: Feed, link: Link, stop: threading.Event, history_s: int, progress: Callable[[int], None]
) -> tuple[int, int]:
    """Publish everything before the start; ``progress`` gets the simulated seconds done. Returns (sent, skipped):
    skipped are messages without room for a time of their own, which would be taken for news.

    Raises BrokerError when no broker answers or it refuses us.
    """
    if not link.wait_up(PATIENCE_S, stop) and not stop.is_set():
        raise BrokerError(f"no broker answered within {PATIENCE_S:g} s; start one and try again")
    sent = skipped = 0
    for goal_s in range(-history_s, 0, STRETCH_S):
        step_s = min(STRETCH_S, -goal_s)
        for sample in feed.until(goal_s + step_s - 1):
            if not sample.probe.tells_time:
                skipped += 1
            elif _send(sample, feed, link, stop):
                sent += 1
            else:
                return sent, skipped
        progress(step_s)
    while not stop.is_set() and not link.drain(1.0, stop):
        pass
    return sent, skipped


def publish_live(
    feed: Feed, link: Link, stop: threading.Event, clock: SimClock, minutes: float | None
) -> tuple[int, int]:
    """Publish each reading when simulated time reaches it, for so many wall minutes. Returns (sent, skipped).

    After a broker's absence, what waited is published late with its own time; a message that has no room for one is
    left out when it is more than two periods late, for it would be taken for news.
    """
    sent = skipped = 0
    link.wait_up(PATIENCE_S, stop)  # what is published before would be sent behind what comes later
    ends = float("inf") if minutes is None else max(time.time(), clock.anchor) + minutes * 60
    while not stop.is_set() and time.time() < ends:
        now_s = clock.offset_s(time.time())
        for sample in feed.until(now_s):
            late_s = clock.offset_s(time.time()) - sample.offset_s
            if not sample.probe.tells_time and late_s > 2 * max(sample.probe.every, 60):
                skipped += 1
            elif _send(sample, feed, link, stop):
                sent += 1
            else:
                break
        link.check()
        pause = min(clock.wall(feed.next_offset_s()), ends) - time.time()
        stop.wait(min(max(pause, 0.005), 0.5))
    return sent, skipped


def _send(sample: Sample, feed: Feed, link: Link, stop: threading.Event) -> bool:
    return link.publish(sample.probe.topic, encode(sample, feed.world.scenario.start_ms), stop)
