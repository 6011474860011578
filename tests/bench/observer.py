"""An ideal reader of a keeper's log: knows the weather, the keeper's borders and how loosely he counts, not the batch's luck."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.score.baselines import BASELINES
from monitor.score.rows import COUNTED
from simulator.population import ranges
from simulator.population.cohort import Classes, hours_until, progress, share_out, steps
from simulator.population.heat import BEGIN
from simulator.population.keeper import NOTHING
from simulator.population.tins import Keeper, Tin, draw_tin
from simulator.world.world import STEP_H
from tests.bench.hidden import Errors, Life, Watched, weighted_median

if TYPE_CHECKING:
    from collections.abc import Sequence

    from monitor.score.rows import Row
    from simulator.population.batches import Batch
    from simulator.population.keeper import Entry
    from simulator.population.laws import Reals
    from simulator.world.numbers import Floats

MODEL, OBSERVER, STRANGER = "shipped", "observer who knows the tin", "observer who knows the population"
LUCK: Final = np.linspace(-3.2, 3.2, 65)
YIELD: Final = np.linspace(-2.5, 2.5, 11)
HATCHABLE: Final = np.linspace(-3.0, 3.0, 25)
MIXING: Final = np.linspace(-2.5, 2.5, 11)
STRANGERS: Final = 500  # tins that stand for the population
COARSE: Final = 15  # minutes
HARVEST_PUT_OFF: Final = ranges.NEXT_MORNING / 3  # a third of the looks are in the evening


@dataclass(frozen=True, slots=True)
class Hypotheses:
    """What may be true of a batch: shares out at each minute of an entry, hatchable of each, T90 and weight; (n,) each."""

    out: dict[int, Floats]
    t90_h: Floats
    weights: Floats
    hatchable: Floats  # (m,), independent of the rest
    hatchable_weights: Floats


def observed_h(keeper: Keeper, log: Sequence[Entry], might: Hypotheses) -> float:
    """Median of T90 of the ideal observer after these entries."""
    weight = might.weights.copy()
    log_counts = np.zeros((len(weight), len(might.hatchable)))
    for entry in log:
        out = might.out[entry.minute]
        weight *= word_chance(keeper, entry.fields["what"], out)
        if "fraction" in entry.fields:
            log_counts += count_log_chance(keeper, entry.fields["fraction"], out[:, None] * might.hatchable)
    likely = np.exp(log_counts - log_counts.max()) @ might.hatchable_weights
    weight *= likely
    return weighted_median(might.t90_h, weight)


def word_chance(keeper: Keeper, word: str, out: Floats) -> Floats:
    """Chance that this keeper writes that word and does not harvest, when this share is out."""
    borders = {"none": (0.0, keeper.first_at), "first": (keeper.first_at, keeper.some_at),
               "some": (keeper.some_at, keeper.most_at), "most": (keeper.most_at, keeper.harvest_at)}  # fmt: skip
    low, high = (below(keeper, border, out) for border in borders[word])
    chance = low - high
    if word == "most":  # a harvest put off until the morning is written so, too
        chance = chance + HARVEST_PUT_OFF * high
    return np.asarray(np.maximum(chance, 1e-9))


def below(keeper: Keeper, border: float, out: Floats) -> Floats:
    """Chance that what he sees is at least ``border``."""
    if border <= 0:
        return np.ones(len(out))
    seen = (logit(out) - logit(np.array(border))) / keeper.eye_logit_sd
    return np.where(out < NOTHING, 0.0, normal_cdf(seen))


def count_log_chance(keeper: Keeper, fraction: float, share: Floats) -> Floats:
    """Log chance of the count, (n, m), over how the drop may differ from the vessel."""
    hits = fraction * keeper.counted
    weights = np.exp(-(MIXING**2) / 2)
    drops = 1 / (1 + np.exp(-(logit(share)[..., None] + keeper.mixing_logit_sd * MIXING)))
    chance = np.exp(hits * np.log(drops) + (keeper.counted - hits) * np.log1p(-drops)) @ (weights / weights.sum())
    return np.asarray(np.log(np.maximum(chance, 1e-300)))


def logit(share: Floats) -> Floats:
    inside = np.clip(share, 1e-9, 1 - 1e-9)
    return np.asarray(np.log(inside) - np.log1p(-inside))


@cache
def _cdf_table() -> tuple[Floats, Floats]:
    z = np.linspace(-6, 6, 1201)
    density = np.exp(-(z**2) / 2)
    return z, np.cumsum(density) / density.sum()


def normal_cdf(z: Floats) -> Floats:
    return np.asarray(np.interp(z, *_cdf_table()))


def of_known(tin: Tin, life: Life, minutes: Sequence[int]) -> Hypotheses:
    """The tin is known; its batch's luck in speed and yield is not."""
    slowness = np.log(tin.median_h) + tin.batch_log_sd * LUCK
    weights = np.exp(-(LUCK**2) / 2)
    out = {m: share_out(np.broadcast_to(life.total[m], (len(LUCK), life.total.shape[1])), slowness, tin.shares)
           for m in minutes}  # fmt: skip
    t90 = hours_until(life.total, slowness, tin.shares, 0.9, STEP_H)
    yields = np.exp(-(YIELD**2) / 2)
    hatchable = 1 / (1 + np.exp(-(logit(np.array(tin.hatchable)) + tin.hatchable_logit_sd * YIELD)))
    return Hypotheses(out, t90, weights, hatchable, yields / yields.sum())


