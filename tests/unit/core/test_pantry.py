"""What is gathered of the room for whoever looks ahead at food."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.log import Chill, Discard, Harvest
from monitor.core.log_food import Eater, Tin
from monitor.core.model import DAY, HOUR, MINUTE, ColdStoreSpec
from monitor.core.pantry import SAMPLES, gather
from monitor.core.pantry_codec import from_json, to_json
from tests.unit.core.worlds import Shed, site


def shed(*vessels: str, warm: float = 25.0) -> Shed:
    made = Shed(site(*vessels or ("ash", "birch"), cold_stores={"fridge": ColdStoreSpec("fridge")}))
    for vessel in made.site.vessels:
        made.remember(f"{vessel}-water", 4 * 24, lambda _: warm)
    return made


def test_a_batch_is_gathered_as_it_is_believed() -> None:
    """Samples of when it is ready and how much hatches say the same as the estimate that is shown."""
    made = shed()
    made.begin(8)
    made.run(20 * MINUTE)
    pantry = gather(made.engine.state, made.now)
    (batch,) = pantry.batches
    told = made.engine.estimate("b1", made.now)
    assert len(batch.ready) == len(batch.share) == SAMPLES
    for level, shown in ((0.1, told.ready.lo), (0.5, told.ready.mid), (0.9, told.ready.hi)):
        assert shown is not None
        assert float(np.quantile(batch.ready, level)) == pytest.approx(shown, abs=HOUR / 2)
    assert told.best_until is not None
    assert told.ready.mid is not None
    assert batch.best_h == pytest.approx((told.best_until - told.ready.mid) / HOUR, abs=0.2)
    assert [vessel.batch for vessel in pantry.vessels] == ["b1", ""]


def test_the_water_of_each_vessel_is_foreseen_for_a_fortnight() -> None:
    """A value each hour from now on, near to what the water was, and less sure the further ahead."""
    pantry = gather(shed(warm=22.0).engine.state, shed().now)
    for vessel in pantry.vessels:
        assert len(vessel.water_c) == len(vessel.water_sd_c) == 14 * 24 + 1
        assert vessel.water_c[0] == pytest.approx(22.0, abs=0.3)
        assert vessel.water_sd_c[-1] > vessel.water_sd_c[0]


def test_a_vessel_that_was_always_heated_will_be_heated() -> None:
    """Empty, its probe tells of a cold shed; its next batch will have the water that its batches had."""
    made = shed("ash", warm=15.0)
    vessel = made.engine.state.vessels["ash"]
    vessel.habit = replace(vessel.habit, held=(26.0, 26.4))
    (held,) = gather(made.engine.state, made.now).vessels
    assert held.water_c[0] == pytest.approx(26.2, abs=0.3)
    assert min(held.water_c) > 24.0


def test_density_goes_by_the_size_of_a_vessel_unless_it_is_told() -> None:
    """5 g/L below 20 L, 2 g/L in larger ones (Ghent course)."""
    made = shed("ash", "vat")
    state = made.engine.state
    state.vessels["vat"].spec = replace(state.vessels["vat"].spec, litres=40.0)
    assert [vessel.most_g_l for vessel in gather(state, made.now).vessels] == [5.0, 2.0]
    state.site = replace(state.site, food_most_g_l=3.0)
    assert [vessel.most_g_l for vessel in gather(state, made.now).vessels] == [3.0, 3.0]


def test_what_failed_is_told_from_the_record() -> None:
    """A batch that was thrown away because it did not hatch failed; one that was not needed did not."""
    made = shed()
    for n, end in enumerate(("did not hatch", "not needed", "")):
        made.begin(30, batch=f"b{n}")
        made.now += MINUTE
        made.do(Harvest(made.now, made.now, f"b{n}") if not end else Discard(made.now, made.now, f"b{n}", end))
    assert gather(made.engine.state, made.now).failed == (1, 3)


def test_stores_tins_and_eaters_are_gathered() -> None:
    """What is kept cold with its end, a tin that only the log knows, and adults."""
    made = shed()
    made.do(Chill(made.now, made.now, "fridge", 100_000, 0.5, aerated=True))
    made.do(Tin(time=made.now, logged=made.now, lot="tin-9", strain="sfb", grams=50, price=25))
    made.do(Eater(time=made.now, logged=made.now, eater="adults", nauplii_per_day=9000))
    pantry = gather(made.engine.state, made.now)
    (store,) = pantry.stores
    assert store.nauplii == 100_000
    assert store.until[1] is not None
    assert store.keeps_h[0] < store.keeps_h[1] < store.keeps_h[2]
    tin = next(lot for lot in pantry.lots if lot.id == "tin-9")
    assert (tin.left_g, tin.price_per_g) == (50, 0.5)
    assert [eater.id for eater in pantry.eaters] == ["adults"]
    assert pantry.cooled


def test_a_tin_that_is_empty_or_long_unused_is_not_at_hand() -> None:
    """Nothing is planned from what is not there."""
    made = shed()
    made.do(Tin(time=made.now, logged=made.now, lot="tin-0", grams=0.01))
    made.begin(24, batch="b1")
    assert {lot.id for lot in gather(made.engine.state, made.now).lots} == {"tin-7", "new"}
    assert {lot.id for lot in gather(made.engine.state, made.now + 70 * DAY).lots} == {"tin-7"}


def test_a_pantry_goes_to_another_process_and_back_unchanged() -> None:
    """All of it is plain data."""
    made = shed()
    made.begin(8)
    made.run(10 * MINUTE)
    pantry = gather(made.engine.state, made.now)
    assert from_json(to_json(pantry)) == pantry
