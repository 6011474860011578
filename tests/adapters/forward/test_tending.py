"""What becomes of a copier whose thread breaks down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from monitor.core.model import Reading
from monitor.forward import Forwarder
from monitor.forward import forwarder as module
from monitor.forward.posting import Server
from monitor.forward.sender import Pace
from monitor.service.clock import SystemClock

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.store.sinks import Forwarded
    from tests.adapters.forward.conftest import Catcher, Shed

    Patiently = Callable[[Callable[[], object], str], None]

T0 = 1_772_323_200_000
QUICK = Pace(every_s=0.02, settle_s=0.05, rest=0.0, least_rest_s=0.0)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_copier_that_broke_down_goes_on(
    shed: Shed, catcher: Catcher, patiently: Patiently, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says that it has ended, is started anew after a while, and sends what came in between."""
    monkeypatch.setattr(module, "RESTART_S", (0.05, 0.05))
    faults = [RuntimeError("made up for this test")]

    def moved(arrived: Forwarded) -> None:
        if faults:
            raise faults.pop()
        shed.moved.append(arrived)

    shed.store.add(Reading("ash-water", T0, 25_000, own_time=True))
    shed.commit()
    copiers = Forwarder([(Server("trends", catcher.url), QUICK)], shed.site, shed.store, SystemClock(), moved)
    copiers.start()
    try:
        patiently(lambda: copiers.document()["series_servers"][0]["state"] == "failing", "it does not break down")
        assert "started anew" in copiers.document()["series_servers"][0]["reason"]
        shed.store.add(Reading("ash-water", T0 + 60_000, 26_000, own_time=True))
        shed.commit()

        def goes_on() -> bool:
            copiers.tend()
            return any("value=26" in line for line in catcher.taken)

        patiently(goes_on, "it is not started anew")
        patiently(lambda: copiers.document()["series_servers"][0]["state"] == "current", "it is not current")
    finally:
        assert copiers.stop(5.0)


def test_a_copier_shows_life_also_while_it_has_nothing_to_send(
    shed: Shed, catcher: Catcher, patiently: Patiently
) -> None:
    """One that only waits for its next look is not stuck; one that has ended is not, either, but is started anew."""
    copiers = Forwarder(
        [(Server("trends", catcher.url), QUICK)], shed.site, shed.store, SystemClock(), shed.moved.append
    )
    copiers.start()
    try:
        patiently(lambda: copiers.document()["series_servers"][0]["state"] == "current", "it is not current")
        idle = copiers._senders[0].last_tick
        patiently(lambda: copiers._senders[0].last_tick > idle, "it shows no life while it waits")
        assert copiers.stuck(60.0) == ""
        assert copiers.stuck(-60.0) == "trends", "with less than no patience it is"
    finally:
        assert copiers.stop(5.0)
    assert copiers.stuck(-60.0) == ""
