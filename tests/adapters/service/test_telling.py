"""When the view is made anew though nothing is heard."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from datetime import datetime
from typing import Final

import pytest

from monitor.core.engine import Engine
from monitor.core.log import Start
from monitor.core.model import SECOND, Alarm, AlarmState, Measures, Ms, Priority, Reading
from monitor.service.desk import Asked, ServiceDesk, Tried
from monitor.service.telling import VIEW_AT_LEAST_S, VIEW_EVERY_S, VIEW_UNWATCHED_S, Teller
from monitor.store.record import Record
from tests.unit.core.worlds import T0, probe, site

BEGAN_S: Final = 1000.0


class Clock:
    """Goes only when it is told to."""

    def __init__(self, speed: float | None) -> None:
        self.gone_s = 0.0
        self.speed = speed

    def now(self) -> Ms:
        return T0 + round(self.gone_s * SECOND * (self.speed or 1.0))

    wall = now

    def steady(self) -> float:
        return BEGAN_S + self.gone_s

    def jumped(self) -> Ms | None:
        return None


@pytest.mark.parametrize(("speed", "lasts_s"), [(None, 2.0), (2.0, 1.0)], ids=["real", "simulated"])
def test_the_view_is_renewed_when_a_value_has_become_stale(speed: float | None, lasts_s: float) -> None:
    """A value that nobody follows up is shown as fresh for two of its periods and no longer, though no news comes in."""
    water = probe("ash-water", Measures.WATER, every=1 * SECOND)
    engine, clock = Engine(replace(site(), probes={water.id: water}), T0), Clock(speed)
    desk = ServiceDesk(lambda _: None, [], "shed", clock.wall, lambda _: {}, Record("none.sqlite3"), lambda _: {})
    teller = Teller(engine, desk, clock, lambda *_: None)
    engine.step(Reading("ash-water", T0, 24_000, arrived=T0))
    teller.run(at_once=True)
    assert desk.bench()["vessels"][0]["water"]["fresh"]

    due = teller.due()

    assert lasts_s < due - BEGAN_S < lasts_s + 0.01
    clock.gone_s = due - BEGAN_S + 0.001
    teller.run()
    assert not desk.bench()["vessels"][0]["water"]["fresh"]
    assert teller.due() - clock.steady() == pytest.approx(VIEW_AT_LEAST_S), "nothing else becomes stale"


def test_readings_alone_make_views_slowly_until_somebody_watches() -> None:
    """With no page open a reading is in the next view of the slow pace; an entry, or a page that waits, has the quick one."""
    water = probe("ash-water", Measures.WATER, every=1 * SECOND)
    engine, clock = Engine(replace(site(), probes={water.id: water}), T0), Clock(None)
    desk = ServiceDesk(lambda _: None, [], "shed", clock.wall, lambda _: {}, Record("none.sqlite3"), lambda _: {})
    teller = Teller(engine, desk, clock, lambda *_: None)
    teller.run(at_once=True)

    teller.touch_vessel("ash", read=True)
    assert teller.due() - BEGAN_S == pytest.approx(VIEW_UNWATCHED_S)
    teller.touch_vessel("ash")
    assert teller.due() - BEGAN_S == pytest.approx(VIEW_EVERY_S)

    async def watch() -> None:
        version = desk.version()
        waits = asyncio.create_task(desk.wait(version, 60))
        await asyncio.sleep(0)
        clock.gone_s = VIEW_EVERY_S
        teller.run()
        assert await waits == version + 1
        teller.touch_vessel("ash", read=True)
        assert teller.due() - clock.steady() == pytest.approx(VIEW_EVERY_S), "it has not asked for the next one yet"

    asyncio.run(watch())


def asked_of(teller: Teller, desk: ServiceDesk, lookers: int, inputs: list[Asked | Tried]) -> int:
    """So many look at the same time; how many questions reached the thread of decisions, which answers like its loop."""

    async def look() -> int:
        looks = [asyncio.create_task(desk.look()) for _ in range(lookers)]
        await asyncio.sleep(0)
        for asked in inputs:
            assert isinstance(asked, Asked)
            teller.look()
            asked.answer.set_result(None)
        await asyncio.gather(*looks)
        return len(inputs)

    return asyncio.run(look())


def test_who_looks_once_sees_what_came_in_before() -> None:
    """The slow pace of views is not felt: each page that is asked for has the readings of just now, by one view for all."""
    water = probe("ash-water", Measures.WATER, every=1 * SECOND)
    engine, clock = Engine(replace(site(), probes={water.id: water}), T0), Clock(None)
    inputs: list[Asked | Tried] = []
    desk = ServiceDesk(inputs.append, [], "shed", clock.wall, lambda _: {}, Record("none.sqlite3"), lambda _: {})
    teller = Teller(engine, desk, clock, lambda *_: None)
    teller.run(at_once=True)
    clock.gone_s = VIEW_EVERY_S + 0.01
    engine.step(Reading("ash-water", T0, 24_000, arrived=T0))
    teller.touch_vessel("ash", read=True)
    teller.run()
    assert desk.version() == 1, "nobody looks"

    assert asked_of(teller, desk, 3, inputs) == 1
    assert desk.version() == 2
    assert desk.bench()["vessels"][0]["water"]["value"] == pytest.approx(24)
    inputs.clear()
    assert asked_of(teller, desk, 1, inputs) == 1
    assert desk.version() == 2, "there was nothing new"


def test_who_looks_gets_a_view_though_nobody_decides() -> None:
    """A page comes with the newest view there is when the thread of decisions hangs or has ended."""
    engine, clock = Engine(site(), T0), Clock(None)
    inputs: list[Asked | Tried] = []
    desk = ServiceDesk(inputs.append, [], "shed", clock.wall, lambda _: {}, Record("none.sqlite3"), lambda _: {})
    Teller(engine, desk, clock, lambda *_: None).run(at_once=True)

    asyncio.run(desk.look())
    asyncio.run(desk.look())

    assert len(inputs) == 1, "what waits is not asked again"
    assert desk.bench()["now"]


def test_an_alarm_has_its_batch_reckoned_anew() -> None:
    """What time alone changes is looked at once a minute; a batch whose alarm rings must not be told as it was before."""
    engine, clock = Engine(site(), T0), Clock(None)
    engine.step(Start(T0, T0, "ash-1", "ash", "tin-7", 2.0, 1.5, 25.0))
    desk = ServiceDesk(lambda _: None, [], "shed", clock.wall, lambda _: {}, Record("none.sqlite3"), lambda _: {})
    told: list[str] = []
    teller = Teller(engine, desk, clock, lambda topic, text: told.append(text) if topic.endswith("/ash/eta") else None)
    teller.run(at_once=True)
    clock.gone_s = 20.0
    teller.run()
    assert len(told) == 1

    alarm = Alarm(
        "ready:ash",
        "ready",
        "ash",
        Priority.MEDIUM,
        AlarmState.UNACKNOWLEDGED,
        clock.now(),
        clock.now(),
        "Ready",
        "",
        "",
        "",
    )
    teller.alarm(alarm)
    teller.run()

    assert len(told) == 2
    assert datetime.fromisoformat(json.loads(told[1])["time"]).timestamp() * 1000 == clock.now()
