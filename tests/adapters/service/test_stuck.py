"""For which long tasks the service manager is left without word, so that it starts the whole anew."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.engine import Engine
from monitor.core.model import BrokerLink, Reading, SiteSpec
from monitor.notify import Notifier
from monitor.service.chores import Chores
from monitor.service.clock import SystemClock
from monitor.service.heartbeat import Heartbeat
from monitor.service.house import LANE_STUCK_S, TASK_STUCK_S, House, Parts
from monitor.service.watchdog import Watchdog
from monitor.store import Store
from tests.adapters.conftest import until
from tests.unit.core.worlds import site

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


class Ear(Watchdog):
    """Hears at each look what is stuck."""

    def __init__(self) -> None:
        super().__init__({})
        self.heard: list[str] = []

    def alive(self, stuck: str) -> None:
        self.heard.append(stuck)


@pytest.fixture
def ear() -> Ear:
    return Ear()


@pytest.fixture
def house(ear: Ear, tmp_path: Path) -> Iterator[House]:
    clock = SystemClock()
    path = tmp_path / "s.db"
    with Store.open(path, now=clock.now()) as store:
        engine = Engine(SiteSpec("shed", "UTC", (420,), {}, {}), clock.now())
        yield House(engine, store, str(path), clock, Heartbeat(None, 0, clock), ear)


def parts(**others: Any) -> Parts:
    """All is well but what is said."""
    now = time.monotonic()
    said: dict[str, Any] = {
        "notifier": Notifier([], lambda _: None),
        "channels": [],
        "round_tick": now,
        "link_tick": now,
        "chores_tick": now,
        "stuck_copy": lambda _: "",
        "web_alive": True,
    }
    return Parts(**(said | others))


@pytest.mark.parametrize(
    ("task", "told"),
    [
        ("round_tick", "each round of decisions breaks off"),
        ("link_tick", "the link to the broker shows no life"),
        ("chores_tick", "the scheduler of chores shows no life"),
    ],
)
def test_a_task_that_shows_no_life_withholds_the_word(house: House, ear: Ear, task: str, told: str) -> None:
    """Each long task is missed by name once it has been silent for two minutes, and not shortly before."""
    house.look(parts(**{task: time.monotonic() - TASK_STUCK_S + 30}))
    house.look(parts(**{task: time.monotonic() - TASK_STUCK_S - 1}))
    house.look(parts())
    assert ear.heard == ["", told, ""]


def test_a_copy_and_a_page_that_are_gone_withhold_it_too(house: House, ear: Ear) -> None:
    """The thread of a time-series server is given a quarter of an hour; a page or a scheduler that has ended none."""
    house.look(parts(stuck_copy=lambda patience: "trends" if patience == LANE_STUCK_S else ""))
    house.look(parts(web_alive=False))
    house.look(parts(chores_alive=False))
    assert ear.heard == [
        "the copy for trends shows no life",
        "the page has ended",
        "the scheduler of chores has ended",
    ]


def test_what_hangs_withholds_the_sign_of_life_too(tmp_path: Path) -> None:
    """Where no manager ends it, somebody outside hears that something hangs, though the chain itself is whole."""
    clock = SystemClock()
    sign = Sign(None, 0, clock)
    with Store.open(tmp_path / "s.db", now=clock.now()) as store:
        engine = Engine(site(), clock.now())
        engine.step(BrokerLink(clock.now(), up=True))
        engine.step(Reading("ash-water", clock.now(), 24_000, arrived=clock.now()))
        for hangs in ({}, {"web_alive": False}, {"chores_tick": time.monotonic() - TASK_STUCK_S - 1}):
            House(engine, store, str(tmp_path / "s.db"), clock, sign, Watchdog({})).look(parts(**hangs))
    assert sign.heard == ["", "the page has ended", "the scheduler of chores shows no life"]


class Sign(Heartbeat):
    """Hears at each look what it is withheld for."""

    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self.heard: list[str] = []

    def judge(self, wrong: str) -> None:
        self.heard.append(wrong)


def test_the_scheduler_shows_life_by_doing_what_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its tick grows young again and again while it runs."""
    monkeypatch.setattr(Chores, "LIFE_EVERY_S", 0.05)
    chores = Chores(lambda _: None, SystemClock())
    ticks = {chores.last_tick}

    def grown() -> bool:
        ticks.add(chores.last_tick)
        return len(ticks) > 3

    chores.start()
    until(grown)
    chores.stop()
