"""The real service with a real time-series server beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from tests.series_store import SeriesStore
from tests.system.daemon import configuration, send, table, until, water
from tests.system.quick import QuickDaemon

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import Mosquitto

pytestmark = [pytest.mark.system, pytest.mark.broker]


def test_what_is_read_is_on_the_server_and_the_bench_says_how_it_fares(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Readings and alarms reach a server that comes up late; its state is in the bench, and the service ends as told."""
    server = SeriesStore(tmp_path / "series")
    copied = table("series_server", id="trends", url=server.url, every="1 s")
    daemon = QuickDaemon(tmp_path / "daemon", configuration(mosquitto.url, water("ash"), copied))

    def state() -> dict[str, Any]:
        found: dict[str, Any] = daemon.bench()["series_servers"][0]
        return found

    try:
        daemon.start()
        until(daemon.connected)
        send(mosquitto, [("shed/ash/water", "24.1")])
        daemon.until_water(24.1)  # of one millisecond the server would keep no order
        send(mosquitto, [("shed/ash/water", "24.2")])
        until(lambda: daemon.logged("series.failing"), "nobody says that the server is away")
        server.start()
        until(lambda: daemon.logged("series.recovered"), "it does not get through")
        until(lambda: len(server.points('{__name__="reading_value"}')) == 2, "not all readings are there")
        (labels, _, first), (_, _, second) = server.points('{__name__="reading_value"}')
        assert (labels["probe"], labels["vessel"], labels["site"]) == ("ash-water", "ash", "shed")
        assert [first, second] == [24.1, 24.2]
        until(lambda: state()["state"] == "current", "the bench does not know")
        assert (state()["id"], state()["lag_s"], state()["reason"]) == ("trends", 0, "")
        assert len(daemon.logged("series.failing")) == len(daemon.logged("series.recovered")) == 1
        assert daemon.terminate(10.0) == 0
    finally:
        daemon.tear_down()
        server.kill()
