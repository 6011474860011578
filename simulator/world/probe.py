"""Probes: what reaches the wire of what is true. Sampling, noise, bias, steps, silences and power-on spikes."""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simulator.world.numbers import Floats, stream

if TYPE_CHECKING:
    from simulator.scenario.models import Probe
    from simulator.world.world import Trace, World

POWER_ON_C = 85.0
WORD_AT = 0.2  # below this share of its air a pump's flow switch says "off"
WEAK_AT = 0.6  # below this one a switch with a second contact says so
BLOCK = 1024


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading as a probe tells it: a number in its unit, or an air word."""

    offset_s: int
    probe: Probe
    value: float | str
    sequence: int


class ProbeModel:
    """One probe. Its readings depend on the scenario and its period alone, not on how the world is cut."""

    def __init__(self, probe: Probe, world: World, shortest_s: int = 1) -> None:
        self.probe = probe
        self.every_s = max(probe.every, shortest_s)
        # Each probe ticks at a moment of its own; real ones never tick together.
        self.phase_s = zlib.crc32(probe.id.encode()) % self.every_s
        self._seed = world.scenario.seed
        self._world = world
        self._first = self._number_after(-world.scenario.lead)
        self._spikes = {self._number_after(at - 1) for at in probe.spikes}
        self._blocks: dict[int, Floats] = {}

    def samples(self, trace: Trace) -> list[Sample]:
        """All readings after the first row of ``trace`` up to its last."""
        first = self._number_after(float(trace.offset_s[0]))
        last = self._number_after(float(trace.offset_s[-1]))
        numbers = np.arange(first, last)
        offsets = (self.phase_s + numbers * self.every_s).astype(float)
        heard = self._heard(offsets)
        numbers, offsets = numbers[heard], offsets[heard]
        if not len(numbers):
            return []
        values = self._values(trace, numbers, offsets)
        return [
            Sample(int(offset), self.probe, value, int(number - self._first) + 1)
            for number, offset, value in zip(numbers, offsets, values, strict=True)
        ]

    def _number_after(self, offset_s: float) -> int:
        return int((offset_s - self.phase_s) // self.every_s) + 1

    def _heard(self, offsets: Floats) -> np.ndarray:
        heard = np.ones(len(offsets), dtype=bool)
        for silence in self.probe.silent:
            heard &= (offsets < silence.at) | (offsets >= silence.at + silence.hours * 3600)
        return heard

    def _values(self, trace: Trace, numbers: np.ndarray, offsets: Floats) -> list[float | str]:
        probe = self.probe
        if probe.measures == "air":
            left = self._world.strength(probe.vessel or "", offsets)
            if probe.reads == "word":
                return [self._word(share) for share in left]
            return self._rounded(np.maximum(self._air(left) + self._error(numbers) * (left > 0), 0.0))
        true = trace.room_c if probe.vessel is None else trace.water_c[:, self._world.index[probe.vessel]]
        celsius = np.interp(offsets, trace.offset_s, true) + self._error(numbers)
        celsius[np.isin(numbers, list(self._spikes))] = POWER_ON_C
        return self._rounded(celsius * 1.8 + 32.0 if probe.unit == "F" else celsius)

    def _word(self, share: float) -> str:
        probe = self.probe
        if share < WORD_AT:
            return probe.words[1]
        return probe.weak_word if probe.weak_word and share < WEAK_AT else probe.words[0]

    def _air(self, left: Floats) -> Floats:
        """A worn pump still draws its power; only a stopped one does not. Bubbles follow the air."""
        pump = self._world.pumps.get(self.probe.vessel or "")
        if pump is None:
            return np.zeros_like(left)
        if self.probe.reads == "power":
            return np.where(left > 0, pump.watts, 0.0)
        return pump.bubbles_per_minute * left

    def _error(self, numbers: np.ndarray) -> Floats:
        error: Floats = self.probe.bias + self.probe.noise_sd * np.array([self._noise(int(n)) for n in numbers])
        return error

    def _noise(self, number: int) -> float:
        block, place = divmod(number - self._first, BLOCK)
        if block not in self._blocks:
            draws = stream(self._seed, "probe", self.probe.id, block).standard_normal(BLOCK)
            self._blocks = {block: draws}  # only ever the newest: a run may last for months
        return float(self._blocks[block][place])

    def _rounded(self, values: Floats) -> list[float | str]:
        step = self.probe.step
        if step:
            values = np.round(values / step) * step
        return [round(float(value), 4) for value in values]
