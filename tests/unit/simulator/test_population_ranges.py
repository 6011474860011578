from __future__ import annotations

import numpy as np
import pytest

from simulator.population import ranges
from simulator.population.laws import CELSIUS, LOG_TIMES, Law, draw_law, rate_table, share_table
from simulator.population.outdoors import STATIONS, hourly_c
from simulator.population.priors import spread
from simulator.population.tins import Tin, draw_keeper, draw_place, draw_tin
from simulator.world.cysts import briere
from simulator.world.numbers import Floats, stream

FAMILIES = ["lognormal", "gamma", "weibull", "log-logistic"]
MANY = 400


@pytest.fixture(scope="module")
def tins() -> list[Tin]:
    return [draw_tin(11, f"t{number}") for number in range(MANY)]


def middle_rates(law: Law) -> Floats:
    return rate_table(law, np.array([law.low_c]), np.array([law.high_c]))[:, 0]


def laws() -> list[Law]:
    return [draw_law(stream(2, "law", number)) for number in range(MANY)]


@pytest.mark.parametrize("station", STATIONS)
def test_the_weather_has_weather_in_it(station: str) -> None:
    """At the same hour, one day differs from the next by more than 2 C (SD) at every station, as observed in 2013."""
    celsius = hourly_c(station)
    assert np.std(celsius[24:] - celsius[:-24]) > 2.0


@pytest.mark.parametrize("station", STATIONS)
def test_the_weather_has_neither_gaps_nor_glitches(station: str) -> None:
    """Every hour of the year has a believable temperature, winter is cold and summer warm."""
    celsius = hourly_c(station)
    assert celsius.shape == (8760,)
    assert -20.0 < celsius.min() < -5.0
    assert 33.0 < celsius.max() < 40.0
    assert np.abs(np.diff(celsius)).max() < 9.0
    assert celsius[:744].mean() < 5.0
    assert celsius[4344:5088].mean() > 23.0


def test_medians_are_as_published(tins: list[Tin]) -> None:
    """Two tins of three take 16 to 26 h at 25 C, half of them less than about 20, and none less than 11 or more than 36."""
    medians = np.array([tin.median_h for tin in tins])
    assert medians.min() >= 11.0
    assert medians.max() <= 36.0
    assert 19.0 < np.median(medians) < 21.0
    assert 0.58 < ((medians > 16) & (medians < 26)).mean() < 0.78
    assert 0.19 < np.log(medians).std() < 0.27


def test_the_population_lies_within_what_is_believed_of_an_unknown_tin(tins: list[Tin]) -> None:
    """The middle 80 % of medians lies within the central 90 % of a lognormal about 20 h with log-SD 0.28."""
    low, high = np.quantile([tin.median_h for tin in tins], [0.1, 0.9])
    assert 20.0 * np.exp(-1.645 * 0.28) < low < high < 20.0 * np.exp(1.645 * 0.28)


def test_hatchable_shares_are_those_of_published_lots(tins: list[Tin]) -> None:
    """Mean 65 % and SD 18, as 18 published lots."""
    shares = np.array([tin.hatchable for tin in tins])
    assert shares.mean() == pytest.approx(0.65, abs=0.03)
    assert shares.std() == pytest.approx(0.18, abs=0.02)


def test_labels_promise_too_much_and_some_tins_have_none(tins: list[Tin]) -> None:
    """Labels tell 50 to 95 %, on average more than hatches; one tin of four says nothing."""
    labelled = [(tin.label_percent, tin.hatchable) for tin in tins if tin.label_percent is not None]
    assert len(labelled) / MANY == pytest.approx(0.75, abs=0.06)
    told, true = np.array(labelled).T
    assert set(told.tolist()) <= set(np.arange(50.0, 96.0, 5.0).tolist())
    assert 3.0 < (told - 100.0 * true).mean() < 15.0
    assert 0.4 < np.corrcoef(told, true)[0, 1] < 0.98


@pytest.mark.parametrize("name", ["briere", "sharpe-schoolfield"])
def test_base_temperatures_look_like_published_ones(name: str) -> None:
    """A straight line through the rates from 15 to 28 C meets zero between 8.5 and 12.5 C, most often near 11."""
    cool = (CELSIUS >= 15.0) & (CELSIUS <= 28.0)
    bases = []
    for law in laws():
        if law.name == name:
            slope, height = np.polyfit(CELSIUS[cool], middle_rates(law)[cool], 1)
            bases.append(-height / slope)
    assert len(bases) > MANY * 0.4
    low, median, high = np.quantile(bases, [0.025, 0.5, 0.975])
    assert 9.0 < low < high < 12.5
    assert 10.2 < median < 11.5
    assert min(bases) > 8.3


