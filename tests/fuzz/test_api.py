"""The API by its own description, briefly; ``python -m tests.fuzz.run --target api`` tries it for longer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.fuzz.api import attempt, operations, unguarded
from tests.fuzz.served import Shed

if TYPE_CHECKING:
    from collections.abc import Iterator

pytestmark = pytest.mark.system
EXAMPLES = 2


@pytest.fixture(scope="module")
def shed() -> Iterator[Shed]:
    with Shed() as made:
        yield made


def test_nothing_is_told_to_a_stranger(shed: Shed) -> None:
    """Each address but those described as open to all refuses whoever has neither session nor token."""
    assert unguarded(shed) == []


def test_whatever_is_sent_is_answered_as_described(shed: Shed) -> None:
    """Requests as described and requests that are not: no answer is a failure of the service, or other than its description."""
    tried = [attempt(shed, operation, EXAMPLES, 1) for operation in operations()]
    assert [f"{one.operation}: {told}" for one in tried for told in one.faults.items()] == []
    assert all(one.requests for one in tried)
    assert sum(one.taken for one in tried) > len(tried) / 2
