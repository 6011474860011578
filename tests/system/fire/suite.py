"""Faults as tests: each is tried a few times; what was tried and kept stands in a table at the end of the run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.conftest import FIRE
from tests.system.fire.fault import attempt

if TYPE_CHECKING:
    import pytest

    from tests.system.fire.fault import Fault


def must_keep(fault: Fault, request: pytest.FixtureRequest) -> None:
    """Try it as often as its short form asks; fails with all that went wrong."""
    found = attempt(fault, fault.short)
    request.node.user_properties.append((FIRE, found.line()))
    assert not found.failures, "\n\n".join(found.failures)
