"""Water that hovers at a limit, as a cheap probe tells it: one alarm, and one return when it is over."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from monitor.core.model import HOUR, MINUTE, AlarmState
from tests.unit.core.worlds import T0, Shed, site

if TYPE_CHECKING:
    from collections.abc import Callable

NOISE_C = 0.2
DAY_H = 24.0


def hovering(limit: float, safe: float, dice: random.Random, noise: str) -> Callable[[float], float]:
    """Two hours well on the safe side, a day at the limit, two more hours on the safe side; by hours since T0."""

    def water(hour: float) -> float:
        middle = limit if 2 <= hour < 2 + DAY_H else safe
        error = dice.gauss(0, NOISE_C) if noise == "normal" else dice.choice((-NOISE_C, NOISE_C))
        return round(middle + error, 2)

    return water


@pytest.mark.parametrize("noise", ["normal", "either"])
@pytest.mark.parametrize(("rule", "limit", "safe"), [("cold-snap", 18.0, 20.0), ("too-hot", 30.0, 28.0)])
def test_a_day_at_a_limit_is_one_alarm_and_one_return(rule: str, limit: float, safe: float, noise: str) -> None:
    """A reading a minute, 0.2 C of noise, 24 h at the limit: it rings once, and is over once."""
    where = site(cold=18.0, fall=4.0, feeding_times=())
    shed = Shed(replace(where, vessels={"ash": replace(where.vessels["ash"], hot_above=30.0)}))
    shed.remember("ash-water", 30, lambda _: safe).remember("ash-air", 30, lambda _: 1)
    shed.run(MINUTE, safe)
    shed.begin()
    water = hovering(limit, safe, random.Random(f"{rule} {noise}"), noise)  # noqa: S311  (no secret)
    shed.run(27 * HOUR, water)
    moves = [move for move in shed.moves if move.alarm.id == f"{rule}:ash" and move.notify]
    rung = [move for move in moves if move.alarm.state is AlarmState.UNACKNOWLEDGED]
    over = [move for move in moves if move.alarm.over]
    assert len(rung) == 1
    assert len(over) == 1
    assert len(moves) == 2
    assert T0 + 2 * HOUR <= rung[0].time < T0 + 6 * HOUR
    assert over[0].time > T0 + 26 * HOUR
