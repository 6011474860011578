from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from tests.system.fire import clocks, nights
from tests.system.fire.faketime import NOT_TRIED, library
from tests.system.fire.suite import must_keep

if TYPE_CHECKING:
    from tests.system.fire.fault import Fault

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture(scope="module")
def _a_clock() -> None:
    if os.environ.get("CI") != "true" and library() is None:
        pytest.skip(NOT_TRIED)


@pytest.mark.usefixtures("_a_clock")
@pytest.mark.parametrize("fault", [fault for fault in (*clocks.FAULTS, *nights.FAULTS) if fault.short], ids=str)
def test_what_is_promised_is_kept(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Whatever happens, the promise that stands beside the fault holds."""
    must_keep(fault, request)
