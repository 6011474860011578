from __future__ import annotations

from dataclasses import fields
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simulator.feed import Feed
from simulator.world import Trace, World

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.scenario import Scenario
    from simulator.world import Sample

    Make = Callable[..., Scenario]

DAY = 86_400
FAILING: list[dict[str, Any]] = [{"vessel": "ash", "failure": [{"at": "1:00", "for_good": True}]}]


def same(one: Trace, other: Trace) -> bool:
    return all(np.array_equal(getattr(one, f.name), getattr(other, f.name), equal_nan=True) for f in fields(Trace))


def told(samples: list[Sample]) -> list[tuple[int, str, float | str, int]]:
    return [(sample.offset_s, sample.probe.id, sample.value, sample.sequence) for sample in samples]


def test_the_same_scenario_gives_the_same_world(make: Make) -> None:
    """Two worlds of one scenario agree in every bit; another seed gives another."""
    one, two = World(make()).advance(DAY), World(make()).advance(DAY)
    assert same(one, two)
    assert not same(one, World(make(seed=4)).advance(DAY))


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.integers(-DAY, 6 * 3600), min_size=1, max_size=6))
def test_readings_do_not_depend_on_how_time_is_cut(make: Make, cuts: list[int]) -> None:
    """However a run is cut into stretches, the readings are the same and in order."""
    whole = told(Feed(World(make()), -DAY).until(6 * 3600))
    feed, parts = Feed(World(make()), -DAY), []
    for cut in [*sorted(cuts), 6 * 3600]:
        parts += told(feed.until(cut))
    assert parts == whole
    assert all(one[0] <= two[0] for one, two in pairwise(whole))


def test_history_is_a_window_into_the_same_world(make: Make) -> None:
    """Asking for less history leaves out readings and changes none."""
    long = told(Feed(World(make()), -DAY).until(3600))
    short = told(Feed(World(make()), -7200).until(3600))
    assert short == [sample for sample in long if sample[0] > -7200]


def test_another_probe_changes_nobody_elses_readings(make: Make, plain: dict[str, Any]) -> None:
    """Each probe has a noise of its own."""
    extra = {"id": "room", "topic": "shed/room", "measures": "room", "noise_sd": 0.1}
    more = told(Feed(World(make(probe=[extra, *plain["probe"]])), -DAY).until(0))
    fewer = told(Feed(World(make()), -DAY).until(0))
    assert [sample for sample in more if sample[1] != "room"] == fewer


def test_readings_are_the_truth_with_noise_bias_and_steps(make: Make, plain: dict[str, Any]) -> None:
    """Readings scatter about the true water by the noise, shifted by the bias, on the steps of the sensor."""
    plain["probe"][0].update(noise_sd=0.1, bias=0.3, step=0.0625)
    world = World(make(probe=plain["probe"]))
    trace = world.fork().advance(6 * 3600)
    water = [sample for sample in Feed(world, -DAY).until(6 * 3600) if sample.probe.id == "ash-water"]
    values = np.array([float(sample.value) for sample in water])
    true = np.interp([sample.offset_s for sample in water], trace.offset_s, trace.water_c[:, 0])
    assert len(values) == 30 * 60
    assert np.mean(values - true) == pytest.approx(0.3, abs=0.015)
    assert np.std(values - true) == pytest.approx(0.1, rel=0.1)
    assert np.allclose(values / 0.0625, np.round(values / 0.0625), atol=1e-2)


def test_fahrenheit_is_the_same_water(make: Make, plain: dict[str, Any]) -> None:
    """A probe in F tells the same temperature as one in C."""
    cold = {**plain["probe"][0], "noise_sd": 0.0, "step": 0.0}
    celsius = [float(s.value) for s in Feed(World(make(probe=[cold])), -3600).until(0)]
    fahrenheit = [float(s.value) for s in Feed(World(make(probe=[{**cold, "unit": "F"}])), -3600).until(0)]
    assert np.allclose(np.array(celsius) * 1.8 + 32.0, fahrenheit, atol=1e-3)


def test_a_silent_probe_says_nothing_and_its_numbers_go_on(make: Make, plain: dict[str, Any]) -> None:
    """There is no reading within a silence, and the running number shows how many are missing."""
    plain["probe"][0]["silent"] = [{"at": "-3:00", "hours": 2}]
    water = [s for s in Feed(World(make(probe=plain["probe"])), -DAY).until(0) if s.probe.id == "ash-water"]
    gaps = [(one.offset_s, two.offset_s, two.sequence - one.sequence) for one, two in pairwise(water)]
    (gap,) = [gap for gap in gaps if gap[2] != 1]
    assert gap[0] < -10_800 <= gap[0] + 60
    assert gap[1] - 60 < -3600 <= gap[1]
    assert gap[2] == 121


def test_a_spike_is_one_reading_of_85_c(make: Make, plain: dict[str, Any]) -> None:
    """The first reading at or after the offset is the power-on value, the ones beside it are not."""
    plain["probe"][0]["spikes"] = ["-1:00"]
    water = [s for s in Feed(World(make(probe=plain["probe"])), -DAY).until(0) if s.probe.id == "ash-water"]
    (spike,) = [sample for sample in water if float(sample.value) > 50]
    assert spike.value == 85.0
    assert -3600 <= spike.offset_s < -3540


