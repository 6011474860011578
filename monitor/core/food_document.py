"""Food as a document: demand, supply and plan of the coming days, as page, API and command line show them."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from monitor.core import brood_book, tins_held
from monitor.core.broods import goes_in, larvae_at, mouth_um, ration_at, swim_up
from monitor.core.food import RINSED_SHARE, Outlook, Plan
from monitor.core.lots import Lot
from monitor.core.model import DAY, HOUR
from monitor.core.planned import pending
from monitor.core.rules_cysts import lasts
from monitor.core.rules_plan import AHEAD
from monitor.core.stores import ENDS
from monitor.core.wording import about, rfc3339, zone

if TYPE_CHECKING:
    from monitor.core.food import BroodHeld, InHand, MealOutlook, PlannedStart, Unmet
    from monitor.core.model import Ms, Span
    from monitor.core.state import State
    from monitor.core.stores import ColdStore


def food_document(state: State, now: Ms, *, on: bool = True) -> dict[str, Any]:
    """All of it, ready for JSON. ``on``: whether anything is planned here."""
    ahead = state.food_ahead
    nothing = Outlook(now, now)
    followed, bare = (nothing, nothing) if ahead is None else (ahead.outlook, ahead.bare)
    plan = Plan(0, 0) if ahead is None else ahead.plan
    broods, eaters = brood_book.held(state, now)
    fish = {brood.id: brood.fish.id for brood in broods}
    return {
        "time": rfc3339(now),
        "now_ms": now,
        "timezone": state.site.timezone,
        "planned_at": rfc3339(plan.made) if plan.made else None,
        "on": on,
        "trouble": "" if ahead is None else ahead.trouble,
        "chance": state.site.food_chance,
        "until": rfc3339(plan.until) if plan.until else None,
        "meals": [_meal(one, fish) for one in followed.meals if one.time >= now - HOUR],
        "bare": [_meal(one, fish) for one in bare.meals if one.time >= now - HOUR],
        "in_hand": [_in_hand(one) for one in followed.in_hand if one.time >= now - HOUR],
        "stores": [_store(store, now) for store in state.cold_stores.values()],
        "tins": [_tin(state, lot, now) for lot in tins_held.known_lots(state)],
        "broods": [_brood(state, brood, now) for brood in broods],
        "eaters": [{"id": one.id, "nauplii_per_day": one.nauplii_per_day} for one in eaters],
        "plan": _plan(state, plan, now),
    }


def _numbers(span: Span) -> dict[str, float | None]:
    return {end: None if value is None else round(value) for end, value in _ends(span)}


def _instants(span: Span) -> dict[str, str | None]:
    return {end: None if value is None else rfc3339(about(int(value))) for end, value in _ends(span)}


def _ends(span: Span) -> tuple[tuple[str, float | None], ...]:
    return ("lo", span.lo), ("mid", span.mid), ("hi", span.hi)


def _meal(meal: MealOutlook, fish: dict[str, str]) -> dict[str, Any]:
    return {
        "time": rfc3339(meal.time),
        "eater": meal.eater,
        "fish": fish.get(meal.eater, ""),
        "need": _numbers(meal.need),
        "got": _numbers(meal.got),
        "short": round(meal.short, 3),
        "why": meal.why,
        "largest_um": None if meal.largest_um is None else round(meal.largest_um, 1),
    }


def _in_hand(one: InHand) -> dict[str, Any]:
    return {"time": rfc3339(one.time), "fresh": _numbers(one.fresh), "chilled": _numbers(one.chilled)}


def _store(store: ColdStore, now: Ms) -> dict[str, Any]:
    life = None if store.forgotten(now) else store.life(now)
    held = store.content is not None and life is not None
    return {
        "id": store.spec.id,
        "nauplii": round(store.content.nauplii) if held and store.content is not None else 0,
        "until": None if life is None else _instants(life.until),
        "cause": "" if life is None else life.cause,
        "why": "" if life is None else ENDS[life.cause],
    }


def _tin(state: State, lot: str, now: Ms) -> dict[str, Any]:
    spec = tins_held.lot_spec(state, lot)
    known = state.lots.get(lot) or Lot.new(spec)
    price, left = tins_held.price_per_g(state, lot), tins_held.grams_left(state, lot, now)
    each = tins_held.cysts_per_g(state, lot) * known.hatch_share * RINSED_SHARE
    opened = tins_held.opened(state, lot)
    return {
        "id": lot,
        "strain": spec.strain,
        "length_um": tins_held.length_um(state, lot),
        "left_g": None if left is None else round(left, 2),
        "lasts": "" if left is None else lasts(state, lot, left),
        "price_per_g": None if price is None else round(price, 4),
        "hatch_share": round(known.hatch_share, 3),
        "per_million": None if price is None or each <= 0 else round(price / each * 1e6, 2),
        "opened": None if opened is None else rfc3339(opened),
        "kept": tins_held.kept(state, lot),
        "falling": known.falling,
    }


def _brood(state: State, brood: BroodHeld, now: Ms) -> dict[str, Any]:
    swims = swim_up(brood, now)
    mid, fish = swims.mid, brood.fish
    day = None if mid is None else (now - mid) / DAY
    peak = 0.0
    if mid is not None:
        days = [k / 2 for k in range(int(2 * fish.wean_days) + 1)]
        peak = max((float(ration_at(fish, d)) * float(larvae_at(brood, mid + d * DAY)) for d in days), default=0.0)
    mouth = mouth_um(fish, max(day or 0.0, fish.finer_days))
    tins = [lot for lot in tins_held.known_lots(state) if goes_in(tins_held.length_um(state, lot), mouth)]
    needs = 0.0 if day is None or day < 0 else float(ration_at(fish, day)) * float(larvae_at(brood, now))
    return {
        "id": brood.id,
        "fish": fish.id,
        "fish_name": fish.name,
        "larvae": round(float(larvae_at(brood, now))),
        "spawned": rfc3339(brood.spawned),
        "swim_up": _instants(swims),
        "swam_up": None if brood.swam_up is None else rfc3339(brood.swam_up),
        "needs_per_day_now": round(needs),
        "needs_per_day_peak": round(peak),
        "weaned": None if mid is None else rfc3339(int(mid + fish.wean_days * DAY)),
        "fits": tins,
    }


# -- plan


def _plan(state: State, plan: Plan, now: Ms) -> dict[str, Any]:
    return {
        "made": rfc3339(plan.made) if plan.made else None,
        "until": rfc3339(plan.until) if plan.until else None,
        "cost": round(plan.cost, 2) if plan.priced else None,
        "currency": state.site.costs.currency if plan.priced else "",
        "gap": round(plan.gap, 4),
        "seconds": round(plan.seconds, 2),
        "starts": [start_document(state, one, now, priced=plan.priced) for one in pending(state, now)],
        "changed": list(plan.changed),
        "unmet": [_unmet(one) for one in plan.unmet if one.time >= now],
    }


def start_document(state: State, one: PlannedStart, now: Ms, *, priced: bool = True) -> dict[str, Any]:
    """``priced``: whether its cost is money."""
    return {
        "id": one.id,
        "vessel": one.vessel,
        "lot": one.lot,
        "strain": tins_held.lot_spec(state, one.lot).strain,
        "grams": round(one.grams, 2),
        "litres": one.litres,
        "salinity_g_l": one.salinity_g_l,
        "salt_g": round(one.litres * one.salinity_g_l, 1),
        "start": rfc3339(one.start),
        "start_by": rfc3339(one.start_by),
        "harvest": _instants(one.harvest),
        "nauplii": _numbers(one.nauplii),
        "store": one.store,
        "cost": round(one.cost, 2) if priced else None,
        "feeds_from": rfc3339(one.feeds_from),
        "feeds_until": rfc3339(one.feeds_until),
        "backup": one.backup,
        "reason": one.reason,
        "due": _due(state, one.start, now),
    }


def _due(state: State, start: Ms, now: Ms) -> str:
    if start <= now + AHEAD:
        return "now"
    there = zone(state.site.timezone)
    same = datetime.fromtimestamp(start / 1000, there).date() == datetime.fromtimestamp(now / 1000, there).date()
    return "today" if same else "later"


def _unmet(one: Unmet) -> dict[str, Any]:
    return {
        "time": rfc3339(one.time),
        "eater": one.eater,
        "chance": round(one.chance, 3),
        "why": one.why,
        "help": one.help,
    }
