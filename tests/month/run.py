"""A simulated month through the monitor's own core, store and outbox: what rang, and whether it should have; prints Markdown.

    python -m tests.month.run

Twelve vessels and thirty probes in one room under a spring's observed weather; three cold nights, a pump that stops, two probes
that fall silent, a broker that is started anew. The exit code is 1 when a promise is broken. ``--days`` and ``--short`` for less.
"""

from __future__ import annotations

import json
import logging
import sys
import tempfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from monitor.core.dispatch import Kind
from monitor.core.engine import Engine
from monitor.core.log import Discard, Harvest, Start
from monitor.core.model import (
    DAY,
    MINUTE,
    SECOND,
    Acknowledge,
    AlarmState,
    BrokerLink,
    Effect,
    Event,
    Learned,
    Logged,
    Ms,
    PutBackInService,
    Refused,
    Sample,
    SlotClosed,
    TakeOutOfService,
    Tick,
    Transition,
)
from monitor.notify import Delivery, Outbox
from monitor.settings.loader import from_document
from monitor.store import Store
from simulator.feed import Feed
from simulator.world import World
from tests.logs import only
from tests.month import report
from tests.month.keeper import MENDED, REACTS, WAKES, WALKS, Keeper
from tests.month.scenario import LEAD_DAYS, Trouble, few_days, month, scenario

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from monitor.settings.settings import Settings
    from monitor.store import Letter
    from simulator.scenario.models import Batch, Scenario
    from simulator.world import Sample as Told

STRETCH_S: Final = 600
TICK_S: Final = 20
LEAD_TICK_S: Final = 60  # nothing is in the vessels yet
PHONE: Final = "phone"


def settings(plan: Scenario) -> Settings:
    """What the keeper of that room has configured."""
    document: dict[str, Any] = {
        "site": {"id": plan.site, "timezone": plan.timezone, "feeding_times": ["07:00", "12:30", "19:00"]},
        "broker": {"url": "mqtt://127.0.0.1:1883"},
        "vessel": [{"id": vessel.id, "litres": vessel.litres} for vessel in plan.vessel],
        "probe": [
            {
                "id": probe.id,
                "topic": probe.topic,
                "decoder": "json",
                "pointer": "/value",
                "time_pointer": "/time",
                "measures": probe.measures,
                "every": "1 min",
            }
            | ({} if probe.vessel is None else {"vessel": probe.vessel})
            for probe in plan.probe
        ],
        "lot": [{"id": tin.id, "strain": "great-salt-lake", "label_hatch_percent": 75} for tin in plan.tin],
        "channel": [{"id": PHONE, "url": "json://127.0.0.1:9/nowhere"}],
    }
    return from_document(document, file="the month's configuration", base=Path.cwd()).settings


@dataclass(frozen=True, slots=True)
class Pushed:
    """A letter that reached the phone."""

    time: Ms
    letter: Letter


def decoded(told: Told, start: Ms) -> Sample:
    """What the monitor makes of a probe's message; ``start`` is that of the scenario."""
    time = start + told.offset_s * SECOND
    if isinstance(told.value, str):
        return Sample(running=told.value == "on", time=time)
    return Sample(value=float(told.value), time=time)