def test_each_law_is_best_near_30_c_and_over_before_40() -> None:
    """The best temperature lies at 30-33.5 C, and at 36-40 C less than a twentieth of that rate is left."""
    for law in laws():
        rates = middle_rates(law)
        best = CELSIUS[rates.argmax()]
        beyond = CELSIUS[(best < CELSIUS) & (rates < 0.05 * rates.max())]
        assert 29.9 <= best <= 33.6, law
        assert 36.0 <= beyond[0] <= 40.0, law


def test_no_law_is_degree_hours() -> None:
    """The best straight line from 13 to 30 C misses every tin's rate by more than 1.5 % of that at 25 C."""
    span = (CELSIUS >= 13.0) & (CELSIUS <= 30.0)
    for law in laws():
        rates = middle_rates(law)[span]
        line = np.polyval(np.polyfit(CELSIUS[span], rates, 1), CELSIUS[span])
        assert np.abs(rates - line).max() > 0.015, law


def test_the_briere_law_is_the_world_s() -> None:
    """The table of the Briere law holds what the world of single cysts computes."""
    limits = np.array([8.0, 9.5]), np.array([37.5, 39.0])
    table = rate_table(Law("briere", 9.0, 38.0), *limits)
    for row in range(0, len(CELSIUS), 25):
        one = briere(float(CELSIUS[row]), *limits) / briere(25.0, *limits)
        assert table[row] == pytest.approx(one, abs=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("width", [0.2, 0.43, 0.85])
def test_each_family_is_as_wide_as_asked(family: str, width: float) -> None:
    """Half are out at the median, and T90 - T10 is the width asked for in medians, for every family."""
    early, half, late = np.exp(np.interp([0.1, 0.5, 0.9], share_table(family, width), LOG_TIMES))
    assert half == pytest.approx(1.0, abs=0.002)
    assert late - early == pytest.approx(width, abs=0.004)


def test_families_differ_in_their_tails() -> None:
    """With the same median and width, the last cysts of the families come hours apart."""
    last = [float(np.exp(np.interp(0.99, share_table(family, 0.45), LOG_TIMES))) for family in FAMILIES]
    assert max(last) - min(last) > 0.2


def test_synchrony_and_batches_are_those_of_published_lots(tins: list[Tin]) -> None:
    """T90 - T10 lies within 5-14 h, half below about 8.5; batches of one tin differ by a log-SD of 0.08-0.10."""
    spans = [tin.synchrony_h for tin in tins]
    assert 5.0 <= min(spans) < max(spans) <= 14.0
    assert 7.8 < np.median(spans) < 9.2
    assert all(0.08 <= tin.batch_log_sd <= 0.10 for tin in tins)
    assert {tin.family for tin in tins} == set(FAMILIES)


def test_rooms_run_from_living_room_to_unheated_shed() -> None:
    """Each kind of room occurs, and passes on its own share of the outdoor swing."""
    places = [draw_place(4, f"t{number}") for number in range(MANY)]
    shares = {kind.name: (kind.share.low, kind.share.high) for kind in ranges.ROOM.items}
    for kind, (low, high) in shares.items():
        here = [place.share for place in places if place.kind == kind]
        assert len(here) > MANY * 0.1, kind
        assert low <= min(here) < max(here) <= high
    assert any(place.owns_heater for place in places)
    assert not all(place.owns_heater for place in places)


def test_keepers_words_are_in_order() -> None:
    """Every keeper writes "first" from fewer cysts on than "some", and "some" from fewer than "most"."""
    for number in range(MANY):
        keeper = draw_keeper(4, f"t{number}")
        assert keeper.first_at <= 0.04 <= keeper.some_at < keeper.most_at < keeper.harvest_at


def test_every_range_gives_its_reason() -> None:
    """Each prior of the population carries a reason or a source."""
    priors = [value for name, value in vars(ranges).items() if name.isupper() and hasattr(value, "why")]
    assert len(priors) > 40
    assert [prior for prior in priors if len(prior.why) < len("assumption")] == []


def test_draws_keep_to_their_limits() -> None:
    """From one end of chance to the other, a range gives values inside its limits, in order."""
    shares = np.linspace(0.0, 1.0, 201)
    for prior in (ranges.MEDIAN_H, ranges.SYNCHRONY_H, ranges.PROBE_BIAS_C, ranges.SALINITY_G_L, ranges.CYSTS_G_L):
        values = spread(prior, shares)
        assert prior.low <= values[0] < values[-1] <= prior.high
        assert np.all(np.diff(values) >= 0)
