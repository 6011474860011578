"""Three days and a hundred thousand readings in the suite; the long form is ``python -m tests.soak.run``."""

from __future__ import annotations

import logging
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.engine import Engine
from monitor.core.model import DAY, SiteSpec
from monitor.loglines import NAME
from monitor.store import Keep
from tests.soak.days import Days
from tests.soak.flood import Flood
from tests.soak.flow import again, repeats
from tests.soak.limits import Limits, broken
from tests.soak.watch import Sample, look, sizes

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [pytest.mark.broker]

MANY = 100_000
SHORT = Limits(mb_a_million=None, noise=200)  # one in some hundred readings


@pytest.fixture(autouse=True)
def _quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logging.getLogger(NAME), "disabled", True)


def test_three_days_leave_no_more_behind_than_their_record(tmp_path: Path) -> None:
    """Batches, meals, alarms, backups and clearing away: all is stored once, and nothing grows but the log."""
    days = Days(tmp_path, 3, Keep(1 * DAY, 2 * DAY), looks=12, lead=False, pace=900, every_s=120)
    outcome = days.run()
    assert outcome.faults(SHORT) == []
    assert outcome.found.kept < outcome.found.sent  # it was cleared away
    assert days.service.batches > 6
    assert int(outcome.notes["letters"]) > 6
    assert int(outcome.notes["backups kept"]) >= 2


def test_a_hundred_thousand_readings_leave_nothing_in_memory(tmp_path: Path) -> None:
    """At full speed from a real broker, some of them told twice: each is stored once, and no queue or table goes on growing."""
    flood = Flood(tmp_path, MANY, broker=True, looks=12)
    outcome = flood.run()
    assert outcome.faults(SHORT) == []
    assert "Reader._out_messages" in outcome.samples[-1].sizes  # what waits for the broker is counted
    assert 0 < outcome.found.sent < MANY
    assert outcome.found.kept == outcome.found.sent


def test_each_kind_of_leak_is_found() -> None:
    """A table, memory, a handle, a thread, a child or a log that grows slowly is told of by its name; what stays is not."""
    flat = [_sample(nth) for nth in range(30)]
    assert broken(flat, Limits()) == []
    for name, a_look in (("rss_mb", 0.2), ("handles", 1), ("threads", 1), ("children", 1), ("wal_mb", 2.0)):
        leaky = [replace(one, **{name: getattr(one, name) + nth * a_look}) for nth, one in enumerate(flat)]
        assert len(broken(leaky, Limits())) == 1, name
    for place, batches_allow_it in (("Service.table", False), ("Service.engine.state.batches[]", True)):
        grown = [replace(one, sizes=one.sizes | {place: 1000 + 20 * nth}) for nth, one in enumerate(flat)]
        (told,) = broken(grown, Limits())
        assert place in told
        begun = [replace(one, batches=nth) for nth, one in enumerate(grown)]
        assert (broken(begun, Limits()) == []) is batches_allow_it
    assert "too few" in broken(flat[:5], Limits())[0]
    steep = [replace(one, rss_mb=one.rss_mb + nth) for nth, one in enumerate(flat)]
    assert len(broken(steep, SHORT)) == 0
    assert len(broken([replace(one, rss_mb=one.rss_mb + 3 * nth) for nth, one in enumerate(flat)], SHORT)) == 1


def test_a_container_nobody_named_is_watched(tmp_path: Path) -> None:
    """Lists, tables, queues and arrays are counted wherever they lie in an object of ours, shared ones once."""
    keeper = _Keeper()
    before = sizes([keeper])
    keeper.inner["deep"] = [[1, 2], [3]]
    keeper.engine.state.memories["planted"] = "here"  # type: ignore[assignment]
    after = sizes([keeper])
    more = {way: after[way] - before.get(way, 0) for way in after if after[way] != before.get(way, 0)}
    assert more == {
        "_Keeper.inner": 1,
        "_Keeper.inner[]": 2,
        "_Keeper.inner[][]": 3,
        "_Keeper.engine.state.memories": 1,
    }
    here = look(0, 0, tmp_path / "none.sqlite3", [keeper])
    with (tmp_path / "open").open("w"):
        assert look(0, 0, tmp_path / "none.sqlite3", [keeper]).handles == here.handles + 1
    assert here.rss_mb > 1
    assert here.threads >= 1


def test_repeats_are_counted_as_they_are_made() -> None:
    """What the flow counts as told twice is what it tells twice."""
    assert repeats(50_000, 30) == sum(again(nth, 30) for nth in range(50_000)) > 10


class _Keeper:
    def __init__(self) -> None:
        self.inner: dict[str, Any] = {}
        self.engine = Engine(SiteSpec("shed", "Europe/Berlin", (420,), {}, {}), 0)


def _sample(nth: int) -> Sample:
    return Sample(nth * 100_000, nth, nth, 100.0, 12, 8, 2, 4.0, 10.0, 3, {"Service.kept": 500})
