from __future__ import annotations

from itertools import islice

import numpy as np
import pytest

from monitor.core.hatch import SAMPLES
from monitor.core.shuffle import orders


@pytest.mark.parametrize("seed", [0, 7, 11, 20_240, 2**32 - 1])
@pytest.mark.parametrize("length", [1, 2, 100, SAMPLES])
def test_orders_are_those_of_numpy_s_generator(seed: int, length: int) -> None:
    """Order after order is the one that numpy's default generator gives for the same seed."""
    generator = np.random.default_rng(seed)
    for order in islice(orders(seed, length), 14):
        assert order == generator.permutation(length).tolist()
