"""What is told without being asked: the view for the page, and estimates and alarms kept at the broker."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

from monitor.core.bench import alarm_document, bench
from monitor.core.model import MINUTE
from monitor.core.replay import estimate_document
from monitor.core.tins_held import known_lots, lot_spec
from monitor.service.turns import AT_ONCE, TOGETHER_S, Turns

if TYPE_CHECKING:
    from collections.abc import Callable

    from monitor.core.engine import Engine
    from monitor.core.model import Alarm, Estimate, Ms
    from monitor.core.state import Batch, VesselState
    from monitor.service.clock import Clock
    from monitor.service.desk import ServiceDesk
    from monitor.service.rooms import Announcer

STILL_C: Final = 0.05  # water that moved by less moves the hatch by seconds: that is no news, and time brings it along
FOLLOW_EVERY_S: Final = 1.0  # so often it is looked which batches there are
BUDGET_S: Final = 0.05  # reckoning longer than this at a stretch would hold up readings
AT_A_TIME: Final = 8  # nor more batches than these
VIEW_EVERY_S: Final = 0.3
VIEW_EACH_S: Final = (
    0.004  # with many vessels so much longer for each, since making a view is linear: 1000 have a new one every 4 s
)
VIEW_AT_LEAST_S: Final = 10.0
VIEW_UNWATCHED_S: Final = 10.0  # while no page is open readings alone make none sooner: most of the idle load was views
NOTED_EVERY: Final[Ms] = 15 * MINUTE
NOTED_STEP: Final[Ms] = 10 * MINUTE
KEPT_EVERY_S: Final = 5.0  # an estimate at the broker is renewed at most this often, and at once for a new stage


class Teller:
    """Used by the thread of decisions. Seconds are of the steady clock."""

    def __init__(
        self,
        engine: Engine,
        desk: ServiceDesk,
        clock: Clock,
        publish: Callable[[str, str], None],
        house: Callable[[], dict[str, Any]] = dict,
        tell: Callable[[str, Ms, dict[str, Any]], object] = lambda *_: None,
        figures: Callable[[], dict[str, Any]] = dict,
        announcer: Announcer | None = None,
        waiting: Callable[[], bool] = lambda: False,
    ) -> None:
        self._waiting = waiting  # whether something has come in that is to be decided
        self._announcer = announcer
        self._figures = figures
        self._tell = tell
        self._noted: dict[str, tuple[Ms, str, float | None]] = {}  # batch: when, stage, ready as it was kept last
        self._house = house
        self._engine = engine
        self._desk = desk
        self._clock = clock
        self._publish = publish
        self._estimates: dict[str, Estimate] = {}
        self._vessels: dict[str, str] = {}  # of the estimates
        self._rests_on: dict[str, dict[str, float]] = {}  # batch: what each water probe told when it was reckoned, C
        self._turns = Turns()
        self._followed = -FOLLOW_EVERY_S
        self._kept: dict[str, tuple[float, str, str]] = {}  # vessel: when, stage, document
        self._view_at = -VIEW_AT_LEAST_S
        self._view_due = True
        self._hurry = True  # what is new is more than readings: somebody did something, or an alarm
        self._stale_at = math.inf
        self._view_every = max(VIEW_EVERY_S, VIEW_EACH_S * len(engine.state.vessels))

    def touch_vessel(self, vessel: str | None, *, read: bool = False) -> None:
        """Something was entered about a vessel, or only ``read``."""
        self._view_due = True
        self._hurry |= not read
        state = self._engine.state.vessels.get(vessel or "")
        if state is None or state.batch is None:
            self._followed = -FOLLOW_EVERY_S
        else:
            self._turns.news(state.batch.start.batch, not_before=self._worth_it_from(state, state.batch))

    def _worth_it_from(self, vessel: VesselState, batch: Batch) -> float:
        """From when on what was heard is worth an estimate; never, when the newest rests on it already."""
        known, probe = self._estimates.get(batch.start.batch), vessel.newest_water_probe()
        if known is None or known.water_c is None or probe is None or probe.newest is None:
            return AT_ONCE
        if batch.belief is None or batch.belief.progress is None:  # something came late
            return AT_ONCE
        if vessel.air_word(self._clock.now()) != known.air:
            return AT_ONCE
        # Two probes in one vessel differ all the time: only what the same one told before says whether the water moved.
        before = self._rests_on[batch.start.batch].get(probe.spec.id, math.inf)
        return self._clock.steady() + TOGETHER_S if abs(probe.newest.value - before) >= STILL_C else math.inf

    def touch_batch(self, batch: str) -> None:
        """New evidence: reckon at once."""
        self._turns.news(batch, at_once=True)
        self._followed = -FOLLOW_EVERY_S
        self._view_due = self._hurry = True

    def alarm(self, alarm: Alarm) -> None:
        """Keep an alarm as it stands at the broker."""
        self._view_due = self._hurry = True
        vessel = self._engine.state.vessels.get(alarm.subject)
        if vessel is not None and vessel.batch is not None:  # the batch must not be told as it was before
            self._turns.news(vessel.batch.start.batch)
        site = self._engine.state.site.id
        self._publish(f"swimup/{site}/alarm/{alarm.id}", json.dumps(alarm_document(alarm), ensure_ascii=False))

    def run(self, *, at_once: bool = False) -> None:
        """Reckon what is due, within the budget, and publish a view when there is something new."""
        began = self._clock.steady()
        self._reckon(began)
        now = self._clock.steady()
        wanted = self._view_due and (at_once or now >= self._view_next())
        if wanted or now >= self._view_over() or now >= self._announce_at():
            self._show(now)

    def look(self) -> None:
        """Somebody looks once: show what is new, unless the newest view is hardly older."""
        self._hurry = True
        self.run()

    def due(self) -> float:
        """When ``run`` has something to do, if nothing comes before; so that news waits for no tick."""
        when = self._view_next() if self._view_due else self._view_over()
        return min(when, self._turns.next(), self._announce_at())

    def _view_next(self) -> float:
        """When there may be a new view, if there is news."""
        soon = self._hurry or self._desk.watched
        return self._view_at + (self._view_every if soon else max(self._view_every, VIEW_UNWATCHED_S))

    def _view_over(self) -> float:
        """When the view is too old, or tells as fresh what no longer is: silence is no news that would renew it."""
        return self._view_at + min(VIEW_AT_LEAST_S, max(self._view_every, self._stale_at - self._view_at))

    def _announce_at(self) -> float:
        return math.inf if self._announcer is None else self._announcer.due()

    def _reckon(self, began: float) -> None:
        if began - self._followed >= FOLLOW_EVERY_S:
            self._followed = began
            for gone in self._turns.follow(self._engine.open_batches()):
                self._forget(gone)
        for _ in range(AT_A_TIME):
            batch = self._turns.take(began)
            if batch is None:
                return
            known = self._engine.state.batches.get(batch)
            if known is None or known.ended is not None:  # since it was last looked which there are
                self._turns.drop(batch)
                self._forget(batch)
                continue
            self._estimates[batch] = self._engine.estimate(batch, self._clock.now())
            self._vessels[batch] = known.start.vessel
            probes = self._engine.state.vessels[known.start.vessel].water_probes
            self._rests_on[batch] = {probe.spec.id: probe.newest.value for probe in probes if probe.newest is not None}
            self._turns.made(batch, began)
            self._view_due = True
            self._note(self._estimates[batch])
            self._keep(batch, began)
            if self._waiting() or self._clock.steady() - began > BUDGET_S:
                return  # decisions first; the next batch has its turn right after them

    def _forget(self, batch: str) -> None:
        if self._estimates.pop(batch, None) is None:
            return
        self._noted.pop(batch, None)
        self._rests_on.pop(batch, None)
        vessel = self._vessels.pop(batch)  # whose start was undone the engine knows no more
        self._kept.pop(vessel, None)
        ended = {"time": None, "batch": batch, "stage": "ended"}
        self._publish(self._topic(vessel), json.dumps(ended))
        self._view_due = self._hurry = True

    def _note(self, estimate: Estimate) -> None:
        """Keep it for those who ask later how good it was: now and then, and when it says something new."""
        if self._engine.state.clock_unset:
            return  # it would be kept under a false time
        when, stage, ready = self._noted.get(estimate.batch, (estimate.time - NOTED_EVERY, "", None))
        mid = estimate.ready.mid
        moved = (mid is None) != (ready is None) or abs((mid or 0) - (ready or 0)) > NOTED_STEP
        if estimate.time - when >= NOTED_EVERY or stage != estimate.stage.value or moved:
            self._noted[estimate.batch] = (estimate.time, estimate.stage.value, mid)
            self._tell(estimate.batch, estimate.time, estimate_document(estimate))

    def _topic(self, vessel: str) -> str:
        return f"swimup/{self._engine.state.site.id}/vessel/{vessel}/eta"

    def _keep(self, batch: str, now: float) -> None:
        estimate = self._estimates[batch]
        vessel = self._engine.state.batches[batch].start.vessel
        when, stage, before = self._kept.get(vessel, (-KEPT_EVERY_S, "", ""))
        if now - when < KEPT_EVERY_S and stage == estimate.stage.value:
            return
        document: dict[str, Any] = estimate_document(estimate)
        document["alarms"] = self._engine.alarm_ids_of(batch)
        if self._clock.speed is not None:
            document["simulated"] = True
        text = json.dumps(document)
        if text != before:
            self._kept[vessel] = (now, estimate.stage.value, text)
            self._publish(self._topic(vessel), text)

    def _show(self, now: float) -> None:
        time = self._clock.now()
        view = bench(self._engine, self._estimates, time, sim_speed=self._clock.speed)
        state = self._engine.state
        lasting = [lasts for probe in state.probes.values() if (lasts := probe.fresh_for(time)) is not None]
        self._stale_at = now + (min(lasting) + 1) / 1000 / (self._clock.speed or 1.0) if lasting else math.inf
        lots = [batch.start.lot for batch in reversed(state.batches.values())]
        specs = [lot_spec(state, lot) for lot in dict.fromkeys([*lots, *known_lots(state)])]
        view["lots"] = [{"id": lot.id, "strain": lot.strain, "cysts_per_g": lot.cysts_per_g} for lot in specs]
        self._desk.publish(view | self._house(), self._figures())
        if self._announcer is not None:
            self._announcer.show(view)
        self._view_at, self._view_due, self._hurry = now, False, False
