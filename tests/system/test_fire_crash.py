from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.failpoint import Point
from tests.system.fire import crash
from tests.system.fire.suite import must_keep

if TYPE_CHECKING:
    from tests.system.fire.fault import Fault

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.mark.parametrize("fault", crash.FAULTS, ids=str)
def test_what_is_promised_is_kept(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Whatever happens, the promise that stands beside the fault holds."""
    must_keep(fault, request)


def test_a_crash_is_tried_at_each_place() -> None:
    """No place is named at which nobody has tried what a crash costs."""
    assert set(crash.TRIED) == set(Point)
