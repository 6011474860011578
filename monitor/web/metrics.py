"""What a monitoring system gathers, in OpenMetrics 1.0 text. Made anew from the newest view at each request.

Imported at the first request only: a shed without such a system should not pay for it.
"""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any, Final

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import (
    CounterMetricFamily,
    GaugeMetricFamily,
    InfoMetricFamily,
    StateSetMetricFamily,
)
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector

from monitor.core.model import AlarmState, Priority, Stage
from monitor.web.when import rfc3339

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from prometheus_client.metrics_core import Metric

    Document = Mapping[str, Any]

CONTENT_TYPE: Final = CONTENT_TYPE_LATEST
AIRS: Final = ("running", "weak", "stopped", "unknown")
BOUNDS: Final = ("lo", "mid", "hi")
_BATCH: Final = ("batch", "vessel", "lot")
_PROBE: Final = ("probe", "measures", "vessel", "store")


def exposition(bench: Document, figures: Document) -> bytes:
    """``bench`` as it is published; ``figures``: what the service counts, see ``monitor.service.figures``."""
    registry = CollectorRegistry()
    registry.register(_Bench(bench, figures))
    ProcessCollector(registry=registry)
    made: bytes = generate_latest(registry)  # type: ignore[no-untyped-call]
    return made


class _Bench(Collector):
    def __init__(self, bench: Document, figures: Document) -> None:
        self._bench, self._figures = bench, figures

    def describe(self) -> list[Metric]:
        """Nothing: there is one collector of these names, and it needs no asking beforehand."""
        return []

    def collect(self) -> Iterator[Metric]:
        yield InfoMetricFamily("swimup", "The service.", value={"site": self._bench["site"], "version": _version()})
        yield from _house(self._bench, self._figures)
        yield from _probes(self._bench.get("probes") or [])
        yield from _batches(self._bench)
        yield from _stores(self._bench)
        yield _alarms(self._bench["alarms"])
        yield from _counts(self._figures)


def _version() -> str:
    try:
        return version("swimup")
    except PackageNotFoundError:
        return "unknown"


def _house(bench: Document, figures: Document) -> Iterator[Metric]:
    simulated = bench.get("simulated")
    yield _one("swimup_broker_connected", "Whether the broker is reached.", bench["broker"]["connected"])
    yield _one("swimup_simulated", "Whether time is simulated, as in the demo.", simulated is not None)
    yield _one("swimup_bench_time_seconds", "The bench's own time, since 1970.", bench["now_ms"] / 1000, "seconds")
    names = (
        ("queue_inputs", "Inputs that wait for a decision.", ""),
        ("store_pending", "Readings and other things that wait to be committed.", ""),
        ("store_size_bytes", "The file of the store, with its log.", "bytes"),
    )
    for name, text, unit in names:
        if figures.get(name) is not None:
            yield _one(f"swimup_{name}", text, figures[name], unit)


def _one(name: str, text: str, value: float, unit: str = "") -> Metric:
    return GaugeMetricFamily(name, text, value=float(value), unit=unit)


def _probes(probes: list[Document]) -> Iterator[Metric]:
    warmth = GaugeMetricFamily(
        "swimup_temperature_celsius", "The newest usable temperature.", labels=_PROBE, unit="celsius"
    )
    air = StateSetMetricFamily("swimup_air", "What an air probe said last.", labels=_PROBE)
    age = GaugeMetricFamily(
        "swimup_reading_age_seconds", "How old the newest usable reading is.", labels=_PROBE, unit="seconds"
    )
    fresh = GaugeMetricFamily(
        "swimup_probe_fresh", "Whether a probe told in time; 0 also when it never did.", labels=_PROBE
    )
    for probe in probes:
        labels = [probe["id"], probe["measures"], probe["vessel"] or "", probe["store"] or ""]
        newest = probe["newest"]
        fresh.add_metric(labels, float(newest is not None and newest["fresh"]))
        if newest is None:
            continue
        age.add_metric(labels, float(newest["age_s"]))
        if probe["measures"] == "air":
            air.add_metric(labels, {word: word == newest["value"] for word in AIRS})
        else:
            warmth.add_metric(labels, float(newest["value"]))
    yield from (warmth, air, age, fresh)


