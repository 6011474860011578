from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.system.fire import hang
from tests.system.fire.suite import must_keep

if TYPE_CHECKING:
    from tests.system.fire.fault import Fault

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.mark.parametrize("fault", hang.FAULTS, ids=str)
def test_what_is_promised_is_kept(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Whatever happens, the promise that stands beside the fault holds."""
    must_keep(fault, request)