def test_hasty_probes_are_slowed_to_the_shortest_period(make: Make, plain: dict[str, Any]) -> None:
    """A probe of 10 s reports every 60 s when that is the shortest allowed."""
    plain["probe"][0]["every"] = "10 s"
    world = World(make(probe=plain["probe"][:1]))
    assert len(Feed(world.fork(), -3600).until(0)) == 360
    assert len(Feed(world, -3600, shortest_s=60).until(0)) == 60


@pytest.mark.parametrize(
    ("reads", "before", "after"), [("word", "on", "off"), ("power", 3.5, 0.0), ("bubbles", 180.0, 0.0)]
)
def test_each_kind_of_air_probe_shows_a_stopped_pump(
    make: Make, plain: dict[str, Any], reads: str, before: float | str, after: float | str
) -> None:
    """Words, power and bubbles all change with the first reading after the failure."""
    probe = {**plain["probe"][1], "reads": reads}
    samples = Feed(World(make(pump=FAILING, probe=[probe])), 0).until(7200)
    assert {s.value for s in samples if s.offset_s < 3600} == {before}
    assert {s.value for s in samples if s.offset_s >= 3600} == {after}


@pytest.mark.parametrize(
    ("strength", "word", "second"), [(1.0, "on", "on"), (0.35, "on", "weak"), (0.1, "off", "off"), (0.0, "off", "off")]
)
def test_a_switch_with_a_second_contact_tells_weak_air(
    make: Make, plain: dict[str, Any], strength: float, word: str, second: str
) -> None:
    """A weak pump is "on" to a plain flow switch, and weak to one that can say so."""
    pump = {"vessel": "ash", "failure": [{"at": "1:00", "for_good": True, "strength": strength}]}
    for weak_word, told_word in ((None, word), ("weak", second)):
        probe = plain["probe"][1] | {"reads": "word", "weak_word": weak_word}
        world = World(make(pump=[pump], probe=[probe]))
        values = {sample.value for sample in Feed(world, 2 * 3600).until(3 * 3600)}
        assert values == {told_word}


def test_a_weak_pump_draws_its_power_and_moves_less_air(make: Make, plain: dict[str, Any]) -> None:
    """A worn pump looks well by its watts; bubbles and oxygen tell."""
    pump = [{"vessel": "ash", "failure": [{"at": "1:00", "minutes": 240, "strength": 0.3}]}]
    dense = [{**plain["batch"][0], "cysts_g": 7.5, "at": "-24 h"}]
    probes = [{**plain["probe"][1], "id": reads, "topic": reads, "reads": reads} for reads in ("power", "bubbles")]
    world = World(make(pump=pump, probe=probes, batch=dense))
    trace = world.fork().advance(10 * 3600)
    samples = [s for s in Feed(world, 0).until(4 * 3600) if s.offset_s > 3600]
    assert {s.value for s in samples if s.probe.id == "power"} == {3.5}
    assert {s.value for s in samples if s.probe.id == "bubbles"} == {54.0}
    hour = dict(zip(trace.offset_s / 3600, trace.oxygen_mg_l[:, 0], strict=True))
    assert hour[4.0] < hour[1.0] - 0.5
    assert hour[6.0] > hour[4.0] + 0.5


def test_a_stopped_pump_over_a_hatched_batch_ends_in_dead_nauplii(make: Make, plain: dict[str, Any]) -> None:
    """Without air the oxygen of a hatched batch is gone within the hour or so, and its nauplii within some hours."""
    batch = [{**plain["batch"][0], "at": "-24 h", "cysts_g": 3.0}]
    room = {"mean_c": 27.0, "swing_c": 0, "share": 0, "weather": {"day_to_day_sd_c": 0}}
    trace = World(make(room=room, pump=FAILING, batch=batch)).advance(6 * 3600)
    hour = {round(offset / 60): row for row, offset in enumerate(trace.offset_s)}
    assert trace.oxygen_mg_l[hour[59], 0] > 5.0
    assert trace.oxygen_mg_l[hour[60 + 90], 0] < 0.5
    assert trace.alive[hour[59], 0] > 0.4
    assert trace.alive[-1, 0] < 0.1
    assert trace.hatched[-1, 0] >= trace.hatched[hour[59], 0]


def test_a_batch_is_there_from_its_start_to_its_harvest(make: Make, plain: dict[str, Any]) -> None:
    """Shares are told only while the batch is in its vessel, and never shrink."""
    batch = [{**plain["batch"][0], "at": "-20 h", "harvest": "8:00"}]
    trace = World(make(batch=batch)).advance(10 * 3600)
    inside = (trace.offset_s > -20 * 3600) & (trace.offset_s <= 8 * 3600)
    assert np.array_equal(~np.isnan(trace.hatched[:, 0]), inside)
    assert np.all(np.diff(trace.hatched[inside, 0]) >= 0)
    assert trace.hatched[inside, 0][-1] > 0.3


def test_looking_ahead_disturbs_nothing(make: Make) -> None:
    """A fork goes its own way; the world it came from stays where it was."""
    world, untouched = World(make()), World(make())
    world.advance(0)
    world.fork().advance(DAY)
    untouched.advance(0)
    assert same(world.advance(DAY), untouched.advance(DAY))
