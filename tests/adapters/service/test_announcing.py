"""When our room is told to others."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from monitor.service.rooms import EVERY, NOT_BEFORE_S, Announcer
from tests.adapters.web.memory_desk import NOW, bad_night

if TYPE_CHECKING:
    from monitor.core.model import Ms


class Hands:
    """A clock that is set by hand."""

    speed = None

    def __init__(self) -> None:
        self.at = 0.0

    def now(self) -> Ms:
        return self.wall()

    def wall(self) -> Ms:
        return NOW + round(self.at * 1000)

    def steady(self) -> float:
        return self.at

    def jumped(self) -> Ms | None:
        return None


class Told:
    def __init__(self) -> None:
        self.clock = Hands()
        self.sent: list[tuple[str, dict[str, Any]]] = []
        self.announcer = Announcer("0123abcd", "https://shed.home.arpa", self.clock, self._publish)
        self.bench = bad_night()

    def _publish(self, topic: str, payload: str) -> None:
        self.sent.append((topic, json.loads(payload)))

    def after(self, seconds: float) -> int:
        """Show the bench so much later; how many were sent by then."""
        self.clock.at += seconds
        self.announcer.show(self.bench)
        return len(self.sent)


def test_nothing_new_is_told_each_minute_with_its_time() -> None:
    """So a room that falls silent can be told from one where nothing happens."""
    told = Told()
    assert [told.after(0.3), told.after(30), told.after(29), told.after(1)] == [1, 1, 1, 2]
    assert [topic for topic, _ in told.sent] == ["swimup/shed/summary"] * 2
    assert [news["time"] for _, news in told.sent] == ["2026-03-02T01:10:00Z", "2026-03-02T01:11:00Z"]
    assert {(news["every_s"], news["run"], news["page"]) for _, news in told.sent} == {
        (EVERY // 1000, "0123abcd", "https://shed.home.arpa")
    }


def test_a_number_waits_some_seconds_and_an_alarm_does_not() -> None:
    """Readings that come each second make no flood; that the air has stopped is passed on at once."""
    told = Told()
    assert told.after(0) == 1
    told.bench["vessels"][0]["water"]["value"] = 24.2
    assert told.after(1) == 1
    assert told.announcer.due() == NOT_BEFORE_S
    told.bench["alarms"].pop()
    assert told.after(1) == 2
    told.bench["vessels"][0]["water"]["value"] = 24.3
    assert [told.after(1), told.after(NOT_BEFORE_S)] == [2, 3]
    assert told.sent[-1][1]["vessels"][0]["water"]["value"] == 24.3
