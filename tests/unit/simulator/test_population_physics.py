from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from simulator.population import heat
from simulator.population.air import Charge, Stop, Vessel, aired_gate, live_through
from simulator.population.cohort import Classes, hours_until, progress, share_out, steps
from simulator.population.laws import Law, share_table
from simulator.population.outdoors import BEGIN_S, hourly_c
from simulator.population.tins import Heater, Place, Tin, draw_place, draw_tin
from simulator.scenario import scenario_from
from simulator.world import World
from simulator.world.cysts import briere

if TYPE_CHECKING:
    from collections.abc import Callable

    from simulator.world.numbers import Floats

START_S = BEGIN_S + 120 * 86_400 + 13 * 3600  # a day in spring
CLASSES = 36
STEP_H = 1 / 60
SHED = replace(
    draw_place(1, "any"),
    kind="shed",
    station="EWR",
    share=0.8,
    mean_c=21.0,
    lag_h=1.0,
    setback_c=0.0,
    floor_c=-np.inf,
    litres=2.0,
    time_constant_h=2.5,
    surface_per_h=0.15,
    stone_per_h=15.0,
    heater=Heater(set_c=26.0, band_c=1.0, watts=20.0),
)
UNHEATED = heat.Filling(None, None)


def tin(family: str, law: Law, **changes: Any) -> Tin:
    base = replace(draw_tin(1, "any"), median_h=20.0, synchrony_h=8.5, law=law, threshold_sd_c=0.7, heat_limit_sd_c=0.5)
    base = replace(base, family=family, hatchable=0.7, restart_h=1.5, cysts_per_g=300_000.0, nauplius_ug=2.0, **changes)
    return replace(base, shares=share_table(family, base.synchrony_h / base.median_h))


BRIERE = Law("briere", 9.0, 38.0)
ARRHENIUS = Law("sharpe-schoolfield", 11.0, 34.5, 60_000.0)


def path(place: Place, filling: heat.Filling = UNHEATED) -> tuple[Floats, Floats]:
    room, _ = heat.room_c(place, START_S)
    return room, heat.water_c(place, filling, room)


# ------------------------------------------------------------------------------------------------------------ heat


def scenario(place: Place, hours: int, **more: Any) -> World:
    """The same place and weather as one scenario of the world of single cysts."""
    begin = (START_S - BEGIN_S) // 3600 - heat.HISTORY_H
    series = hourly_c(place.station)[begin : begin + heat.HISTORY_H + hours + 2]
    lifted = place.mean_c + place.share * float(series.mean() - hourly_c(place.station).mean())
    return World(
        scenario_from(
            {
                "seed": 1,
                "site": "shed",
                "start": datetime.fromtimestamp(START_S, UTC).isoformat(),
                "timezone": "America/New_York",
                "lead": f"{heat.HISTORY_H} h",
                "sampled_cysts": 6000,
                "room": {
                    "mean_c": lifted,
                    "share": place.share,
                    "lag": f"{round(place.lag_h * 3600)} s",
                    "weather": {"hourly_c": series.tolist()},
                },
                **more,
            }
        )
    )


def jug(place: Place, **more: Any) -> dict[str, Any]:
    return {
        "id": "jug",
        "litres": place.litres,
        "time_constant_h": place.time_constant_h,
        "surface_per_h": place.surface_per_h,
        **more,
    }


def test_water_is_that_of_the_world_step_by_step() -> None:
    """Room and water, with and without a heater that fails, agree with the general world to a thousandth of a degree."""
    heater = {"watts": 20.0, "thermostat_c": 26.0, "deadband_c": 1.0, "failure": [{"at": "10 h", "for_good": True}]}
    world = scenario(SHED, 24, vessel=[jug(SHED, id="ash"), jug(SHED, id="birch", heater=heater)])
    trace = world.advance(24 * 3600)
    room, plain = path(SHED)
    _, heated = path(SHED, heat.Filling(None, SHED.heater, fails_row=heat.BEGIN + 600))
    rows = slice(0, len(trace.room_c))
    assert np.abs(room[rows] - trace.room_c).max() < 1e-3
    assert np.abs(plain[rows] - trace.water_c[:, 0]).max() < 1e-3
    assert np.abs(heated[rows] - trace.water_c[:, 1]).max() < 1e-3


