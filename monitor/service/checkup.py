"""The check-up of a running service: what its thread of decisions knows, and, in another thread, what the machine tells."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.checkup_facts import Facts, Inside, ProbeFacts, ServerFacts
from monitor.core.checkup_table import document
from monitor.core.model import SECOND
from monitor.core.rules_site import disk_limit
from monitor.service.machine import measure, of_process
from monitor.service.versions import versions

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from monitor.core.engine import Engine
    from monitor.core.model import Ms
    from monitor.core.quality import ProbeState
    from monitor.service.clock import Clock
    from monitor.service.figures import Figures
    from monitor.service.ingest import Ingest
    from monitor.service.ledger import Ledger
    from monitor.store import Store


class Examiner:
    """Asked by the page; ``examine`` reads files of the machine, and holds up nobody."""

    def __init__(self, store_path: str, timezone: str) -> None:
        self._path = store_path
        self._timezone = timezone

    def examine(self, inside: Inside) -> dict[str, Any]:
        facts = Facts(versions(), of_process(measure(self._path)), inside, self._timezone)
        return document(facts, inside.now)


class Knowledge:
    """What the service knows of itself. Used by the thread of decisions, and quick: it only looks into memory."""

    def __init__(
        self, engine: Engine, ingest: Ingest, figures: Figures, ledger: Ledger, store: Store, clock: Clock
    ) -> None:
        self._engine = engine
        self._ingest = ingest
        self._figures = figures
        self._ledger = ledger
        self._store = store
        self._clock = clock

    def tell(self, broker_version: str, servers: Sequence[Mapping[str, Any]]) -> Inside:
        """``servers``: see ``Forwarder.document``."""
        state, now = self._engine.state, self._clock.now()
        host = state.house.host
        began = now if state.house.began is None else state.house.began
        return Inside(
            now=now,
            began=began,
            simulated=self._clock.speed is not None,
            clock_synced=None if host is None else host.clock_synced,
            early=self._ingest.early.held if self._ingest.early.holding else None,
            disk_limit=disk_limit(state.site.alarms, None if host is None else host.disk_size),
            broker_up=state.broker_up,
            broker_since=state.broker_since,
            broker_losses=self._figures.broker_losses,
            broker_version=broker_version,
            probes=tuple(self._probe(probe, now) for probe in state.probes.values()),
            channels=() if host is None else host.channels,
            tries=self._figures.tries(),
            servers=tuple(_server(one) for one in servers),
            unsaved_for=None if host is None else host.unsaved_for,
            unsaved_why="" if host is None else host.unsaved_why,
            lost_readings=self._store.lost,
            sizes=self._ledger.sizes,
            ends=self._ledger.ends,
            ends_since=self._ledger.since,
            backups=None if host is None else host.backups,
        )

    def _probe(self, probe: ProbeState, now: Ms) -> ProbeFacts:
        count = self._ingest.counters.snapshot().get(probe.spec.id)
        return ProbeFacts(
            id=probe.spec.id,
            every=probe.spec.every,
            gap=self._ingest.rhythm.gap(probe.spec.id),
            age=probe.age(now),
            fresh=probe.fresh(now),
            suspect=probe.doubts.share,
            messages=0 if count is None else count.messages,
            unreadable=0 if count is None else count.unreadable,
            reason=probe.last_reason,
        )


def _server(told: Mapping[str, Any]) -> ServerFacts:
    return ServerFacts(told["id"], told["state"], told["lag_s"] * SECOND, told["reason"], told["todo"], told["refused"])
