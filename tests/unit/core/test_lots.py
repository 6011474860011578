from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from monitor.core.hatch import HALF_LOG_SD
from monitor.core.log import Harvest, LogEntry, Seen, Sight, Start
from monitor.core.lots import Lot, Taught
from monitor.core.model import HOUR, LotSpec, Ms
from monitor.core.replay import Measured, forecasts_at
from tests.unit.core.worlds import T0, recording, slow_site

WEEK: Ms = 7 * 24 * HOUR


def shifted(rows: list[Measured], by: Ms) -> list[Measured]:
    return [replace(row, time=row.time + by, sample=replace(row.sample, time=row.time + by)) for row in rows]


def batches(count: int, fraction_at: tuple[tuple[float, float], ...]) -> tuple[list[Measured], list[LogEntry]]:
    """Batches of one tin a week apart at 25 C, each counted at the same hours with the same shares, then harvested."""
    rows: list[Measured] = []
    entries: list[LogEntry] = []
    for k in range(count):
        begin = T0 + k * WEEK
        rows += shifted(recording(lambda _: 25.0, 34, before=24), k * WEEK)
        entries.append(Start(begin, begin, f"b{k}", "ash", "tin", 1.0, 1.0, 25.0))
        for hour, share in fraction_at:
            time = begin + round(hour * HOUR)
            entries.append(Seen(time, time, f"b{k}", Sight.SOME, share))
        entries.append(Harvest(begin + 34 * HOUR, begin + 34 * HOUR, f"b{k}", fraction_at[-1][1]))
    return rows, entries


def first_guess(count: int, fraction_at: tuple[tuple[float, float], ...], *, learn: bool = True) -> tuple[Any, Any]:
    """Range of ready, hours, at the start of the first batch and of the last of ``count``."""
    rows, entries = batches(count, fraction_at)
    instants = [(T0 + HOUR, "b0"), (T0 + (count - 1) * WEEK + HOUR, f"b{count - 1}")]
    told = list(forecasts_at(slow_site(), rows, entries, instants, learn=learn))
    spans = []
    for k, forecast in zip((0, count - 1), told, strict=True):
        ready = forecast.estimate.ready
        assert ready.lo is not None
        assert ready.mid is not None
        assert ready.hi is not None
        spans.append(tuple((value - T0 - k * WEEK) / HOUR for value in (ready.lo, ready.mid, ready.hi)))
    return spans[0], spans[1]


SLOW = ((22.0, 0.05), (27.0, 0.30), (33.0, 0.55))


def test_a_slow_tin_is_learned() -> None:
    """After five batches that came late, the next is expected later and with half the relative width of the first."""
    first, last = first_guess(6, SLOW)
    assert last[1] > first[1] + 3
    assert np.log(last[2] / last[0]) < 0.5 * np.log(first[2] / first[0])


def test_without_learning_nothing_is_carried_over() -> None:
    """With learning off, the sixth batch begins as the first did."""
    first, last = first_guess(6, SLOW, learn=False)
    assert last == pytest.approx(first, abs=0.05)


def test_a_batch_that_lost_its_air_teaches_nothing() -> None:
    """A batch that was without oxygen for hours leaves the tin as it was."""
    rows = recording(lambda _: 25.0, 30, before=24, air=lambda h: not 6 <= h < 12)
    entries: list[LogEntry] = [
        Start(T0, T0, "b0", "ash", "tin", 5.0, 1.0, 25.0),
        Seen(T0 + 26 * HOUR, T0 + 26 * HOUR, "b0", Sight.FIRST),
        Harvest(T0 + 28 * HOUR, T0 + 28 * HOUR, "b0", 0.1),
        Start(T0 + 29 * HOUR, T0 + 29 * HOUR, "b1", "ash", "tin", 1.0, 1.0, 25.0),
    ]
    told = list(forecasts_at(slow_site(), rows, entries, [(T0 + 29 * HOUR, "b1")]))
    untaught = list(forecasts_at(slow_site(), rows, entries, [(T0 + 29 * HOUR, "b1")], learn=False))
    assert told[0].estimate.ready == untaught[0].estimate.ready


def test_a_batch_nobody_looked_into_teaches_nothing() -> None:
    """Thrown away without a look, a batch says nothing of its tin."""
    assert not Lot.new(LotSpec("tin")).batches


def test_a_tin_begins_from_its_label() -> None:
    """A label of 90 % makes a new tin's hatch share 90 %, one without a label 69 % (mean of the prior)."""
    assert Lot.new(LotSpec("tin", "", 90.0)).hatch_share == pytest.approx(0.90, abs=0.005)
    assert Lot.new(LotSpec("tin")).hatch_share == pytest.approx(0.69, abs=0.005)


def test_a_new_tin_leans_on_its_kin() -> None:
    """Where tins of a strain were all slow, a new one of it is expected a part of that slower, and less uncertain."""
    known = Lot.new(LotSpec("old", "sfb"))
    mean = known.prior.mean.copy()
    mean[0] = 1.5
    slow = replace(known, prior=replace(known.prior, mean=mean), batches=4)
    fresh = Lot.new(LotSpec("new", "sfb"), [slow, slow, slow])
    assert 0 < fresh.slow_percent < slow.slow_percent
    assert fresh.prior.factor[0, 0] < 1


def test_a_tin_says_what_it_is() -> None:
    """The story has speed, number of batches and hatch share, and says when it falls."""
    lot = Lot.new(LotSpec("tin"))
    assert "not been hatched here yet" in lot.story()
    mean = lot.prior.mean.copy()
    mean[0] = np.log(1.12) / HALF_LOG_SD
    taught = tuple(Taught(f"b{k}", k, 22.4, share) for k, share in enumerate((0.7, 0.68, 0.5, 0.45)))
    known = replace(lot, prior=replace(lot.prior, mean=mean), batches=4, taught=taught)
    assert known.story() == "This tin runs 12 % slow, from 4 batches; hatch 69 %, falling."
    assert known.falling
    steady = tuple(replace(t, share=0.7) for t in taught)
    assert not replace(known, taught=steady).falling


def test_a_tin_comes_back_as_it_was() -> None:
    """A tin's document gives back the same tin, and one of other coordinates is refused."""
    lot = Lot.new(LotSpec("tin", "", 80.0))
    document = lot.document()
    assert Lot.from_document(document).document() == document
    with pytest.raises(ValueError, match="other coordinates"):
        Lot.from_document(document | {"coordinates": ["half"]})
