"""Faults against: clocks and time zones, in the nights in which the local time changes."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

from tests.system.daemon import send, until
from tests.system.fire.clocks import FORECAST_S, a_few, dated_rightly, rang, shed, times, told_of
from tests.system.fire.fault import Fault

if TYPE_CHECKING:
    from tests.system.fire.fault import Ground

MEALS: Final = ("02:15", "07:00")
QUIET: Final = 'air_on_delay = "0 s"\nquiet_from = "22:00"\nquiet_until = "07:00"'


def utc(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}:00").replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Night:
    """Instants in UTC, reckoned by hand from the rules of the IANA time zone database for 2026."""

    timezone: str
    evening: datetime  # 22:30 local time
    change: datetime
    early: datetime  # 02:15, by the old clock where the change skips it, the first of two
    seven: datetime  # 07:00

    def attempt(self, ground: Ground) -> None:
        """Readings stay in order and single, the forecast holds, meals are at their hour, and what may wait comes at seven."""
        broker, phone, daemon, clock = shed(ground, ("birch",), QUIET, timezone=self.timezone, meals=MEALS)
        clock.put_at(self.evening)
        daemon.start()
        until(daemon.connected)
        began = self.evening - timedelta(hours=3)
        told_of(broker, quarters(began, self.evening))
        daemon.post("batches", vessel="ash", lot="tin-7", cysts_g=2.0, batch="ash", time=began.isoformat())
        daemon.post("batches", vessel="birch", lot="tin-7", cysts_g=2.0, batch="birch")
        sent = a_few(broker, clock, 25_900)
        until(lambda: len(times(daemon)) == len(sent), "the first readings were not stored")

        noon = self.seven + timedelta(hours=5)
        meals = [datetime.fromisoformat(meal) for meal in daemon.bench()["meals"]]
        assert [meal for meal in meals if self.evening < meal < noon] == [self.early, self.seven]
        send(broker, [("shed/birch/air", "off")])
        until(lambda: daemon.rows("SELECT 1 FROM outbox"), "no letter was written")
        (held,) = daemon.rows("SELECT hold, cause FROM outbox")
        assert held == (self.seven.timestamp() * 1000, "quiet-hours")

        clock.put_at(self.change - timedelta(seconds=4))
        until(lambda: daemon.logged("clock.set"), "it has not seen that the clock was set")
        told_of(broker, quarters(self.evening, self.change))
        ready = daemon.ready_s()
        while clock.now() < self.change + timedelta(seconds=1):
            sent += a_few(broker, clock, 25_900 + len(sent))
            threading.Event().wait(0.5)  # more than a probe would tell, and not as much as can be sent
        until(lambda: len(times(daemon)) == len(sent), "not all readings of the night were stored")
        stored = times(daemon)
        in_order = [stored[value][0] for _, value in sent]
        assert in_order == sorted(in_order), "the readings are not in order"
        assert abs(daemon.ready_s() - ready) < FORECAST_S, "the forecast went with the clock"

        clock.put_at(self.seven - timedelta(seconds=2))
        told = until(lambda: phone.letters and clock.now(), "the letter did not come")
        assert told >= self.seven, "it was told in the quiet hours"
        assert len(phone.letters) == 1, phone.titles
        assert rang(daemon) == {"air-stopped:birch"}
        assert daemon.terminate(10.0) == 0
        dated_rightly(daemon, sent)


def quarters(begin: datetime, end: datetime) -> list[datetime]:
    """Each quarter of an hour in between."""
    return [begin + timedelta(seconds=seconds) for seconds in range(0, round((end - begin).total_seconds()), 900)]


def _night(zone: str, *instants: str) -> Night:
    return Night(zone, *(utc(instant) for instant in instants))


BERLIN: Final = "Europe/Berlin"
NEW_YORK: Final = "America/New_York"
LORD_HOWE: Final = "Australia/Lord_Howe"
"""Its clocks change by half an hour."""
NIGHTS: Final = {
    "an hour skipped, Berlin": _night(
        BERLIN, "2026-03-28T21:30", "2026-03-29T01:00", "2026-03-29T01:15", "2026-03-29T05:00"
    ),
    "an hour twice, Berlin": _night(
        BERLIN, "2026-10-24T20:30", "2026-10-25T01:00", "2026-10-25T00:15", "2026-10-25T06:00"
    ),
    "an hour skipped, New York": _night(
        NEW_YORK, "2026-03-08T03:30", "2026-03-08T07:00", "2026-03-08T07:15", "2026-03-08T11:00"
    ),
    "an hour twice, New York": _night(
        NEW_YORK, "2026-11-01T02:30", "2026-11-01T06:00", "2026-11-01T07:15", "2026-11-01T12:00"
    ),
    "half an hour skipped, Lord Howe": _night(
        LORD_HOWE, "2026-10-03T12:00", "2026-10-03T15:30", "2026-10-03T15:45", "2026-10-03T20:00"
    ),
    "half an hour twice, Lord Howe": _night(
        LORD_HOWE, "2026-04-04T11:30", "2026-04-04T15:00", "2026-04-04T15:45", "2026-04-04T20:30"
    ),
}
SHORT: Final = ("an hour twice, Berlin", "an hour skipped, New York", "half an hour skipped, Lord Howe")
"""In the suite, which is short of time; the other three take the same way."""

FAULTS: Final = tuple(
    Fault(name, "clock", night.attempt, short=int(name in SHORT), long=3) for name, night in NIGHTS.items()
)
