"""Ways to spoil the model, each of which a limit of the cold season must notice. Called once in a process of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.core import hatch, replay, water
from monitor.core.hatch import COORDINATES, Prior
from monitor.score import rows

if TYPE_CHECKING:
    from monitor.core.hatch import Array

ALL_BASES = ("BASE_MEAN_C", "BASE_LOW_C", "BASE_HIGH_C")


def base_too_high() -> None:
    """No progress below a temperature that is 4 C too high; the bounds move along, so no batch can teach otherwise."""
    _shift_base(4.0)


def base_too_low() -> None:
    """No progress below a temperature that is 4 C too low; the bounds move along, so no batch can teach otherwise."""
    _shift_base(-4.0)


def _shift_base(by: float) -> None:
    shifted = {name: getattr(hatch, name) + by for name in ALL_BASES}
    vars(hatch).update(shifted)
    middle = float(hatch.draw(np.zeros((1, len(COORDINATES))), Prior.of_label(None)).base[0])
    if not shifted["BASE_LOW_C"] < middle < shifted["BASE_HIGH_C"] or abs(middle - shifted["BASE_MEAN_C"]) > 0.5:
        raise AssertionError(f"the base temperature was to be {shifted['BASE_MEAN_C']} C and is {middle} C")


def water_stays() -> None:
    """Water that stays at its newest value for sure."""

    def at(self: water.Forecast, times: Array) -> tuple[Array, Array]:
        return np.full(times.shape, self.now), np.zeros(times.shape)

    water.Forecast.at = at  # type: ignore[method-assign]


def nothing_learned() -> None:
    """A tin stays new for ever."""
    told = replay.forecasts_at

    def unlearned(*arguments: Any, **_: Any) -> Any:
        return told(*arguments, learn=False)

    vars(rows)["forecasts_at"] = unlearned
