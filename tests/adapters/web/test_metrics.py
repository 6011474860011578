from __future__ import annotations

from typing import TYPE_CHECKING, Any

from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.adapters.web.kept import whole
from tests.adapters.web.memory_desk import MemoryDesk, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.adapters.web.conftest import Served

FIGURES: dict[str, Any] = {
    "queue_inputs": 3,
    "store_pending": 7,
    "store_size_bytes": 123_456,
    "store_commits": 40,
    "store_commits_failed": 1,
    "store_lost_readings": 2,
    "probes": {"ash-water": {"messages": 10, "samples": 9, "unreadable": 1}},
    "channels": {"phone": {"ok": 5, "failed": 2, "waiting": 1}},
}


def gathered(served: Served) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    """Every sample by its name and labels, as the standard's own parser reads it."""
    with served.client() as client:
        answer = client.get("/metrics")
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    assert answer.text.endswith("# EOF\n")
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.text)  # type: ignore[no-untyped-call]
        for sample in family.samples
    }


def test_a_monitoring_system_gathers_the_bench_and_the_work_of_the_service(serve: Callable[..., Served]) -> None:
    """Readings and their ages, air, when batches are ready, alarms, commits, losses and letters, each with its unit."""
    desk = MemoryDesk(whole())
    desk.counted = FIGURES
    found = gathered(serve(desk))

    def value(name: str, **labels: str) -> float:
        return found[name, tuple(sorted(labels.items()))]

    ash = {"probe": "ash-water", "measures": "water", "vessel": "ash", "store": ""}
    assert value("swimup_temperature_celsius", **ash) == 24.1
    assert value("swimup_reading_age_seconds", **ash) == 12
    assert value("swimup_probe_fresh", **ash) == 1
    birch = {"probe": "birch-air", "measures": "air", "vessel": "birch", "store": ""}
    assert value("swimup_air", **birch, swimup_air="stopped") == 1
    assert value("swimup_air", **birch, swimup_air="running") == 0
    assert value("swimup_probe_fresh", probe="cedar-air", measures="air", vessel="cedar", store="") == 0
    batch = {"batch": "ash-2026-03-01", "vessel": "ash", "lot": "tin-7"}
    assert value("swimup_batch_ready_in_seconds", **batch, bound="mid") == 4.6 * 3600
    assert value("swimup_batch_hatched_ratio", **batch, bound="hi") == 0.45
    assert value("swimup_batch_stage", **batch, swimup_batch_stage="hatching") == 1
    assert value("swimup_batch_age_seconds", **batch) == 15 * 3600
    assert value("swimup_alarms", priority="high", state="unacknowledged") == 1
    assert value("swimup_alarms", priority="high", state="shelved") == 0
    assert value("swimup_chilled_nauplii", store="fridge") == 200_000
    assert value("swimup_broker_connected") == 1
    assert value("swimup_store_commits_total") == 40
    assert value("swimup_store_lost_readings_total") == 2
    assert value("swimup_store_size_bytes") == 123_456
    assert value("swimup_queue_inputs") == 3
    assert value("swimup_probe_unreadable_total", probe="ash-water") == 1
    assert value("swimup_letter_tries_total", channel="phone", result="failed") == 2
    assert value("swimup_letters_waiting", channel="phone") == 1
    assert value("process_resident_memory_bytes") > 1e6


def test_an_empty_bench_can_be_gathered_too(serve: Callable[..., Served]) -> None:
    """A service that has just begun answers before it knows anything."""
    bench = bad_night()
    for vessel in bench["vessels"]:
        vessel["batch"] = vessel["water"] = vessel["air"] = None
    bench["alarms"] = []
    found = gathered(serve(MemoryDesk(bench)))
    assert found["swimup_alarms", (("priority", "high"), ("state", "unacknowledged"))] == 0
    assert not [name for name, _ in found if name.startswith("swimup_batch")]


def test_labels_with_any_letters_come_through(serve: Callable[..., Served]) -> None:
    """A name with quotes, a backslash or a line's end breaks nothing."""
    bench = whole()
    odd = 'a"b\\c\nd é'
    bench["vessels"][0]["batch"]["id"] = odd
    found = gathered(serve(MemoryDesk(bench)))
    assert ("swimup_batch_age_seconds", (("batch", odd), ("lot", "tin-7"), ("vessel", "ash"))) in found


def test_with_a_password_the_numbers_are_for_those_with_the_token(serve: Callable[..., Served], tmp_path: Any) -> None:
    """They tell as much as the bench, so they are guarded alike."""
    from monitor.web.access import write_password

    write_password(tmp_path / "hash", "correct horse battery")
    served = serve(password_hash_file=tmp_path / "hash")
    with served.client(token=False) as client:
        answer = client.get("/metrics")
    assert (answer.status_code, answer.headers["content-type"]) == (401, "application/problem+json")
    assert gathered(served)
