"""Three days of that month in the suite; the whole of it is run by ``python -m tests.month.run``."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from monitor.core.dispatch import Kind
from tests.month import report
from tests.month.run import Month
from tests.month.scenario import few_days

if TYPE_CHECKING:
    from pathlib import Path

DAYS = 3


def test_each_trouble_of_three_days_is_told_once_and_nothing_else_rings(tmp_path: Path) -> None:
    """A silent probe, a pump, a broker and a cold night: one push each; beside them only ready and low priority."""
    month = Month(tmp_path, DAYS, few_days())
    month.run()
    found = report.of(month)
    assert found.broken == []
    assert [told for _, _, told, _, _ in found.troubles] == [1, 1, 1, 1]
    assert found.kinds["ready"] >= 6
    # The report can find fault: the same pushes, held against days in which only the broker was made to stop.
    month.troubles = tuple(trouble for trouble in few_days() if trouble.name.startswith("broker"))
    assert len(report.of(month).others) == 3
    month.troubles = few_days()
    cold = next(push for push in month.pushed if "Cold" in push.letter.title)
    later = replace(cold.letter, parts=tuple(replace(part, begun=part.begun + 1) for part in cold.letter.parts))
    month.pushed.append(replace(cold, letter=replace(later, kind=Kind.TROUBLE)))
    assert any("cold night 3 was told 2 times" in line for line in report.of(month).broken)
