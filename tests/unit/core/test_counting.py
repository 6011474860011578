"""Counted drops: what they tell, how often it holds, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.counting import (
    GENERAL,
    Amount,
    Count,
    Cysts,
    Drops,
    Sample,
    Uncountable,
    _student,
    enough,
    reckon,
    share_to_log,
)

GIVEN = Cysts(250_000.0, 0.0, "given", "")
EACH = st.lists(st.integers(0, 200), min_size=1, max_size=12)


def sample(*each: int, **changes: Any) -> Sample:
    """Drops of 0.25 mL, thinned ten times, out of 1.5 L with 3 g of cysts of which the number in a gram is known."""
    plain = Sample(Drops.of(each), 0.25, 10.0, 1.5, 3.0, GIVEN)
    return replace(plain, **changes)


def found(amount: Amount | None) -> Amount:
    assert amount is not None
    return amount


def test_drops_tell_of_the_vessel() -> None:
    """36 in three drops of 0.25 mL, thinned ten times: 480 in a mL, 720 000 in 1.5 L, 240 000 from a gram, 96 %."""
    count = reckon(sample(12, 15, 9))
    assert count.per_ml.mid == pytest.approx(480)
    assert found(count.in_all).mid == pytest.approx(720_000)
    assert found(count.per_g).mid == pytest.approx(240_000)
    assert found(count.hatched).mid == pytest.approx(0.96)
    # The limits of 36 by Byar's approximation (Breslow & Day 1987, from memory): 28.559 and 44.975.
    assert found(count.in_all).lo == pytest.approx(28.559 * 20_000, rel=1e-3)
    assert found(count.in_all).hi == pytest.approx(44.975 * 20_000, rel=1e-3)


def test_what_was_not_told_is_not_reckoned() -> None:
    """Without litres all is for a mL only; without grams nothing is said of cysts."""
    count = reckon(sample(12, 15, litres=None))
    assert (count.in_all, count.per_g, count.hatched) == (None, None, None)
    count = reckon(sample(12, 15, cysts_g=None))
    assert count.in_all is not None
    assert (count.per_g, count.hatched) == (None, None)


def test_none_in_the_drops_still_says_how_many_there_may_be() -> None:
    """Nothing in three drops of 0.25 mL, not thinned: by the logarithm of ten, 2.303, at most 4605 in 1.5 L."""
    count = reckon(sample(0, 0, 0, dilution=1.0))
    most = found(count.in_all)
    assert (most.lo, most.mid) == (0.0, 0.0)
    assert most.hi == pytest.approx(4605, abs=1)
    assert found(count.hatched).mid == 0
    assert count.more_drops is None
    assert count.scatter is None


@settings(deadline=None)
@given(EACH, st.floats(0.01, 5), st.floats(1, 50))
def test_the_middle_lies_inside_and_order_does_not_matter(each: list[int], drop_ml: float, dilution: float) -> None:
    """A range holds its middle, and the drops may be told in any order."""
    told = replace(sample(*each), drop_ml=drop_ml, dilution=dilution, litres=None)
    amount = reckon(told).per_ml
    assert 0 <= amount.lo <= amount.mid <= amount.hi
    turned = reckon(replace(told, drops=Drops.of(tuple(reversed(each))))).per_ml
    assert turned.hi == pytest.approx(amount.hi)


@settings(deadline=None)
@given(st.integers(1, 150), st.integers(1, 20), st.floats(1, 100))
def test_the_same_with_more_drops_is_surer(in_each: int, number: int, dilution: float) -> None:
    """Twice as many even drops have the same middle and a narrower range; thinning only scales."""
    once, twice = (reckon(sample(*[in_each] * n, litres=None, dilution=1.0)).per_ml for n in (number, 2 * number))
    assert twice.mid == pytest.approx(once.mid)
    assert twice.hi < once.hi
    assert twice.lo > once.lo
    thinned = reckon(sample(*[in_each] * number, litres=None, dilution=dilution)).per_ml
    assert thinned.hi == pytest.approx(once.hi * dilution)


def held(rng: np.random.Generator, number: int, mean: float, spread: float, rounds: int = 400) -> float:
    """How often the range holds the truth; ``spread`` is the variance of the drops over their mean."""
    hits = 0
    for _ in range(rounds):
        means = np.full(number, mean) if spread == 1 else rng.gamma(mean / (spread - 1), spread - 1, number)
        each = tuple(int(count) for count in rng.poisson(means))
        amount = reckon(Sample(Drops.of(each), 1.0)).per_ml
        hits += amount.lo <= mean <= amount.hi
    return hits / rounds


@pytest.mark.parametrize(("number", "mean"), [(1, 12.0), (3, 4.0), (3, 15.0), (6, 1.5), (8, 30.0), (20, 6.0)])
def test_the_range_of_well_mixed_drops_holds_the_truth(number: int, mean: float) -> None:
    """In 78 to 95 of 100 samples: a little more often than 8 in 10, as the limits are exact."""
    assert 0.78 <= held(np.random.default_rng(5), number, mean, 1.0) <= 0.95


@pytest.mark.parametrize(("number", "mean"), [(2, 5.0), (2, 20.0), (3, 20.0), (5, 20.0), (10, 20.0)])
@pytest.mark.parametrize("spread", [2.0, 4.0])
def test_the_range_of_badly_mixed_drops_still_holds_it(number: int, mean: float, spread: float) -> None:
    """In at least 72 of 100 samples of drops that differ two or four times as much as by chance."""
    assert held(np.random.default_rng(7), number, mean, spread) >= 0.72


def test_drops_that_differ_more_than_chance_are_called_uneven() -> None:
    """The total is the same, the range wider, and it is said; a total alone cannot tell."""
    even, uneven = reckon(sample(15, 17, 16)), reckon(sample(2, 16, 30))
    assert even.scatter is not None
    assert uneven.scatter is not None
    assert (even.scatter.uneven, uneven.scatter.uneven) == (False, True)
    assert found(uneven.in_all).mid == found(even.in_all).mid
    assert found(uneven.in_all).hi > 1.5 * found(even.in_all).hi
    assert reckon(sample(drops=Drops(48, 3))).scatter is None


def test_well_mixed_drops_are_seldom_called_uneven() -> None:
    """One well mixed sample of twenty, as the threshold says: between 2 and 8 of 100."""
    rng = np.random.default_rng(3)
    counts = [reckon(Sample(Drops.of(tuple(map(int, rng.poisson(12.0, 5)))), 1.0)) for _ in range(500)]
    assert 0.02 <= np.mean([count.scatter is not None and count.scatter.uneven for count in counts]) <= 0.08


@pytest.mark.parametrize(("degrees", "table"), [(1, 3.078), (2, 1.886), (5, 1.476), (10, 1.372), (30, 1.310)])
def test_few_drops_weigh_less_as_student_has_it(degrees: int, table: float) -> None:
    """Within 5 % for two drops and 1 % for more of the table of Student's t at 0.90, from memory."""
    assert _student(degrees) == pytest.approx(table, rel=0.05 if degrees == 1 else 0.01)


