"""Tins of the shed as ``monitor.core.tins_document`` tells them."""

from __future__ import annotations

from typing import Any

from monitor.core.model import DAY, HOUR
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW


def a_tin(name: str = "tin-7", **changes: Any) -> dict[str, Any]:
    """Half empty, weighed once, learned from five batches, and getting weak."""
    return {
        "id": name,
        "strain": "great-salt-lake",
        "label_hatch_percent": 85.0,
        "grams": 50.0,
        "price": 15.5,
        "price_per_g": 0.31,
        "cysts_per_g": 250_000.0,
        "length_um": 486.0,
        "opened": as_rfc3339(NOW - 21 * DAY),
        "kept": "cool",
        "left_g": 22.5,
        "disagrees": False,
        "lasts": "9 to 14 days",
        "usual_g": 2.0,
        "weighed": {"time": as_rfc3339(NOW - 3 * DAY), "grams": 26.5},
        "hatch_share": {"lo": 0.58, "mid": 0.67, "hi": 0.74},
        "slow_percent": 6.0,
        "batches": 5,
        "falling": True,
        "story": "This tin runs 6 % slow, from 5 batches; hatch 67 %, falling.",
        "per_million": 2.06,
        "currency": "EUR",
        "first_used": as_rfc3339(NOW - 21 * DAY),
        "last_used": as_rfc3339(NOW - 15 * HOUR),
        "configured": {"strain": "great-salt-lake", "label_hatch_percent": 85.0, "grams": 50.0, "cysts_per_g": None},
        "told": None,
        **changes,
    }


def tins() -> list[dict[str, Any]]:
    """That one, and one of which little is known."""
    unknown: dict[str, Any] = dict.fromkeys(
        (
            "label_hatch_percent",
            "grams",
            "price",
            "price_per_g",
            "opened",
            "left_g",
            "usual_g",
            "weighed",
            "per_million",
        )
    )
    fresh = {"first_used": None, "last_used": None, "batches": 0, "falling": False, "lasts": "", "kept": "room"}
    story = "This tin has not been hatched here yet: it starts from its label and what is known of the kind."
    return [a_tin(), a_tin("tin-6", strain="", story=story, **unknown, **fresh)]
