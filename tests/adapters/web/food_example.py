"""Food of the shed in its bad night, as ``monitor.core.food_document`` tells it: the shape that page and API rest on."""

from __future__ import annotations

from typing import Any

from monitor.core.model import DAY, HOUR, Ms
from monitor.web.when import as_rfc3339, rfc3339
from tests.adapters.web.memory_desk import NOW

FIRST_MEAL: Ms = rfc3339("2026-03-02T06:00:00Z")  # 07:00 in Berlin; the other one is at 19:00
STEP: Ms = 12 * HOUR
SHOWN = 28


def at(hours: float) -> str:
    """An instant so many hours from NOW."""
    return as_rfc3339(NOW + round(hours * HOUR))


def when(low: float, mid: float, high: float) -> dict[str, str]:
    return {"lo": at(low), "mid": at(mid), "hi": at(high)}


def count(low: float, mid: float, high: float) -> dict[str, float]:
    return {"lo": low, "mid": mid, "hi": high}


def a_meal(time: Ms, eater: str, fish: str, need: float, **changes: Any) -> dict[str, Any]:
    """A meal that is full for all that is known."""
    return {
        "time": as_rfc3339(time),
        "eater": eater,
        "fish": fish,
        "need": count(need * 0.85, need, need * 1.18),
        "got": count(need * 0.85, need, need * 1.18),
        "short": 0.0,
        "why": "",
        "largest_um": None,
        **changes,
    }


def meals(*, planned: bool) -> list[dict[str, Any]]:
    """A fortnight of two meals a day: killi-3 grows, the gouramis begin on the third day, the adults stay as they are."""
    found = []
    for n in range(SHOWN):
        time = FIRST_MEAL + n * STEP
        day = n // 2
        killi = round(20_000 * 1.19**day)
        changes: dict[str, Any] = {}
        if not planned and n >= 3:
            part = max(0.0, 0.5 - 0.1 * n)
            changes = {
                "got": count(0, killi * part, killi * 0.9),
                "short": min(0.25 + 0.15 * (n - 3), 1.0),
                "why": "nothing is started for it" if n > 4 else "the batch in ash alone does not last until then",
            }
        elif n == 2:
            changes = {"short": 0.04, "why": "the batch in ash may come up to 3 h too late"}
        found.append(a_meal(time, "killi-3", "killifish", killi, **changes))
        if n >= 5:
            gourami = round(9_000 * 1.19 ** (day - 2))
            small = {"largest_um": 430.0}
            found.append(a_meal(time, "gourami-1", "gourami", gourami, **(small if planned else changes | small)))
        found.append(a_meal(time, "adults", "", 5_000, **({} if planned else changes and {"short": changes["short"]})))
    return found


def in_hand(*, planned: bool) -> list[dict[str, Any]]:
    found = []
    for n in range(SHOWN):
        wave = 60_000 * (1 + (n % 4 == 1)) if planned else max(0, 60_000 - 25_000 * n)
        cold = 200_000 * 0.7 ** (n % 5) if planned else 200_000 * 0.5**n
        found.append(
            {
                "time": as_rfc3339(FIRST_MEAL + n * STEP),
                "fresh": count(wave * 0.6, wave, wave * 1.3),
                "chilled": count(cold * 0.5, cold, cold * 1.1),
            }
        )
    return found


def a_planned_start(**changes: Any) -> dict[str, Any]:
    """The one that is due now: in cedar, which is free."""
    return {
        "id": "cedar-tin-8-0302-02",
        "vessel": "cedar",
        "lot": "tin-8",
        "strain": "San Francisco Bay",
        "grams": 3.5,
        "litres": 1.0,
        "salinity_g_l": 25.0,
        "salt_g": 25.0,
        "start": at(-0.17),
        "start_by": at(4.8),
        "harvest": when(27, 29, 33),
        "nauplii": count(290_000, 380_000, 460_000),
        "store": "fridge",
        "cost": 1.42,
        "feeds_from": as_rfc3339(FIRST_MEAL + 3 * STEP),
        "feeds_until": as_rfc3339(FIRST_MEAL + 5 * STEP),
        "backup": False,
        "reason": "for Tue 19:00 to Wed 19:00 of killi-3 and adults; without it 1 in 4 chances of a short meal",
        "due": "now",
        **changes,
    }


def a_plan() -> dict[str, Any]:
    return {
        "made": at(-0.3),
        "until": at(14 * 24),
        "cost": 11.35,
        "currency": "EUR",
        "gap": 0.0,
        "seconds": 2.1,
        "starts": [
            a_planned_start(),
            a_planned_start(
                id="ash-tin-7-0302-07",
                vessel="ash",
                lot="tin-7",
                strain="Great Salt Lake",
                grams=1.5,
                litres=1.5,
                salt_g=37.5,
                start=as_rfc3339(FIRST_MEAL + 12 * HOUR),
                start_by=as_rfc3339(FIRST_MEAL + 15 * HOUR),
                harvest=when(40, 43, 48),
                nauplii=count(150_000, 190_000, 230_000),
                cost=0.46,
                backup=True,
                due="today",
                reason="in case the batch in cedar fails: without it 5 in 100 chances of a short meal",
            ),
            a_planned_start(
                id="birch-tin-8-0304-19",
                vessel="birch",
                grams=5.0,
                litres=2.0,
                salt_g=50.0,
                start=as_rfc3339(FIRST_MEAL + 2 * DAY + STEP),
                start_by=as_rfc3339(FIRST_MEAL + 2 * DAY + STEP + 2 * HOUR),
                harvest=when(88, 91, 96),
                nauplii=count(420_000, 540_000, 650_000),
                cost=2.02,
                due="later",
                feeds_from=as_rfc3339(FIRST_MEAL + 4 * DAY),
                feeds_until=as_rfc3339(FIRST_MEAL + 6 * DAY),
                reason="for Fri 07:00 to Sun 07:00 of killi-3, gourami-1 and adults",
            ),
        ],
        "changed": ["birch starts 3 h earlier: the shed is 4 C colder than foreseen."],
        "unmet": [],
    }