def test_a_heater_keeps_its_set_point_only_as_long_as_its_power_suffices() -> None:
    """A strong heater holds the water within its band; a weak one lifts it by watts over loss and no further."""
    cold = replace(SHED, mean_c=10.0, share=0.7)
    strong = Heater(26.0, 1.0, 60.0)
    _, held = path(cold, heat.Filling(None, strong))
    assert np.abs(held[heat.BEGIN :] - 26.0).max() < 1.2
    room, weak = path(cold, heat.Filling(None, Heater(26.0, 1.0, 8.0)))
    lift = 8.0 * cold.heat_c_per_h_w * cold.time_constant_h
    assert weak[heat.BEGIN :].max() < 25.5
    assert (weak - room)[heat.BEGIN :].mean() == pytest.approx(lift, abs=0.3)


def test_fresh_water_goes_in_at_the_start_and_the_heater_on() -> None:
    """A vessel filled at the start follows the room before, and warms from the water's own temperature after."""
    cold = replace(SHED, mean_c=14.0)
    room, water = path(cold, heat.Filling(20.0, cold.heater))
    _, without = path(cold)
    assert np.array_equal(water[: heat.BEGIN], without[: heat.BEGIN])
    assert water[heat.BEGIN] == 20.0
    assert water[heat.BEGIN + 120] > 20.0 + 2.0 > room[heat.BEGIN + 120]


def test_heating_is_lowered_at_night_in_the_cold_alone() -> None:
    """A setback cools the room between 22 and 6 local time in the heating season, and never in summer."""
    living = replace(SHED, share=0.1, mean_c=22.0, lag_h=1.5, setback_c=3.0)
    for month_days, lowered in ((15, True), (195, False)):
        start = BEGIN_S + month_days * 86_400
        with_setback, _ = heat.room_c(living, start)
        without, _ = heat.room_c(replace(living, setback_c=0.0), start)
        seconds = start + 3600.0 * heat.offsets_h()
        hour = ((seconds - BEGIN_S) % 86_400) / 3600  # standard time; summer time is an hour ahead
        late_night, afternoon = (hour >= 4) & (hour < 5), (hour >= 15) & (hour < 16)
        gap = without - with_setback
        assert bool(gap[late_night].min() > 2.5) is lowered
        assert gap[afternoon].max() < 0.2


# ------------------------------------------------------------------------------------------------------- the cysts


def one_by_one(who: Tin, celsius: Floats, count: int, salinity: float) -> Floats:
    """Hours at which single cysts hatch: each with its own time, limits and soaking, drawn and stepped one by one."""
    chance = np.random.default_rng(7)
    width = who.synchrony_h / who.median_h
    sigma = np.arcsinh(width / 2) / 1.2815515655
    ranks = (np.arange(count) + 0.5) / count
    if who.family == "lognormal":
        long = np.exp(sigma * chance.standard_normal(2_000_000))
    elif who.family == "log-logistic":
        long = (1 / chance.random(2_000_000) - 1) ** (np.arcsinh(width / 2) / np.log(9.0))
    else:
        draws: Callable[[float, int], Floats] = chance.standard_gamma if who.family == "gamma" else chance.weibull
        shapes = np.geomspace(1.5, 60.0, 60)
        spans = [np.ptp(np.quantile(x := draws(shape, 100_000), [0.1, 0.9])) / np.median(x) for shape in shapes]
        long = draws(float(np.interp(width, spans[::-1], shapes[::-1])), 2_000_000)
    own_h = who.median_h * np.quantile(long / np.median(long), chance.permutation(ranks))
    low = who.law.low_c + who.threshold_sd_c * chance.standard_normal(count)
    high = who.law.high_c + who.heat_limit_sd_c * chance.standard_normal(count)
    soak = chance.uniform(1.0, 2.0, count)
    slower = (1 + 0.01 * (salinity - 20.0)) / 1.05
    left, hatched = np.maximum(own_h - soak, 0.0) * slower, np.full(count, np.inf)
    scale = law_at(who.law, 25.0, low, high)
    for minute in range(0, 80 * 60, 4):
        wet = np.clip((minute + 4) / 60 - soak, 0.0, 4 / 60)
        left -= wet * law_at(who.law, float(celsius[minute + 2]), low, high) / scale
        hatched[(left <= 0) & np.isinf(hatched)] = (minute + 2) / 60
        if np.isfinite(hatched).mean() > 0.93:
            break
    return hatched