@dataclass(frozen=True, slots=True)
class Strangers:
    """Tins that stand for the population."""

    classes: Classes
    rates: Reals
    shares: Floats
    slowness: Floats
    log_sd: Floats


@cache
def strangers(seed: int) -> Strangers:
    classes = Classes(6)
    tins = [draw_tin(seed, f"stranger {number}") for number in range(STRANGERS)]
    rates = np.stack([classes.rates(tin) for tin in tins], axis=1).astype(np.float32)
    shares = np.stack([tin.shares for tin in tins])
    medians = np.log(np.array([tin.median_h for tin in tins]))
    return Strangers(classes, rates, shares, medians, np.array([tin.batch_log_sd for tin in tins]))


def of_new(tin: Tin, life: Life, minutes: Sequence[int], seed: int) -> Hypotheses:
    """Nothing is known but the population, and the label."""
    those = strangers(seed)
    cells = (len(life.total) - 1) // COARSE
    water = life.water.celsius[BEGIN : BEGIN + cells * COARSE].reshape(cells, COARSE).mean(axis=1)
    total = progress(steps(those.rates, those.classes.soak_h, water, np.ones(cells), COARSE / 60))
    outs: dict[int, list[Floats]] = {minute: [] for minute in minutes}
    hours, weights = [], []
    for z in LUCK[::8]:
        slowness = those.slowness + those.log_sd * z
        hours.append(hours_until(total, slowness, those.shares, 0.9, COARSE / 60))
        weights.append(np.full(STRANGERS, np.exp(-z * z / 2)))
        for minute in minutes:
            low, part = divmod(minute / COARSE, 1)
            advance = total[int(low)] + part * (total[int(low) + 1] - total[int(low)])
            outs[minute].append(share_out(advance, slowness, those.shares))
    hatchable, likely = label_says(tin.label_percent)
    out = {minute: np.concatenate(found) for minute, found in outs.items()}
    return Hypotheses(out, np.concatenate(hours), np.concatenate(weights), hatchable, likely)


def label_says(percent: float | None) -> tuple[Floats, Floats]:
    """Shares that may hatch, and how likely each is by the population and the label."""
    at = logit(np.array(ranges.HATCHABLE.median)) + ranges.HATCHABLE.logit_sd * HATCHABLE
    weights = np.exp(-(HATCHABLE**2) / 2)
    if percent is not None:
        low, high = ((percent + side) / 100 for side in (-2.5, 2.5))
        least, most = (value / 100 for value in ranges.LABEL_PERCENT)
        law = ranges.LABEL_LOGIT
        upto = 1.0 if high > most else normal_cdf((logit(np.array(high)) - at - law.mean) / law.sd)
        since = 0.0 if low < least else normal_cdf((logit(np.array(low)) - at - law.mean) / law.sd)
        weights = weights * np.maximum(upto - since, 1e-12)
    return np.asarray(1 / (1 + np.exp(-at))), weights / weights.sum()


def counts(year: Watched, batches: Sequence[Batch], rows: Sequence[Row]) -> list[Errors]:
    """The observer at each batch's first counted share, beside the model and the rules."""
    by_id = {batch.id: batch for batch in batches}
    found = []
    for row in rows:
        if row.point != COUNTED or row.group == "learning" or not row.foreseeable:
            continue
        batch, life = by_id[row.batch], year.lives[row.batch]
        log = [e for e in batch.entries if e.event == "seen" and e.minute <= row.age_h * 60 + 0.5]
        minutes = [entry.minute for entry in log]
        one = Errors(row.tin, row.group, row.season)
        one.hours[MODEL] = abs(float(row.model.mid) - row.truth_h)
        mights = {OBSERVER: of_known(year.tin, life, minutes)}
        if row.group == "new":
            mights[STRANGER] = of_new(year.tin, life, minutes, year.shelf.seed)
        one.hours |= {who: abs(observed_h(year.keeper, log, might) - row.truth_h) for who, might in mights.items()}
        one.hours |= {rule: abs(row.baselines[rule] - row.truth_h) for rule in BASELINES}
        found.append(one)
    return found