# -- cysts


def test_a_usual_figure_of_cysts_is_less_sure_than_a_given_one() -> None:
    """The range of the share grows, that of the number does not."""
    known, usual = reckon(sample(40, 38, 45)), reckon(sample(40, 38, 45, cysts=GENERAL))
    assert usual.in_all == known.in_all
    assert found(usual.hatched).hi / found(usual.hatched).lo > 1.3 * found(known.hatched).hi / found(known.hatched).lo


def test_the_usual_figure_agrees_with_what_is_published() -> None:
    """Dried cysts of 3.64 ug are 275 000 in a gram (abstract, see the module); a good gram gives 200 000-300 000 (SRAC 702)."""
    usual = GENERAL.amount
    assert usual.lo < 1e6 / 3.64 < usual.hi
    assert usual.lo == pytest.approx(200_000, rel=0.1)
    assert usual.hi > 300_000


def test_more_than_all_is_told_and_not_cut_off() -> None:
    """A miscount gives more than all cysts; it stands as it is."""
    assert found(reckon(sample(60, 55, 65)).hatched).mid == pytest.approx(4.8)


@pytest.mark.parametrize(
    ("told", "logged"),
    [
        (sample(30, 41, 38, dilution=2.0), 109 / 0.75 * 2 * 500 / 250_000),
        (sample(30, 41, 38, dilution=2.0, cysts=GENERAL), None),
        (sample(12, 15, 9, dilution=5.0), None),
        (sample(3, 90, 38, dilution=2.0), None),
        (sample(60, 55, 65), None),
        (sample(30, 41, 38, dilution=2.0, cysts_g=None), None),
    ],
    ids=["good", "usual cysts", "few", "uneven", "more than all", "no grams"],
)
def test_a_share_is_logged_only_where_it_can_teach(told: Sample, logged: float | None) -> None:
    """From a hundred on, well mixed, of cysts whose number is known, and never more than all."""
    assert share_to_log(reckon(told)) == (None if logged is None else pytest.approx(logged))