def law_at(law: Law, celsius: float, low: Floats, high: Floats) -> Floats:
    if law.name == "briere":
        return briere(celsius, low, high)
    kelvin = celsius + 273.15

    def boltzmann(joules: float, about_c: Floats) -> Floats:
        return np.asarray(np.exp(joules / 8.314462618 * (1 / (about_c + 273.15) - 1 / kelvin)))

    drive = kelvin * np.exp(law.activation_j_mol / 8.314462618 * (1 / 298.15 - 1 / kelvin))
    return np.asarray(drive / (1 + boltzmann(-250_000.0, low) + boltzmann(800_000.0, high)))


@pytest.mark.parametrize(
    ("family", "law"),
    [("lognormal", BRIERE), ("gamma", ARRHENIUS), ("weibull", BRIERE), ("log-logistic", ARRHENIUS)],
)
def test_classes_of_cysts_hatch_when_single_cysts_do(family: str, law: Law) -> None:
    """T10, T50 and T90 in a shed with its nights lie within six minutes of those of ten thousand single cysts."""
    who = tin(family, law)
    _, water = path(SHED)
    single = np.sort(one_by_one(who, water[heat.BEGIN :], 10_000, 30.0))
    classes = Classes(CLASSES)
    pace = np.full(heat.HORIZON_H * 60, 1.05 / 1.10)
    total = progress(steps(classes.rates(who), classes.soak_h, water[heat.BEGIN : -1], pace, STEP_H))
    for share in (0.1, 0.5, 0.9):
        hours = hours_until(total, np.array([np.log(20.0)]), who.shares, share, STEP_H)[0]
        assert hours == pytest.approx(single[round(share * len(single))], abs=0.1)


@pytest.mark.parametrize("family", ["lognormal", "weibull"])
def test_at_25_c_the_tin_is_what_it_says(family: str) -> None:
    """At a steady 25 C in the usual salt, half are out at the tin's median and T90 - T10 is its synchrony."""
    who = tin(family, ARRHENIUS)
    classes = Classes(CLASSES)
    steady = np.full(heat.HORIZON_H * 60, 25.0)
    total = progress(steps(classes.rates(who), classes.soak_h, steady, np.ones(len(steady)), STEP_H))
    early, half, late = (
        hours_until(total, np.array([np.log(20.0)]), who.shares, share, STEP_H)[0] for share in (0.1, 0.5, 0.9)
    )
    assert half == pytest.approx(20.0, abs=0.05)
    assert late - early == pytest.approx(8.5, abs=0.1)


def test_many_lives_are_solved_as_one_by_one() -> None:
    """Batches of different tins solved together give the hours that each gives alone, and inf for one that never comes."""
    tins = [tin("gamma", ARRHENIUS), tin("log-logistic", BRIERE), tin("lognormal", BRIERE)]
    classes = Classes(CLASSES)
    chills = np.array([22.0, 24.0, 5.0])
    rates = [classes.rates(who) for who in tins]
    pace = np.ones(96 * 60)
    alone = [
        progress(steps(rate, classes.soak_h, np.full(96 * 60, chill), pace, STEP_H))
        for rate, chill in zip(rates, chills, strict=True)
    ]
    logs = np.log([18.0, 20.0, 25.0])
    together = hours_until(np.stack(alone, axis=1), logs, np.stack([who.shares for who in tins]), 0.9, STEP_H)
    for number, total in enumerate(alone):
        single = hours_until(total, logs[number : number + 1], tins[number].shares, 0.9, STEP_H)
        assert together[number] == pytest.approx(single[0], rel=1e-9)
    assert np.isinf(together[2])