def unmet() -> dict[str, Any]:
    """A meal that no start reaches any more."""
    return {
        "time": as_rfc3339(FIRST_MEAL + 2 * STEP),
        "eater": "killi-3",
        "chance": 0.61,
        "why": "a batch started now comes 5 h too late",
        "help": "With a heater (25 C) in cedar it would be in time.",
    }


def food(**changes: Any) -> dict[str, Any]:
    """All of it: two broods and adults, two tins, a cold store, three starts of which one is due now."""
    return {
        "time": as_rfc3339(NOW),
        "now_ms": NOW,
        "timezone": "Europe/Berlin",
        "planned_at": at(-0.3),
        "on": True,
        "trouble": "",
        "chance": 0.98,
        "until": at(14 * 24),
        "meals": meals(planned=True),
        "bare": meals(planned=False),
        "in_hand": in_hand(planned=True),
        "stores": [
            {
                "id": "fridge",
                "nauplii": 200_000.0,
                "until": when(22, 38, 62),
                "cause": "age",
                "why": "kept longer at this temperature more and more of them die",
            }
        ],
        "tins": [a_tin(), a_tin(id="tin-7", strain="Great Salt Lake", length_um=486.0, left_g=9.0, lasts="", **DEARER)],
        "broods": [a_brood(), gourami()],
        "eaters": [{"id": "adults", "nauplii_per_day": 10_000.0}],
        "plan": a_plan(),
        **changes,
    }


DEARER = {"price_per_g": 0.31, "per_million": 2.05, "hatch_share": 0.67, "kept": "room", "falling": True}


def a_tin(**changes: Any) -> dict[str, Any]:
    return {
        "id": "tin-8",
        "strain": "San Francisco Bay",
        "length_um": 428.0,
        "left_g": 41.5,
        "lasts": "9 to 14 days",
        "price_per_g": 0.4,
        "hatch_share": 0.84,
        "per_million": 1.85,
        "opened": at(-21 * 24),
        "kept": "cool",
        "falling": False,
        **changes,
    }


def a_brood(**changes: Any) -> dict[str, Any]:
    """Swims and eats."""
    return {
        "id": "killi-3",
        "fish": "killifish",
        "fish_name": "annual killifish",
        "larvae": 80.0,
        "spawned": at(-18 * 24),
        "swim_up": when(-4 * 24, -4 * 24, -4 * 24),
        "swam_up": at(-4 * 24),
        "needs_per_day_now": 40_000.0,
        "needs_per_day_peak": 225_000.0,
        "weaned": at(14 * 24),
        "fits": ["tin-8", "tin-7"],
        **changes,
    }


def gourami() -> dict[str, Any]:
    """Swims up in some days."""
    return a_brood(
        id="gourami-1",
        fish="gourami",
        fish_name="gourami",
        larvae=180.0,
        spawned=at(-30),
        swim_up=when(40, 52, 66),
        swam_up=None,
        needs_per_day_now=0.0,
        needs_per_day_peak=150_000.0,
        weaned=at(20 * 24),
        fits=["tin-8"],
    )


def nothing(**changes: Any) -> dict[str, Any]:
    """Nobody told of a brood or an eater yet: there is nothing to plan."""
    bare: dict[str, Any] = {"meals": [], "bare": [], "in_hand": [], "broods": [], "eaters": []}
    empty = a_plan() | {"starts": [], "changed": [], "cost": 0.0}
    return food(**bare | {"plan": empty} | changes)


def troubled() -> dict[str, Any]:
    """The newest look ahead did not come to its end: what is shown is from five hours ago."""
    return food(planned_at=at(-5), trouble="planning took longer than 20 s and was stopped")


def too_late() -> dict[str, Any]:
    """A meal that nothing can make full any more."""
    found = food(plan=a_plan() | {"unmet": [unmet()]})
    short = {"short": 0.61, "why": unmet()["why"], "got": count(0, 9_000, 24_000)}
    found["meals"] = [
        meal | short if (meal["time"], meal["eater"]) == (unmet()["time"], "killi-3") else meal
        for meal in found["meals"]
    ]
    return found


def unpriced() -> dict[str, Any]:
    """Nobody told what a tin cost: nothing of it is money."""
    plan = a_plan() | {"cost": None, "currency": ""}
    plan["starts"] = [start | {"cost": None} for start in plan["starts"]]
    tins = [a_tin(price_per_g=None, per_million=None)]
    return food(plan=plan, tins=tins)


def switched_off() -> dict[str, Any]:
    """The keeper wants no plan."""
    return nothing(on=False, planned_at=None)
