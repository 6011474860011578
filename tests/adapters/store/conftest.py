from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Alarm, AlarmState, Priority, Transition
from monitor.store import Store

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

T0 = 1_770_000_000_000


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "store" / "swimup.db"


@pytest.fixture
def store(path: Path) -> Iterator[Store]:
    with Store.open(path) as store:
        yield store


@pytest.fixture
def transition() -> Callable[..., Transition]:
    """Make a transition of one alarm: ``transition(after, before=, at=, vessel=, notify=)``."""

    def make(
        after: AlarmState = AlarmState.UNACKNOWLEDGED,
        *,
        before: AlarmState = AlarmState.NORMAL,
        at: int = T0,
        vessel: str = "birch",
        notify: bool = True,
    ) -> Transition:
        alarm = Alarm(
            id=f"air-stopped:{vessel}",
            rule="air-stopped",
            subject=vessel,
            priority=Priority.HIGH,
            state=after,
            since=at - 60_000,
            changed=at,
            title=f"Air stopped in {vessel}",
            text="Since 05:10; the nauplii have about 40 minutes.",
            todo="Look at the pump and its plug.",
            reason="held for 60 s",
        )
        return Transition(at, alarm, before, notify, "held for 60 s")

    return make
