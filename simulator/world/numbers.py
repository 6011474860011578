"""What the parts of the world share: the array type, and random streams that don't disturb each other."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """A generator of its own for each named thing, so that adding a probe changes nobody else's draws."""
    key = tuple(zlib.crc32(name.encode()) if isinstance(name, str) else name for name in names)
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))


def relax(value: Floats, goal: Floats, time_constant_h: Floats, step_h: float) -> Floats:
    """Exact step of a first-order lag towards ``goal`` held constant over the step."""
    moved: Floats = goal + (value - goal) * np.exp(-step_h / time_constant_h)
    return moved
