from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from tests.system.fire import disk
from tests.system.fire.small_disk import NOT_TRIED, can_be_tried
from tests.system.fire.suite import must_keep

if TYPE_CHECKING:
    from tests.system.fire.fault import Fault

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture(scope="module")
def _a_disk() -> None:
    if os.environ.get("CI") != "true" and not can_be_tried():
        pytest.skip(NOT_TRIED)


@pytest.mark.usefixtures("_a_disk")
@pytest.mark.parametrize("fault", disk.FAULTS, ids=str)
def test_what_is_promised_is_kept(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Whatever happens, the promise that stands beside the fault holds."""
    must_keep(fault, request)
