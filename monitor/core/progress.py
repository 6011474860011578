"""Summing progress over what the probes told, for a cloud of parameter samples at once, and running it on into the forecast."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core import oxygen
from monitor.core.hatch import SOAK_H, Array, Parameters, hatched, progress_at, rate
from monitor.core.light import light
from monitor.core.model import HOUR, MINUTE, SLOT, Ms

if TYPE_CHECKING:
    from monitor.core.water import Forecast

SHARES: Final = (0.1, 0.5, 0.9)
ANOXIC_MG_L: Final = 0.5  # below this the restart lag builds up; an assumption
LAG_BUILDS_H: Final = (
    0.5  # heat is undetectable after 1.5 h (J. exp. Biol. 178:149, 1993); most of it goes sooner: assumption
)
DEADLY_C: Final = 40.0  # hydrated cysts die above (FAO freshwater prawn manual, T428, annex 4, restated)
DEADLY_SLOTS: Final = 6
BLOCK: Final = 16  # steps of the future at a time: between them those that are done are left behind
HORIZON_STEPS: Final = ((96, 30 * MINUTE), (96, HOUR), (192, 4 * HOUR))
"""Steps into the future, finest first; 38 days in all, after which a hatch counts as never."""


@light(frozen=False)
class Progress:
    """State of a batch for each of n samples, after the slots before ``slot``."""

    start: Ms  # when the soaking is over and progress begins
    vessel: oxygen.Vessel
    parameters: Parameters
    slot: int
    x: Array  # progress, hours at 25 C
    oxygen_mg_l: Array
    debt_h: Array  # restart lag still to be waited for
    crossed: Array  # ms, shape (3, n): when 10, 50, 90 % had hatched; infinite while not yet
    targets: Array  # progress at those shares, shape (3, n)
    disturbed: bool = False  # the air was off or weak and its effect has not passed
    deadly_slots: int = 0
    starved_h: float = 0.0  # mean over the samples of the time without oxygen
    edge_x: list[tuple[Ms, Array]] = field(default_factory=list)  # newest edges, for progress at an instant

    @classmethod
    def begin(cls, start: Ms, vessel: oxygen.Vessel, parameters: Parameters) -> Progress:
        n = len(parameters.half)
        begins = start + round(SOAK_H * HOUR)
        return cls(
            start=begins,
            vessel=vessel,
            parameters=parameters,
            slot=begins // SLOT,
            x=np.zeros(n),
            oxygen_mg_l=np.full(n, float(oxygen.saturation(25.0, vessel.salinity_g_l))),
            debt_h=np.zeros(n),
            crossed=np.full((3, n), np.inf),
            targets=np.stack([progress_at(share, parameters) for share in SHARES]),
        )

    @property
    def summed(self) -> bool:
        """Whether any slot is in it yet; while the cysts soak none is."""
        return self.slot > self.start // SLOT

    def copy(self) -> Progress:
        """A copy that can be run on without touching this one."""
        return Progress(
            self.start,
            self.vessel,
            self.parameters,
            self.slot,
            self.x,
            self.oxygen_mg_l,
            self.debt_h,
            self.crossed.copy(),
            self.targets,
            self.disturbed,
            self.deadly_slots,
            self.starved_h,
            list(self.edge_x),
        )

    def run(self, water_c: Array, air: Array) -> None:
        """Go on over the next slots: ``water_c`` C and ``air`` share of the full air (0..1), shape (k,) each.

        Weak air is a fifth of the full: as the stone goes, so goes the oxygen, and the very balance that stops a batch without
        air lets one with weak air develop as if it ran, unless its oxygen settles low. No rule of its own is needed.
        """
        k = 0
        while k < len(water_c):
            quiet = air[k:] >= 1.0
            length = int(np.argmin(quiet)) if not quiet.all() else len(quiet)
            if self.disturbed or length == 0:
                self._slot_with_oxygen(float(water_c[k]), float(air[k]))
                k += 1
            else:
                length = min(length, 576)  # two days at a time keeps the arrays small
                self._quiet(water_c[k : k + length])
                k += length

    def _hours(self, slots: int) -> tuple[Array, Array]:
        """Edges in ms, shape (slots + 1,), the first not before the start, and hours between them."""
        edges = (np.arange(self.slot, self.slot + slots + 1) * SLOT).astype(float)
        edges = np.maximum(edges, float(self.start))
        return edges, np.diff(edges) / HOUR

    def _quiet(self, water_c: Array) -> None:
        edges, hours = self._hours(len(water_c))
        growth = rate(water_c[:, None] + self.parameters.bias, self.parameters) * hours[:, None]
        self._take(edges, climb(self.x, growth))
        self.slot += len(water_c)
        self._count_deadly(water_c)
        share = hatched(self.x, self.parameters) * self.parameters.share
        use = oxygen.demand(float(water_c[-1]), self.vessel.cysts_g_l, share) * self.parameters.demand
        exchange = oxygen.AIR_STONE_PER_H + oxygen.surface_per_h(self.vessel.litres)
        full = oxygen.saturation(float(water_c[-1]), self.vessel.salinity_g_l)
        self.oxygen_mg_l = np.maximum(full - use / exchange, 0.0)

    def _slot_with_oxygen(self, water_c: float, air: float) -> None:
        edges, hours = self._hours(1)
        h = float(hours[0])
        p = self.parameters
        share = hatched(self.x, p) * p.share
        before = self.oxygen_mg_l
        self.oxygen_mg_l = oxygen.after(before, water_c, self.vessel, share, p.demand, air, h)
        mean = (before + self.oxygen_mg_l) / 2
        gate = np.clip(mean / oxygen.CRITICAL_MG_L, 0.0, 1.0)
        starved = mean < ANOXIC_MG_L
        self.starved_h += float(starved.mean()) * h
        waited = np.where(starved, 0.0, np.minimum(self.debt_h, h))
        debt = np.where(starved, np.minimum(self.debt_h + p.lag * h / LAG_BUILDS_H, p.lag), self.debt_h - waited)
        growth = rate(water_c + p.bias, p) * gate * np.where(starved, h, h - waited)
        self.debt_h = debt
        self._take(edges, (self.x + growth)[None, :])
        self.slot += 1
        self._count_deadly(np.array([water_c]))
        recovered = air >= 1.0 and not debt.any() and bool((self.oxygen_mg_l > oxygen.CRITICAL_MG_L).all())
        self.disturbed = not recovered

    def _count_deadly(self, water_c: Array) -> None:
        self.deadly_slots += int((water_c > DEADLY_C).sum())

    def _take(self, edges: Array, path: Array) -> None:
        """Note crossings on ``path``, shape (k, n), whose rows end at ``edges[1:]``."""
        cross(self.crossed, self.targets, edges, self.x, path)
        first = max(len(path) - 2, 0)
        kept = path[first:].copy()  # a view would hold the whole path in memory, megabytes for each batch
        for k, row in enumerate(kept, first):
            if k == 0:
                self.edge_x.append((int(edges[0]), self.x))
            self.edge_x.append((int(edges[k + 1]), row))
        del self.edge_x[:-4]
        self.x = kept[-1]

    def run_on(self, future: Forecast, enough: Array, now: Ms) -> Array:
        """Run on into the forecast until the weight of samples that are done is at least 0.97 (``enough``: weights).

        Air is taken to run. Returns progress at ``now``, shape (n,); ``crossed`` is complete afterwards.
        """
        at_now = self.progress_near(now)
        start = max(self.slot * SLOT, self.start)
        crossed = self.crossed.copy()
        those = np.arange(len(self.x))  # who is still on the way
        x, p = self.x, self.parameters
        for steps, width in HORIZON_STEPS:
            todo = np.isinf(crossed[2])
            if float(enough[todo].sum()) <= 0.03 and start > now:
                break
            edges = start + np.arange(steps + 1, dtype=float) * width
            mean, sd = future.at(edges[1:] - width / 2)
            for k in range(0, steps, BLOCK):
                end = min(k + BLOCK, steps)
                if edges[k] > now:
                    more = np.isinf(crossed[2, those])
                    if 2 * int(more.sum()) < len(those):  # to leave the others behind pays
                        those, x, p = those[more], x[more], p.of(more)
                    if not len(those):
                        break
                water = mean[k:end, None] + sd[k:end, None] * p.weather + p.bias
                path = climb(x, rate(water, p) * (width / HOUR))
                fresh = np.full((len(crossed), len(those)), np.inf)
                cross(fresh, self.targets[:, those], edges[k : end + 1], x, path)
                known = crossed[:, those]
                crossed[:, those] = np.where(np.isinf(known), fresh + self.debt_h[those] * HOUR, known)
                if edges[k] <= now < edges[end]:
                    i = int((now - start) // width)
                    low = path[i - k - 1] if i > k else x
                    at_now = low + (path[i - k] - low) * ((now - edges[i]) / width)
                x = path[-1]
            start = int(edges[-1])
        self.crossed = crossed
        return at_now

    def progress_near(self, time: Ms) -> Array:
        """Progress at an instant within the newest slots, by straight lines; the newest when it is later."""
        if time <= self.start or not self.edge_x:
            return np.zeros_like(self.x)
        later = self.edge_x[-1]
        for earlier, after in zip(reversed(self.edge_x[:-1]), reversed(self.edge_x), strict=False):
            if earlier[0] <= time < after[0]:
                part = (time - earlier[0]) / (after[0] - earlier[0])
                return earlier[1] + (after[1] - earlier[1]) * part
        return later[1]


def climb(before: Array, growth: Array) -> Array:
    """Progress after each step, shape (k, n), from ``before`` (n,); ``growth`` is taken for it.

    Row by row: numpy's cumulative sum along the first axis takes four times as long.
    """
    growth[0] += before
    for k in range(1, len(growth)):
        np.add(growth[k - 1], growth[k], out=growth[k])
    return growth


def cross(crossed: Array, targets: Array, edges: Array, before: Array, path: Array) -> None:
    """Fill in ``crossed`` (m, n) where ``path`` (k, n), begun from ``before`` (n,), first reaches ``targets`` (m, n)."""
    last = path[-1]
    due = (last >= targets) & np.isinf(crossed)
    for row, target, reaches in zip(crossed, targets, due, strict=True):
        (samples,) = np.nonzero(reaches)
        if not len(samples):
            continue
        reached = target[samples]
        below = (path[:, samples] < reached).sum(axis=0)  # paths never fall
        high = path[below, samples]
        low = np.where(below > 0, path[np.maximum(below - 1, 0), samples], before[samples])
        part = (reached - low) / np.maximum(high - low, 1e-12)
        row[samples] = edges[below] + part * (edges[below + 1] - edges[below])
