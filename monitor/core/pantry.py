"""All of the room that food depends on, gathered from what the engine holds: see ``Pantry``.

It is made in the thread of decisions, so it copies and looks up, and leaves all sampling to whoever looks ahead.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core import brood_book, tins_held
from monitor.core.food import DAYS, BatchHeld, LotHeld, Pantry, StoreHeld, VesselHeld
from monitor.core.hatch import draw
from monitor.core.in_hand import harvests_in_hand
from monitor.core.log import Discard, Lapse
from monitor.core.lots import Lot
from monitor.core.model import DAY, HOUR, Stage
from monitor.core.pantry_water import water_ahead
from monitor.core.stores import Content, reckon

if TYPE_CHECKING:
    from monitor.core.eta import Belief
    from monitor.core.hatch import Array
    from monitor.core.model import LotSpec, Ms
    from monitor.core.state import Batch, State, VesselState
    from monitor.core.stores import ColdStore

SAMPLES: Final = 200  # of what is believed of a batch
SMALL_L: Final = 20.0
MOST_G_L: Final = (5.0, 2.0)  # g of cysts per litre: in a vessel smaller than that, and in a larger one (Ghent course)
SALINITY_G_L: Final = 25.0  # where nothing was started yet
FAILURES_OF: Final = 40  # the newest batches tell how often one fails
USED_WITHIN: Final[Ms] = 60 * DAY  # a tin nobody told of, and from which nothing was started for so long, is gone
EMPTY_G: Final = 0.05  # a kitchen balance shows no less
BEST_H: Final = 6.0  # of a batch whose best time is not in sight; common practice, no source
NOT_NEEDED: Final = ("too old", "not needed", "surplus")  # words of a discard that is no failure
STORE_AS: Final = (200_000.0, 0.5)  # nauplii and litres of what is put into a store of which nothing is known
KEEPS_LONGEST_H: Final = 7 * 24.0  # where nothing ends it


def gather(state: State, now: Ms) -> Pantry:
    """The room as it is known at ``now``. Takes a few ms; changes nothing but what the engine reckons once a slot anyway."""
    ahead = state.food_ahead
    broods, eaters = brood_book.held(state, now)
    return Pantry(
        now=now,
        timezone=state.site.timezone,
        feeding_times=state.site.feeding_times,
        vessels=tuple(_vessel(state, vessel, now) for vessel in state.vessels.values()),
        batches=tuple(_batch(state, batch, now) for batch in state.open_batches() if batch.belief is not None),
        stores=tuple(_store(state, store, now) for store in state.cold_stores.values()),
        harvests=harvests_in_hand(state, now),
        lots=tuple(_lot(state, lot, now) for lot in _lots_at_hand(state, now)),
        broods=broods,
        eaters=eaters,
        costs=state.site.costs,
        failed=failures(state),
        chance=state.site.food_chance,
        salinity_g_l=_salinity(state),
        cooled=bool(state.cold_stores),
        last=None if ahead is None else ahead.plan,
        days=DAYS,
    )


# -- vessels and batches


def most_g_l(state: State, litres: float) -> float:
    """Grams of cysts per litre that a vessel of this size can take."""
    told = state.site.food_most_g_l
    return told if told is not None else MOST_G_L[litres >= SMALL_L]


def _vessel(state: State, vessel: VesselState, now: Ms) -> VesselHeld:
    begin, mean, sd = water_ahead(state, vessel, now)
    return VesselHeld(
        id=vessel.spec.id,
        litres=vessel.spec.litres,
        most_g_l=most_g_l(state, vessel.spec.litres),
        batch="" if vessel.batch is None else vessel.batch.start.batch,
        begin=begin,
        water_c=mean,
        water_sd_c=sd,
        not_before=state.not_before.get(vessel.spec.id, 0),
    )


def _batch(state: State, batch: Batch, now: Ms) -> BatchHeld:
    belief = batch.belief
    assert belief is not None  # noqa: S101  (the caller has looked)
    if belief.ready_cloud is None or len(belief.ready_cloud[0]) != len(belief.points):
        vessel = state.vessels[batch.start.vessel]
        newest = vessel.newest_water()
        belief.estimate(now, None if newest is None else newest.value, None, vessel.air_word(now))
    estimate = batch.estimate
    best_h = BEST_H
    if estimate is not None and estimate.best_until is not None and estimate.ready.mid is not None:
        best_h = (estimate.best_until - estimate.ready.mid) / HOUR
    ready, share = _samples(belief)
    if estimate is not None and estimate.stage is Stage.LOST:
        ready = np.full(SAMPLES, np.inf)
    start = batch.start
    return BatchHeld(
        id=start.batch,
        vessel=start.vessel,
        lot=start.lot,
        start=start.time,
        cysts_g=start.cysts_g,
        ready=tuple(ready.tolist()),
        share=tuple(share.tolist()),
        best_h=best_h,
    )


def _samples(belief: Belief) -> tuple[Array, Array]:
    """When it is ready, ms, and the share that hatches, drawn together: ``SAMPLES`` of equal weight, as they lie in the cloud."""
    assert belief.ready_cloud is not None  # noqa: S101  (it was made just now)
    times, weights = belief.ready_cloud
    shares = draw(belief.points, belief.prior, belief.start.salinity_g_l).share
    # At even steps through the weights, in the order of time, so that early and late ones are there as often as they weigh.
    order = np.argsort(times, kind="stable")
    steps = np.searchsorted(np.cumsum(weights[order]), (np.arange(SAMPLES) + 0.5) / SAMPLES * float(weights.sum()))
    at = np.sort(order[np.minimum(steps, len(times) - 1)])  # and back, so that no order of time is left in them
    return times[at], shares[at]


# -- what is kept


def _store(state: State, store: ColdStore, now: Ms) -> StoreHeld:
    content = store.content
    life = None if content is None or store.forgotten(now) else store.life(now)
    held = content is not None and life is not None
    return StoreHeld(
        id=store.spec.id,
        nauplii=content.nauplii if held and content is not None else 0.0,
        lots=() if content is None else _lots_of(state, content),
        until=(None, None, None) if life is None else (life.until.lo, life.until.mid, life.until.hi),
        keeps_h=_keeps(store, now),
    )


def _lots_of(state: State, content: Content) -> tuple[str, ...]:
    known = [state.batches[name].start.lot for name in content.batches if name in state.batches]
    return tuple(dict.fromkeys(known))


def _keeps(store: ColdStore, now: Ms) -> tuple[float, float, float]:
    """Hours that what goes in now keeps: as what is in it is kept, else open and aerated."""
    nauplii, litres = STORE_AS
    fresh = Content(now, now, nauplii, litres, "open", 0.0, True)
    if store.content is not None and store.content.gas == "open":
        fresh = replace(fresh, aerated=store.content.aerated)
    until = reckon(fresh, store.series, now).until
    return _hours(until.lo, now), _hours(until.mid, now), _hours(until.hi, now)


def _hours(until: float | None, now: Ms) -> float:
    return KEEPS_LONGEST_H if until is None else min(max((until - now) / HOUR, 0.1), KEEPS_LONGEST_H)


# -- tins


def _lots_at_hand(state: State, now: Ms) -> list[str]:
    """Tins that can be used: configured, told or used lately, and not empty."""
    used = [lot for lot, sown in state.sown.items() if sown and max(sown)[0] > now - USED_WITHIN]
    known = dict.fromkeys([*state.site.lots, *state.food.tins, *used])
    return [lot for lot in known if (left := tins_held.grams_left(state, lot, now)) is None or left > EMPTY_G]


def _lot(state: State, name: str, now: Ms) -> LotHeld:
    spec = tins_held.lot_spec(state, name)
    known = state.lots.get(name) or Lot.new(spec, _kin(state, spec))
    return LotHeld(
        id=name,
        strain=spec.strain,
        length_um=tins_held.length_um(state, name),
        cysts_per_g=tins_held.cysts_per_g(state, name),
        left_g=tins_held.grams_left(state, name, now),
        price_per_g=tins_held.price_per_g(state, name),
        known=known.document(),
        falling=known.falling,
    )


def _kin(state: State, spec: LotSpec) -> list[Lot]:
    if not spec.strain:
        return []
    return [lot for lot in state.lots.values() if tins_held.lot_spec(state, lot.id).strain == spec.strain]


# -- what the record tells


def failures(state: State) -> tuple[int, int]:
    """How many of the newest batches gave nothing, and of how many."""
    ended = sorted((b.ended for b in state.batches.values() if b.ended is not None), key=lambda one: one.time)
    newest = ended[-FAILURES_OF:]
    failed = [one for one in newest if isinstance(one, Lapse) or (isinstance(one, Discard) and _gave_nothing(one))]
    return len(failed), len(newest)


def _gave_nothing(entry: Discard) -> bool:
    reason = entry.reason.casefold()
    return not any(word in reason for word in NOT_NEEDED)


def _salinity(state: State) -> float:
    """As the newest batch was started."""
    starts = [batch.start for batch in state.batches.values()]
    return max(starts, key=lambda one: one.time).salinity_g_l if starts else SALINITY_G_L
