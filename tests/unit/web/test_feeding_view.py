"""Whom the form of a feeding offers, and with how many."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from monitor.core.log_food import Brood, BroodEnded, Eater
from monitor.core.model import DAY, HOUR
from monitor.web.feeding_view import guests
from monitor.web.food_typed import Place
from monitor.web.when import as_rfc3339, rfc3339

if TYPE_CHECKING:
    from monitor.core.log import Standing

NOW = rfc3339("2026-03-02T06:10:00Z")
PLACE = Place(NOW, ZoneInfo("Europe/Berlin"))


def a_meal(eater: str, hours: float, need: float) -> dict[str, Any]:
    return {"eater": eater, "time": as_rfc3339(NOW + round(hours * HOUR)), "need": {"lo": 0, "mid": need, "hi": need}}


def test_only_the_next_meal_is_filled_in() -> None:
    """Who eats in three days is not fed by one tap today; what was due an hour ago still is the next meal."""
    ahead = {
        "broods": [{"id": "killi-3", "weaned": None}, {"id": "gourami-1", "weaned": as_rfc3339(NOW + 20 * DAY)}],
        "eaters": [{"id": "adults"}],
        "meals": [
            a_meal("killi-3", -13, 1000),
            a_meal("killi-3", -1, 12_345),
            a_meal("killi-3", 11, 13_000),
            a_meal("adults", -1, 5000),
            a_meal("gourami-1", 59, 9000),
        ],
    }
    found = {one.id: (one.need, one.told) for one in guests(ahead, [], PLACE)}
    assert found == {
        "killi-3": ("12 000", "needs about 12 000 at today 06:10"),
        "gourami-1": ("", "needs about 9 000 at Wed 18:10"),
        "adults": ("5 000", "needs about 5 000 at today 06:10"),
    }


def test_before_the_first_look_ahead_the_log_tells_whom_there_is_to_feed() -> None:
    """Broods that have not ended and eaters that get any, without a number; who is weaned is not asked for."""

    def brood(name: str, at: int) -> Brood:
        return Brood(time=NOW - 20 * DAY, logged=at, brood=name, fish="killifish", larvae=80)

    log: list[Standing] = [
        brood("killi-1", 1),
        brood("killi-2", 2),
        brood("killi-3", 3),
        Eater(time=4, logged=4, eater="adults", nauplii_per_day=5000),
        Eater(time=5, logged=5, eater="newts", nauplii_per_day=5000),
        BroodEnded(time=6, logged=6, brood="killi-1"),
        Eater(time=7, logged=7, eater="newts", nauplii_per_day=0),
    ]
    assert [one.id for one in guests({}, log, PLACE)] == ["killi-2", "killi-3", "adults"]
    weaned = {"broods": [{"id": "killi-2", "weaned": as_rfc3339(NOW - DAY)}]}
    assert [(one.id, one.need) for one in guests(weaned, log, PLACE)] == [("killi-3", ""), ("adults", "")]