def _batches(bench: Document) -> Iterator[Metric]:
    hatched = GaugeMetricFamily(
        "swimup_batch_hatched_ratio",
        "Hatched share of all cysts: median and the ends of its central 80 % range.",
        labels=(*_BATCH, "bound"),
        unit="ratio",
    )
    ready = GaugeMetricFamily(
        "swimup_batch_ready_in_seconds",
        "Until it is ready, negative when that is past; an end that is not in sight is missing.",
        labels=(*_BATCH, "bound"),
        unit="seconds",
    )
    stage = StateSetMetricFamily("swimup_batch_stage", "The stage of an open batch.", labels=_BATCH)
    age = GaugeMetricFamily("swimup_batch_age_seconds", "Since an open batch was begun.", labels=_BATCH, unit="seconds")
    for vessel in bench["vessels"]:
        batch = vessel["batch"]
        if batch is None:
            continue
        labels = [batch["id"], vessel["id"], batch["lot"]]
        for bound in BOUNDS:
            if batch["hatched"][bound] is not None:
                hatched.add_metric([*labels, bound], batch["hatched"][bound])
            if batch["ready"][bound] is not None:
                ready.add_metric([*labels, bound], _until(batch["ready"][bound], bench))
        stage.add_metric(labels, {one.value: one.value == batch["stage"] for one in Stage})
        age.add_metric(labels, -_until(batch["start"], bench))
    yield from (hatched, ready, stage, age)


def _until(instant: str, bench: Document) -> float:
    return float(rfc3339(instant) - bench["now_ms"]) / 1000


def _stores(bench: Document) -> Iterator[Metric]:
    held = GaugeMetricFamily(
        "swimup_chilled_nauplii", "How many are kept cold; 0 when a store is empty.", labels=("store",)
    )
    good = GaugeMetricFamily(
        "swimup_chilled_good_for_seconds",
        "How long they will be good.",
        labels=("store", "bound"),
        unit="seconds",
    )
    for store in bench.get("stores") or []:
        content = store["content"]
        held.add_metric([store["id"]], 0.0 if content is None else float(content["nauplii"]))
        for bound in BOUNDS if content is not None else ():
            if content["good_until"][bound] is not None:
                good.add_metric([store["id"], bound], _until(content["good_until"][bound], bench))
    yield from (held, good)


def _alarms(alarms: list[Document]) -> Metric:
    family = GaugeMetricFamily("swimup_alarms", "Alarms that are not normal.", labels=("priority", "state"))
    for priority in Priority:
        for state in AlarmState:
            if state is not AlarmState.NORMAL:
                mine = [one for one in alarms if (one["priority"], one["state"]) == (priority.value, state.value)]
                family.add_metric([priority.value, state.value], float(len(mine)))
    return family


_TOTALS: Final = (
    ("store_commits", "Commits of the store."),
    ("store_commits_failed", "Commits that the disk did not take."),
    ("store_lost_readings", "Readings that gave way because the disk took none."),
    ("broker_losses", "Times the link to the broker broke."),
)
_PER_PROBE: Final = (
    ("messages", "Messages that came for a probe."),
    ("samples", "Values that were read from them."),
    ("unreadable", "Messages that could not be read."),
)


def _counts(figures: Document) -> Iterator[Metric]:
    """Totals since the service started."""
    for name, text in _TOTALS:
        if name in figures:
            yield CounterMetricFamily(f"swimup_{name}", text, value=figures[name])
    probes: Document = figures.get("probes") or {}
    for name, text in _PER_PROBE:
        family = CounterMetricFamily(f"swimup_probe_{name}", text, labels=("probe",))
        for probe, counts in probes.items():
            family.add_metric([probe], counts[name])
        yield family
    tries = CounterMetricFamily("swimup_letter_tries", "Tries to deliver a letter.", labels=("channel", "result"))
    waiting = GaugeMetricFamily(
        "swimup_letters_waiting", "Letters that a channel has yet to take.", labels=("channel",)
    )
    for channel, told in (figures.get("channels") or {}).items():
        for result in ("ok", "failed"):
            tries.add_metric([channel, result], told[result])
        waiting.add_metric([channel], told["waiting"])
    yield from (tries, waiting)