class Month:
    """The world, the monitor and the keeper, moved together."""

    def __init__(self, folder: Path, days: int, troubles: tuple[Trouble, ...]) -> None:
        self.days, self.troubles = days, troubles
        self.plan = scenario(days, troubles)
        self.start: Ms = self.plan.start_ms
        self._feed = Feed(World(self.plan), -LEAD_DAYS * 86_400 + 60)
        self._broods = {brood.spec.id: brood for brood in self._feed.world.broods}
        begin = self.start - LEAD_DAYS * DAY + MINUTE
        self._store = Store.open(folder / "month.sqlite3", now=begin)
        configured = settings(self.plan)
        self.engine = Engine(configured.site_spec(), begin)
        self._outbox = Outbox(self._store, configured.manners(), configured.reaches())
        self._keeper = Keeper()
        self._harvests: set[str] = set()
        self._down: list[Told] = []
        self.pushed: list[Pushed] = []
        self.moves: list[Transition] = []
        self.now: Ms = begin
        for batch in self.plan.batch:
            self._keeper.plan(self.start + batch.at * SECOND, self._starting(batch))

    # -- the run

    def run(self, progress: Callable[[int], None] = lambda _: None) -> None:
        """To the end of the last day."""
        offset, end = -LEAD_DAYS * 86_400 + 60, self.days * 86_400
        self._step(BrokerLink(self.now, up=True))
        while offset < end:
            goal = min(offset + STRETCH_S, end)
            told = self._feed.until(goal)
            nth = 0
            step = TICK_S if offset >= 0 else LEAD_TICK_S
            for moment in range(offset + step, goal + 1, step):
                while nth < len(told) and told[nth].offset_s <= moment:
                    self._hear(told[nth])
                    nth += 1
                self._moment(moment)
            progress(goal - offset)
            offset = goal
        self._store.commit()
        self._store.close()

    def _moment(self, offset_s: int) -> None:
        self.now = self.start + offset_s * SECOND
        up = not self._broker_down(offset_s)
        if up is not self.engine.state.broker_up:
            self._step(BrokerLink(self.now, up=up))
            waited, self._down = self._down, []
            for one in waited if up else ():
                self._read(one, self.now)
        self._step(Tick(self.now))
        for act in self._keeper.due(self.now):
            act(self.now)
        self._outbox.arrange(self.now)
        if self._store.urgent or offset_s % 60 == 0:
            self._store.commit()
        self._outbox.pump(self.now, self)

    def _broker_down(self, offset_s: int) -> bool:
        return any(t.begins_s <= offset_s < t.ends_s for t in self.troubles if t.name.startswith("broker"))

    def _hear(self, told: Told) -> None:
        if self._broker_down(told.offset_s):
            self._down.append(told)
        else:
            self._read(told, self.start + told.offset_s * SECOND)

    def _read(self, told: Told, arrived: Ms) -> None:
        reading = self.engine.judge(told.probe.id, decoded(told, self.start), arrived)
        placed = self._store.add(reading)
        if placed is not None:
            self._step(placed)

    # -- what the service does with effects

    def _step(self, event: Event) -> None:
        self._carry(self.engine.step(event))

    def _carry(self, effects: Iterable[Effect]) -> None:
        for effect in effects:
            match effect:
                case Transition():
                    self.moves.append(effect)
                    self._outbox.post(effect, [PHONE], self.now)
                case SlotClosed():
                    self._store.put_slot(effect)
                case Learned():
                    self._store.keep(effect.key, json.dumps(effect.document))
                case Logged():
                    self._store.log(effect.entry)
                case _:
                    pass

    def deliver(self, letter: Letter) -> None:
        """The phone takes it at once."""
        self.pushed.append(Pushed(self.now, letter))
        if letter.kind is not Kind.OVER:
            self._keeper_acts()
        self._outbox.settle(Delivery(letter.id, ok=True), self.now)

    # -- what the keeper does

    def _starting(self, batch: Batch) -> Callable[[Ms], None]:
        litres = next(vessel.litres for vessel in self.plan.vessel if vessel.id == batch.vessel)

        def start(now: Ms) -> None:
            before = self.engine.state.vessels[batch.vessel].batch
            if before is not None:
                self._end(Discard(now, now, before.start.batch, "the vessel is needed"))
            self._log(Start(now, now, batch.id, batch.vessel, batch.tin, batch.cysts_g, litres, batch.salinity_g_l))

        return start

    def _log(self, entry: Start | Harvest | Discard) -> None:
        self._step(entry)
        self._store.log(entry)

    def _end(self, entry: Harvest | Discard) -> None:
        self._log(entry)
        self._broods[entry.batch].ends_s = float(self._feed.world.offset_s)

    def _keeper_acts(self) -> None:
        """Whoever has the phone in hand sees all that stands."""
        for alarm in self.engine.alarms():
            if alarm.state is not AlarmState.UNACKNOWLEDGED:
                continue
            if alarm.rule in ("ready", "best-ending", "past-best"):
                self._will_harvest(alarm.subject)
                continue
            urgent = alarm.priority.value == "high"
            when = self.now + WAKES if urgent else self._keeper.when_awake(self.now + REACTS)
            answer = self._setting_aside if alarm.rule == "no-news" else self._acknowledging
            self._keeper.plan(when, answer(alarm.id))

    def _acknowledging(self, alarm: str) -> Callable[[Ms], None]:
        def acknowledge(now: Ms) -> None:
            with suppress(Refused):
                self._step(Acknowledge(now, alarm, "keeper"))

        return acknowledge

    def _setting_aside(self, alarm: str) -> Callable[[Ms], None]:
        """Whoever has seen the bubbles takes the alarm out of service until the probe is mended."""

        def put_back(now: Ms) -> None:
            with suppress(Refused):
                self._step(PutBackInService(now, alarm, "keeper"))

        def set_aside(now: Ms) -> None:
            with suppress(Refused):
                self._step(TakeOutOfService(now, alarm, "keeper"))
            offset_s = (now - self.start) // SECOND
            ends_s = next(t.ends_s for t in self.troubles if t.begins_s <= offset_s < t.ends_s)
            self._keeper.plan(self.start + ends_s * SECOND + MENDED, put_back)

        return set_aside

    def _will_harvest(self, vessel: str) -> None:
        batch = self.engine.state.vessels[vessel].batch
        if batch is None or batch.start.batch in self._harvests:
            return
        self._harvests.add(batch.start.batch)
        name = batch.start.batch

        def harvest(now: Ms) -> None:
            brood = self._broods[name]
            there = self.engine.state.vessels[vessel].batch
            if there is not None and there.start.batch == name:
                self._end(Harvest(now, now, name, round(brood.population.hatched, 2)))

        self._keeper.plan(self._keeper.when_awake(self.now + WALKS), harvest)


@click.command()
@click.option("--days", type=click.IntRange(3), default=30, show_default=True)
@click.option("--pushes", is_flag=True, help="Print every push too.")
@click.option("--short", is_flag=True, help="Three days with one trouble of each kind.")
def main(days: int, *, pushes: bool, short: bool) -> None:
    """Run the month and print what rang."""
    only(logging.WARNING)
    with tempfile.TemporaryDirectory() as folder:
        this = Month(Path(folder), 3 if short else days, few_days() if short else month())
        with click.progressbar(length=(this.days + LEAD_DAYS) * 86_400, label="simulating", file=sys.stderr) as bar:
            this.run(bar.update)
    for one in this.pushed if pushes else ():
        click.echo(
            f"{report.local(one.time)} {one.letter.kind.value:8} {one.letter.title} | {', '.join(one.letter.alarms)}"
        )
    found = report.of(this)
    click.echo(found.markdown())
    sys.exit(1 if found.broken else 0)


if __name__ == "__main__":
    main()
