"""Tins as a document: what page, API and command line show of them, and harvests from which can be fed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core import rules_cysts, tins_held
from monitor.core.food import RINSED_SHARE
from monitor.core.hatch import SHARE
from monitor.core.in_hand import harvests_in_hand
from monitor.core.log_food import Weighed
from monitor.core.model import HOUR
from monitor.core.wording import rfc3339, rfc3339_ms

if TYPE_CHECKING:
    from monitor.core.engine import Engine
    from monitor.core.log_food import Tin
    from monitor.core.lots import Lot
    from monitor.core.model import Ms
    from monitor.core.state import State

Z80: Final = 1.2816
"""Standard deviations to each side of the middle that hold 80 of 100."""
MILLION: Final = 1e6


def tins_document(engine: Engine, now: Ms) -> list[dict[str, Any]]:
    """All tins, the one used last first, then those of which nothing was started yet."""
    state = engine.state
    names = sorted(tins_held.known_lots(state), key=lambda lot: _used(state, lot)[-1:], reverse=True)
    return [_tin(engine, lot, now) for lot in names]


def in_hand_document(state: State, now: Ms) -> list[dict[str, Any]]:
    """Harvests of which something is left that is in no cold store."""
    return [
        {
            "batch": one.batch,
            "lot": one.lot,
            "harvested": rfc3339(one.time),
            "nauplii": round(one.nauplii),
            "best_until": rfc3339(one.time + round(one.best_h * HOUR)),
        }
        for one in harvests_in_hand(state, now)
    ]


def _tin(engine: Engine, name: str, now: Ms) -> dict[str, Any]:
    state, lot = engine.state, engine.lot(name)
    spec, told, used = tins_held.lot_spec(state, name), state.food.tins.get(name), _used(state, name)
    balance, per_g = tins_held.balance(state, name, now), tins_held.price_per_g(state, name)
    share = hatch_share(lot)
    cysts = tins_held.cysts_per_g(state, name)
    opened = tins_held.opened(state, name)
    usual = rules_cysts.usual_g(state, name)
    return {
        "id": name,
        "strain": spec.strain,
        "label_hatch_percent": spec.label_hatch_percent,
        "grams": spec.grams,
        "price": None if told is None else told.price,
        "price_per_g": None if per_g is None else round(per_g, 4),
        "cysts_per_g": cysts,
        "length_um": tins_held.length_um(state, name),
        "opened": None if opened is None else rfc3339(opened),
        "kept": tins_held.kept(state, name),
        "left_g": None if balance is None else round(max(balance, 0.0), 3),
        "disagrees": balance is not None and balance < -rules_cysts.DISAGREE_G,
        "lasts": "" if balance is None else rules_cysts.lasts(state, name, balance),
        "usual_g": None if usual is None else usual[1],
        "weighed": _weighed(state, name),
        "hatch_share": {end: round(value, 4) for end, value in zip(("lo", "mid", "hi"), share, strict=True)},
        "slow_percent": round(lot.slow_percent, 1),
        "batches": lot.batches,
        "falling": lot.falling,
        "story": lot.story(),
        "per_million": None if per_g is None else round(MILLION * per_g / (cysts * share[1] * RINSED_SHARE), 4),
        "currency": state.site.costs.currency,
        "first_used": rfc3339(used[0]) if used else None,
        "last_used": rfc3339(used[-1]) if used else None,
        "configured": _configured(state, name),
        "told": None if told is None else _told(told),
    }


def hatch_share(lot: Lot) -> tuple[float, float, float]:
    """Share of all cysts that hatches, with its central 80 %: what the next batch of the tin may be expected to do."""
    prior = lot.before_next()
    mean = float(prior.mean[SHARE])
    sd = float((prior.factor[SHARE] @ prior.factor[SHARE]) ** 0.5)
    return prior.share(mean - Z80 * sd), prior.share(mean), prior.share(mean + Z80 * sd)


def _used(state: State, lot: str) -> list[Ms]:
    """When batches were started from it, the oldest first."""
    return sorted(time for time, _ in state.sown.get(lot, []))


def _weighed(state: State, lot: str) -> dict[str, Any] | None:
    found = [one for one in state.food.entries if isinstance(one, Weighed) and one.lot == lot]
    newest = max(found, key=lambda one: (one.time, one.logged), default=None)
    return None if newest is None else {"time": rfc3339(newest.time), "grams": newest.grams}


def _configured(state: State, lot: str) -> dict[str, Any] | None:
    spec = state.site.lots.get(lot)
    if spec is None:
        return None
    names = ("strain", "label_hatch_percent", "grams", "cysts_per_g")
    return {name: getattr(spec, name) for name in names}


def _told(tin: Tin) -> dict[str, Any]:
    """What the log says of it alone; exact, as it is told again with one thing changed. Null: the configuration may know."""
    return {
        "bought": rfc3339_ms(tin.time),
        "strain": tin.strain,
        "label_hatch_percent": tin.label_hatch_percent,
        "grams": tin.grams,
        "price": tin.price,
        "cysts_per_g": tin.cysts_per_g,
        "length_um": tin.length_um,
        "opened": None if tin.opened is None else rfc3339_ms(tin.opened),
        "kept": tin.kept,
    }