# -- more drops


def near(count: Count) -> bool:
    return count.per_ml.hi <= 1.2 * count.per_ml.mid


@pytest.mark.parametrize("each", [(1,), (4, 4), (12, 12, 12), (25, 25)])
def test_so_many_more_drops_bring_it_within_a_fifth(each: tuple[int, ...]) -> None:
    """With as many more like these it is near enough, with one fewer it is not, and then none are asked for."""
    more = reckon(sample(*each, litres=None)).more_drops
    assert more is not None
    assert more > 0
    number = len(each) + more
    assert number <= 60
    after = reckon(sample(*[each[0]] * number, litres=None))
    assert near(after)
    assert after.more_drops == 0
    assert not near(reckon(sample(*[each[0]] * (number - 1), litres=None)))


def test_uneven_drops_need_more() -> None:
    """What differs four times as much must be counted four times as often; 54 are enough where it does not."""
    assert enough() == 54
    assert enough(4.0) == 216


# -- what cannot be


@pytest.mark.parametrize(
    ("changes", "field", "told"),
    [
        ({"drops": Drops(0, 0)}, "drops", "count 1 to 60"),
        ({"drops": Drops.of((1,) * 61)}, "drops", "count 1 to 60"),
        ({"drops": Drops.of((3, -1))}, "drops", "Less than none"),
        ({"drops": Drops.of((2001, 3))}, "drops", "dilute"),
        ({"drops": Drops(7, 2, (3, 5))}, "drops", "don't agree"),
        ({"drop_ml": 5e-324}, "drop_ml", "0.001 to 100 mL"),
        ({"drop_ml": 101.0}, "drop_ml", "0.001 to 100 mL"),
        ({"drop_ml": float("nan")}, "drop_ml", "can't be"),
        ({"dilution": 0.5}, "dilution", "1 is not at all"),
        ({"dilution": 20_000.0}, "dilution", "10000 is the most"),
        ({"litres": 0.0}, "litres", "0.001 to 1000 L"),
        ({"litres": float("inf")}, "litres", "0.001 to 1000 L"),
        ({"cysts_g": -2.0}, "cysts_g", "0.001 to 1000 g"),
        ({"cysts": Cysts(300.0, 0.0, "given", "")}, "cysts_per_g", "usual are"),
        ({"drop_ml": 90.0, "dilution": 1.0, "litres": 0.2}, "drop_ml", "more water than"),
    ],
)
def test_what_cannot_be_is_refused_with_what_could(changes: dict[str, Any], field: str, told: str) -> None:
    """Each refusal names its field, and says what is allowed."""
    with pytest.raises(Uncountable, match=told) as refused:
        reckon(sample(12, 15, 9, **changes))
    assert refused.value.field == field
