from __future__ import annotations

import pytest

from tests.system.fire.fault import PROMISES
from tests.system.fire.faults import FAULTS


@pytest.mark.parametrize("promise", PROMISES)
def test_each_promise_is_tried(promise: str) -> None:
    """No promise stands in the table without a fault against it."""
    assert [one for one in FAULTS if one.promise == promise]
