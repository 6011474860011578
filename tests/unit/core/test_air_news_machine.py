"""Whatever befalls a shed and whatever its keeper does: swimming animals whose air nobody hears of are told of."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from monitor.core.log import Harvest, Seen, Sight, Work
from monitor.core.model import (
    MINUTE,
    SECOND,
    Acknowledge,
    Air,
    AlarmState,
    BrokerLink,
    Ms,
    Refused,
    Shelve,
    Stage,
)
from monitor.core.rules_air import minutes_left
from tests.unit.core.worlds import Shed, site

NO_NEWS, STOPPED = "no-news:ash", "air-stopped:ash"
SILENT: Ms = 4 * MINUTE  # three periods and a minute
LIMIT: Ms = SILENT + MINUTE  # air that stops in the last moment before has its own minute, begun later
NEARLY_OVER_MIN = 2.0  # work holds nothing back from here on
SELDOM = st.sampled_from([False, False, False, True])
THEN = st.integers(0, 15)  # minutes that pass before anything else happens: without them few walks get anywhere
SWIMMING = (Stage.HATCHING, Stage.READY, Stage.PAST)


class AirNews(RuleBasedStateMachine):
    """A keeper, a power line and a link; the world keeps its own account of what was heard of ash's air."""

    def __init__(self) -> None:
        super().__init__()
        self.shed = Shed(site("ash", "birch"))
        self.air: Air | None = Air.RUNNING  # what its probe says; None when the probe is dead
        self.nonsense = False
        self.water = True
        self.power = True
        self.broker = True
        self.heard = self.shed.now  # the newest word that showed air
        self.stopped: Ms | None = None  # the first word after it that showed none
        self.batches = 0
        self.born = self.shed.now  # when animals came to be swimming that were not before
        self.begun = self.shed.now  # when the batch was told to be there
        self.working: Ms = 0

    @initialize(grams=st.sampled_from([0.3, 1.0]), hours=st.sampled_from([0, 13, 20]))
    def it_begins(self, grams: float, hours: int) -> None:
        self.shed.remember("ash-water", hours + 1, lambda _: 28.0).remember("ash-air", hours + 1, lambda _: 1)
        self.minutes(2)
        self.start(grams, hours)

    def start(self, grams: float, hours: int) -> None:
        self.batches += 1
        name = f"b{self.batches}"
        self.shed.begin(hours_ago=hours, cysts_g=grams, batch=name)
        if hours == 20:
            self.shed.do(Seen(self.shed.now, self.shed.now, name, Sight.SOME))
        self.begun = self.born = self.shed.now

    def minutes(self, count: int) -> None:
        for _ in range(count):
            if self.power and self.broker:
                self.speak()
            self.shed.wait(MINUTE)
            self.look()

    def speak(self) -> None:
        shed = self.shed
        shed.say("birch-water", 28.0)
        shed.say("birch-air", True)
        if self.water:
            shed.say("ash-water", 28.0)
        if self.nonsense:
            shed.engine.heard("ash-air", shed.now, "not a word of air")
        elif self.air is not None:
            shed.say("ash-air", self.air)
            if self.air is not Air.STOPPED:
                self.heard, self.stopped = shed.now, None
            elif self.stopped is None:
                self.stopped = shed.now

    # -- what can happen

    @rule(count=st.integers(1, 30))
    def time_passes(self, count: int) -> None:
        self.minutes(count)

    @rule(air=st.sampled_from([Air.RUNNING, Air.STOPPED, Air.WEAK, None]), nonsense=SELDOM, then=THEN)
    def its_air(self, air: Air | None, nonsense: bool, then: int) -> None:
        self.air, self.nonsense = air, nonsense
        self.minutes(then)

    @rule(heard=st.booleans())
    def its_water(self, heard: bool) -> None:
        self.water = heard

    @rule(gone=SELDOM, then=THEN)
    def the_power(self, gone: bool, then: int) -> None:
        self.power = not gone
        self.minutes(then)

    @rule(gone=SELDOM, then=THEN)
    def the_broker(self, gone: bool, then: int) -> None:
        self.broker = not gone
        self.shed.do(BrokerLink(self.shed.now, up=self.broker))
        self.minutes(then)

    @rule(count=st.integers(1, 240))
    def work(self, count: int) -> None:
        self.working = self.shed.now + count * MINUTE
        self.shed.do(Work(self.shed.now, self.shed.now, "ash", self.working))

    @rule(data=st.data())
    def acknowledge(self, data: st.DataObject) -> None:
        standing = sorted(a.id for a in self.shed.engine.alarms())
        if standing:
            self.shed.do(Acknowledge(self.shed.now, data.draw(st.sampled_from(standing))))

    @rule(alarm=st.sampled_from([NO_NEWS, STOPPED, "probe-silent:ash-air", "probes-lost:site", "broker-lost:site"]))
    def shelve(self, alarm: str) -> None:
        with suppress(Refused):  # no time left to put it off
            self.shed.do(Shelve(self.shed.now, alarm, self.shed.now + 15 * MINUTE))

    @precondition(lambda self: self.shed.engine.state.vessels["ash"].batch is not None)
    @rule()
    def harvest(self) -> None:
        self.shed.do(Harvest(self.shed.now, self.shed.now, f"b{self.batches}"))

    @precondition(lambda self: self.shed.engine.state.vessels["ash"].batch is None)
    @rule(hours=st.sampled_from([0, 13, 20]), grams=st.sampled_from([0.3, 1.0]))
    def another(self, grams: float, hours: int) -> None:
        self.start(grams, hours)

    # -- what always holds

    @invariant()
    def look(self) -> None:
        """Told since the news ended, or held by the keeper's own word about this very alarm, or by work with time left."""
        now, vessel = self.shed.now, self.shed.engine.state.vessels["ash"]
        if vessel.batch is None or vessel.batch.estimate is None or vessel.batch.estimate.stage not in SWIMMING:
            self.born = now
            return
        if now - self.heard <= LIMIT or now - self.born < SECOND:
            return
        means = [NO_NEWS] if self.stopped is None else [STOPPED, NO_NEWS]
        since = max(self.heard, self.begun)
        if any(m.notify and not m.alarm.over and m.alarm.id in means and m.time >= since for m in self.shed.moves):
            return
        if any(self.shed.state(alarm) is AlarmState.SHELVED for alarm in means):
            return
        if now < self.working:
            begun = vessel.batch.start.time
            left, _ = minutes_left(vessel, now, max(self.heard, begun), self.stopped)
            if left.lo is None or left.lo >= NEARLY_OVER_MIN:
                return
        told = [(m.alarm.id, m.alarm.state.value, m.notify, (m.time - now) // SECOND) for m in self.shed.moves[-8:]]
        raise AssertionError(f"nothing heard of the air for {(now - self.heard) // SECOND} s, nobody told: {told}")


TestAirNews = AirNews.TestCase
TestAirNews.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
