"""What is believed of a tin that nobody has hatched yet, against published figures; each names where it comes from."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.core.hatch import Prior, cloud, draw, hatched, progress_at, rate


def test_prior_alone_is_honestly_wide() -> None:
    """Ready of unknown tins at 25 C has a 90 % band of about -37 % to +58 % around it; half has hatched at about 20 h."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    speed = rate(np.full(len(p.half), 25.0), p)
    assert float(np.median(progress_at(0.5, p) / speed)) == pytest.approx(20.0, rel=0.15)
    low, middle, high = np.quantile(progress_at(0.9, p) / speed, [0.05, 0.5, 0.95])
    assert low / middle - 1 == pytest.approx(-0.37, abs=0.09)
    assert high / middle - 1 == pytest.approx(0.58, abs=0.17)


def test_warmth_speeds_the_hatch_as_measured() -> None:
    """From 20 to 24 C the rate rises by a Q10 of 2.6-2.9 (the one pair from one source, San Francisco Bay, 35 g/L)."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    n = len(p.half)
    ratio = np.median(rate(np.full(n, 24.0), p) / rate(np.full(n, 20.0), p))
    assert 2.2 <= ratio ** (10 / 4) <= 3.2


def test_there_is_a_best_temperature_and_an_end() -> None:
    """25-28 C is the preferred range, little happens near the threshold and above 40 C nothing (FAO T428 annex 4, restated)."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    n = len(p.half)
    at = {c: float(np.median(rate(np.full(n, float(c)), p))) for c in (6, 9, 13, 18, 25, 28, 33, 45)}
    assert at[6] <= at[9] < at[13] < at[18] < at[25] < at[28]
    assert at[9] < 0.1
    assert at[33] < at[28]
    assert at[45] == 0.0


def test_rate_laws_part_in_the_cold() -> None:
    """Below 18 C the usual rate laws part badly: tins differ in relative rate more there than from 20 to 28 C."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    n = len(p.half)

    def spread(celsius: float) -> float:
        return float(np.std(np.log(np.maximum(rate(np.full(n, celsius), p), 1e-6))))

    assert spread(16.0) > 1.5 * spread(22.0)


def test_synchrony_is_in_the_published_range() -> None:
    """From 10 to 90 % takes 6.4-12 h in most tins (Yang, Bian & Li 1989; Bethioua et al. 2017; KKT1 2005), rarely a day."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    spans = progress_at(0.9, p) - progress_at(0.1, p)
    assert 5.0 <= float(np.median(spans)) <= 14.0
    assert float(np.quantile(spans, 0.99)) < 45.0


def test_a_label_is_believed_within_reason() -> None:
    """A tin's label centres the share that will hatch on itself, and narrower than no label does."""
    bare, labelled = draw(cloud(), Prior.of_label(None)).share, draw(cloud(), Prior.of_label(85.0)).share
    assert float(np.median(labelled)) == pytest.approx(0.85, abs=0.03)
    assert float(np.std(labelled)) < 0.6 * float(np.std(bare))


def test_unlabelled_tins_hatch_as_published_ones() -> None:
    """Without a label shares lie about the mean of 65 % and SD 18 % of 18 published lots, good tins a little above."""
    share = draw(cloud(), Prior.of_label(None)).share
    assert 0.55 <= float(np.mean(share)) <= 0.75
    assert 0.12 <= float(np.std(share)) <= 0.25


def test_hatched_and_progress_are_inverse() -> None:
    """The share at the progress at which a share has hatched is that share; nothing hatches without progress."""
    p = draw(cloud(), Prior.of_label(None), 30.0)
    for share in (0.1, 0.5, 0.9):
        np.testing.assert_allclose(hatched(progress_at(share, p), p), share, rtol=1e-9)
    assert float(hatched(np.zeros(len(p.half)), p).max()) < 1e-100


@pytest.mark.parametrize("percent", [0.0, 1e-9, 100.0])
def test_a_label_of_nothing_or_all_is_taken(percent: float) -> None:
    """A label at the very ends leaves finite numbers."""
    share = draw(cloud(), Prior.of_label(percent)).share
    assert np.isfinite(share).all()
    assert ((share > 0) & (share < 1)).all()