# --------------------------------------------------------------------------------------------------------- the air

CHARGE = Charge(cysts_g=4.0, salinity_g_l=25.0, hatchable=0.7)


@pytest.mark.parametrize(("begins", "lasts"), [(8, 5), (18, 3)])
def test_a_stop_of_air_is_lived_through_as_single_cysts_do(begins: int, lasts: int) -> None:
    """With an air stop before and in the hatch, T90 and the minutes to 2 mg/L agree with the world of single cysts."""
    place = replace(SHED, share=0.3, mean_c=25.0)
    width = 2 * np.sinh(1.2815515655 * 0.15)
    who = replace(tin("lognormal", BRIERE), synchrony_h=20.0 * width, heat_limit_sd_c=0.8)
    who = replace(who, shares=share_table("lognormal", width))
    spec = {"id": "t", "law": "briere", "median_h": 20.0, "spread": 0.15, "threshold_c": 9.0, "threshold_sd_c": 0.7}
    spec |= {"heat_limit_c": 38.0, "viable": 0.7, "batch_sd": 0.0, "restart_h": 1.5}
    failure = {"at": f"{begins} h", "minutes": lasts * 60.0}
    world = scenario(
        place,
        40,
        vessel=[jug(place)],
        pump=[{"vessel": "jug", "kla_per_h": 15.0, "failure": [failure]}],
        tin=[{**spec, "cysts_per_g": 300_000.0, "nauplius_ug": 2.0}],
        batch=[{"id": "one", "vessel": "jug", "at": "0 s", "tin": "t", "cysts_g": 4.0}],
    )
    trace = world.advance(40 * 3600)
    _, water = path(place)
    classes, vessel, log_median = Classes(CLASSES), Vessel(who, place, CHARGE), float(np.log(20.0))
    free = steps(classes.rates(who), classes.soak_h, water[heat.BEGIN : -1], np.ones(heat.HORIZON_H * 60), STEP_H)
    done = free * aired_gate(vessel, water, progress(free), log_median)[:, None]
    stop = Stop(begins * 60, (begins + lasts) * 60)
    live_through(stop, vessel, water, free, done, classes.restart_h(who), log_median)
    hours = hours_until(progress(done), np.array([log_median]), who.shares, 0.9, STEP_H)[0]
    truth = world.broods[0].population.when(0.9)
    assert truth is not None
    assert hours == pytest.approx(truth / 3600, abs=0.1)
    level = trace.oxygen_mg_l[heat.BEGIN + begins * 60 :, 0]
    assert stop.minutes_to_short == pytest.approx(int(np.argmax(level < 2.0)), rel=0.05, abs=1.5)
    population = world.broods[0].population
    assert stop.dead == pytest.approx((population.hatched - population.alive) / 0.7, abs=0.05)


def test_air_that_runs_hardly_slows_development() -> None:
    """In a dense warm vessel with its stone running, development keeps over 95 % of its rate and never gains."""
    who, place = tin("gamma", BRIERE), SHED
    vessel = Vessel(who, place, replace(CHARGE, cysts_g=10.0))
    classes = Classes(CLASSES)
    warm = np.full(heat.ROWS, 28.0)
    free = steps(classes.rates(who), classes.soak_h, warm[heat.BEGIN : -1], np.ones(heat.HORIZON_H * 60), STEP_H)
    gate = aired_gate(vessel, warm, progress(free), float(np.log(20.0)))
    assert 0.95 < gate.min() < 0.995
    assert gate.max() <= 1.0


def test_shares_out_rise_from_none_to_all() -> None:
    """The share out grows with progress, from nothing at the start to everything late."""
    who = tin("weibull", BRIERE)
    advance = np.repeat(np.arange(0.0, 100.0)[:, None], CLASSES, axis=1)
    shares = share_out(advance, float(np.log(20.0)), who.shares)
    assert shares[0] < 1e-6
    assert np.all(np.diff(shares) >= 0)
    assert shares[20] == pytest.approx(0.5, abs=0.005)
    assert shares[-1] > 0.999
