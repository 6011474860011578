"""Coming back from a real store."""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.engine import Engine
from monitor.core.model import HOUR, SLOT, SlotClosed
from monitor.service.recalling import recall
from monitor.store import Store
from tests.unit.core.worlds import T0, site, start

if TYPE_CHECKING:
    from pathlib import Path


def come_back(path: Path, learned: dict[str, str]) -> Engine:
    """A new engine beside a store with two hours of water, a batch in it since one, and what was learned."""
    with Store.open(path, now=T0) as store:
        for back in range(24, 0, -1):
            store.put_slot(SlotClosed("ash-water", T0 - back * SLOT, 30, 30 * 25_000))
        store.log(start(T0 - HOUR, lot="tin-7"))
        for key, text in learned.items():
            store.keep(key, text)
        store.commit()
        engine = Engine(site("ash"), T0)
        recall(store, engine, T0)
        return engine


def test_what_the_store_kept_is_back(tmp_path: Path) -> None:
    """The water, the batch in it, and what was learned of its vessel."""
    engine = come_back(tmp_path / "shed.sqlite3", {"vessel/ash": '{"held": [26.5, null]}'})
    assert engine.open_batches() == ["b1"]
    assert engine.state.vessels["ash"].habit.held == (26.5, None)
    assert engine.estimate("b1", T0).water_c == 25.0


def test_what_cannot_be_read_is_left_out(tmp_path: Path) -> None:
    """What is damaged, or another version's, costs what it told and nothing else: all is as if it had not been kept."""
    plain = come_back(tmp_path / "plain.sqlite3", {})
    bad = {
        "lot/tin-7": "{",
        "vessel/ash": '{"held": 3}',
        "prior/b1": '{"id": 7}',
        "expected/b1": "[1]",
        "undo/recent": "7",
    }
    engine = come_back(tmp_path / "bad.sqlite3", bad)
    assert engine.open_batches() == ["b1"]
    assert engine.state.lots == plain.state.lots
    assert engine.estimate("b1", T0) == plain.estimate("b1", T0)
