"""The API of the real process: what it answers is as described, and true of what was sent, done and kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import httpx
import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.adapters.web.described import DOCUMENT, faults, misfits, named
from tests.adapters.web.test_events import events
from tests.system.daemon import air, configuration, probe, send, table, until, water

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.conftest import Mosquitto
    from tests.system.daemon import Daemon, Phone

pytestmark = [pytest.mark.system, pytest.mark.broker]


@pytest.fixture
def daemon(mosquitto: Mosquitto, daemons: Callable[[str], Daemon], phone: Phone) -> Daemon:
    """One vessel of two is in use and its air has stopped; nauplii lie in the cold, one message was nonsense."""
    made = daemons(
        configuration(
            mosquitto.url,
            water("ash"),
            air("ash"),
            probe("shed-room", "shed/room", measures="room"),
            probe("fridge-cold", "shed/fridge/cold", measures="store", store="fridge"),
            table("cold_store", id="fridge"),
            vessels=("ash", "birch"),
            phone=phone.url,
            alarms='air_on_delay = "1 s"',
        )
    )
    made.start()
    until(made.connected)
    send(mosquitto, [("shed/ash/water", f"{24 + n / 10}") for n in range(6)], pause_s=0.01)
    send(
        mosquitto,
        [
            ("shed/ash/water", "24.5 what"),
            ("shed/ash/air", "on"),
            ("shed/room", "17.5"),
            ("shed/fridge/cold", "4.5"),
        ],
    )
    made.until_water(24.5)
    return made


@pytest.fixture
def client(daemon: Daemon) -> Iterator[httpx.Client]:
    token = daemon.store.with_name("cli.token").read_text().strip()
    with httpx.Client(
        base_url=daemon.url, headers={"Authorization": f"Bearer {token}"}, trust_env=False, timeout=20
    ) as client:
        yield client


def act(client: httpx.Client, place: str, body: dict[str, Any], **names: str) -> None:
    """What is done is answered as described."""
    answer = client.post(f"/api/v1{place.format(**names)}", json=body)
    assert (answer.is_success, faults(answer, place, "post")) == (True, []), answer.text


def metrics(client: httpx.Client) -> dict[tuple[str, ...], float]:
    """By name and the values of its labels, in the order of their names."""
    text = client.get("/metrics").text
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }


def test_every_answer_of_the_real_service_is_as_described_and_true(
    daemon: Daemon, client: httpx.Client, mosquitto: Mosquitto, phone: Phone
) -> None:
    """A shed in use, seen only through the API: each address answers as its description says, and none contradicts another."""
    act(client, "/batches", {"vessel": "ash", "cysts_g": 2, "batch": "one"})
    act(client, "/batches/{batch}/seen", {"what": "none"}, batch="one")
    act(client, "/stores/{store}/chill", {"nauplii": 90_000, "litres": 0.5}, store="fridge")
    act(client, "/batches/{batch}/seen", {"what": "most"}, batch="one")
    slip = client.get("/api/v1/bench").json()["undoable"][0]
    act(client, "/undo", {name: slip[name] for name in ("kind", "subject", "at")})
    act(client, "/vessels/{vessel}/work", {"minutes": 5}, vessel="birch")
    act(client, "/vessels/{vessel}/settling", {"minutes": 5}, vessel="birch")
    act(client, "/channels/test", {})
    with client.stream("GET", "/api/v1/events") as answer:
        stream = events(answer)
        assert next(stream)[2]["whole"] is True
        send(mosquitto, [("shed/ash/air", "off")])
        told = next(data for kind, _, data in stream if kind == "alarm" and data["alarm"]["rule"] == "air-stopped")
    assert misfits(told, named("PastTransition")) == []
    alarm = told["alarm"]["id"]
    until(lambda: daemon.batch()["stage"], "no estimate")
    until(lambda: phone.about("Air stopped"), "the phone is not told")
    act(client, "/alarms/{alarm}/acknowledge", {"by": "ann"}, alarm=alarm)
    until(lambda: client.get("/api/v1/told").json()["items"], "no estimate was kept")
    until(lambda: client.get("/api/v1/readings?probe=ash-air").json()["items"][-1]["value"] == "stopped", "not kept")

    names = {"{alarm}": alarm, "{probe}": "ash-water", "{batch}": "one"}
    asked = 0
    for place, methods in DOCUMENT["paths"].items():
        if "get" not in methods or place in ("/events", "/metrics"):
            continue
        path = place
        for name, value in names.items():
            path = path.replace(name, value)
        answer = client.get(f"/api/v1{path}")
        assert (place, answer.status_code) == (place, 404 if place == "/push/key" else 200)
        assert (place, faults(answer, place)) == (place, [])
        asked += 1
    assert asked >= 15

    readings = client.get("/api/v1/readings?probe=ash-water").json()["items"]
    assert [one["value"] for one in readings] == [24.0, 24.1, 24.2, 24.3, 24.4, 24.5]
    points = client.get("/api/v1/probes/ash-water/trend").json()["points"]
    assert sum(point["count"] for point in points) == 6
    assert max(point["high"] for point in points if point["count"]) == 24.5
    log = client.get("/api/v1/log").json()["items"]
    assert [one["fields"]["what"] for one in log if one["undone"]] == ["most"]
    assert [one["kind"] for one in log if not one["undone"]] == [
        "start",
        "seen",
        "chill",
        "undo",
        "work",
        "settle",
    ]
    (batch,) = client.get("/api/v1/batches").json()["items"]
    assert (batch["id"], batch["ended"]) == ("one", None)
    passed = client.get("/api/v1/transitions").json()["items"]
    assert told["id"] in {one["id"] for one in passed if one["alarm"]["id"] == alarm}
    assert [one["after"] for one in passed if one["alarm"]["id"] == alarm][-1] == "acknowledged"


def test_what_is_gathered_of_the_real_service_is_what_it_did(
    daemon: Daemon, client: httpx.Client, mosquitto: Mosquitto, phone: Phone
) -> None:
    """Messages, nonsense among them, commits, letters and the size of the store, counted where the work is done."""
    client.post("/api/v1/batches", json={"vessel": "ash", "cysts_g": 2}).raise_for_status()
    send(mosquitto, [("shed/ash/air", "off")])
    until(lambda: phone.about("Air stopped"), "the phone is not told")
    send(mosquitto, [("shed/room", "17.6")])  # so that there is a view after it
    room = ("swimup_temperature_celsius", "room", "shed-room", "", "")
    found = until(
        lambda: (now := metrics(client))["swimup_letter_tries_total", "phone", "ok"] and now[room] == 17.6 and now,
        "not counted",
    )
    assert found["swimup_probe_messages_total", "ash-water"] == 7
    assert found["swimup_probe_samples_total", "ash-water"] == 6
    assert found["swimup_probe_unreadable_total", "ash-water"] == 1
    alarm = daemon.alarm("air-stopped:ash") or {}
    assert found["swimup_alarms", alarm["priority"], "unacknowledged"] == 1
    assert found["swimup_letter_tries_total", "phone", "failed"] == 0
    assert found["swimup_store_commits_total",] >= 2
    assert found["swimup_store_commits_failed_total",] == 0
    assert found["swimup_store_lost_readings_total",] == 0
    sides = (daemon.store, daemon.store.with_name(f"{daemon.store.name}-wal"))
    assert 4096 <= found["swimup_store_size_bytes",] <= sum(side.stat().st_size for side in sides)
