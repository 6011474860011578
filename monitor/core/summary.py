"""What a room tells other rooms of itself: small, versioned, and the same whether it is published or shown at home. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

VERSION: Final = 1
"""Grows when something is taken away or means something else; new members come without."""
LARGEST: Final = 64_000  # bytes of JSON in UTF-8
MOST_ALARMS: Final = 10
MOST_VESSELS: Final = 64
MOST_STORES: Final = 16
LONGEST: Final = 160  # characters of a title
LONGEST_NAME: Final = 64  # characters of what an alarm or a batch is called
WAITING: Final = ("unacknowledged", "returned-unacknowledged")
_STANDING: Final = (*WAITING, "acknowledged")
_RANKS: Final = {"high": 0, "medium": 1, "low": 2}


def summary(bench: Mapping[str, Any]) -> dict[str, Any]:
    """The bench document (``monitor.core.bench``) in few words; neither ages nor the time, so that it changes only with news."""
    standing = [alarm for alarm in bench["alarms"] if alarm["state"] in _STANDING]
    standing.sort(key=lambda one: (one["state"] not in WAITING, _RANKS.get(one["priority"], 9), one["since"]))
    return {
        "version": VERSION,
        "site": bench["site"],
        "simulated": bool(bench.get("simulated")),
        "linked": bool(bench["broker"]["connected"]),
        "waiting": sum(alarm["state"] in WAITING for alarm in standing),
        "alarms": [_alarm(alarm) for alarm in standing[:MOST_ALARMS]],
        "vessels": [_vessel(vessel) for vessel in bench["vessels"][:MOST_VESSELS]],
        "stores": [_store(store) for store in bench.get("stores", [])[:MOST_STORES]],
    }


def urgent(told: Mapping[str, Any]) -> Any:
    """What of a summary is passed on at once when it changes; the rest can wait some seconds."""
    batches = [vessel["batch"] for vessel in told["vessels"]]
    return told["waiting"], told["alarms"], [batch and (batch["id"], batch["stage"]) for batch in batches]


def _alarm(alarm: Mapping[str, Any]) -> dict[str, Any]:
    named = {key: alarm[key] for key in ("priority", "state", "since")}
    return {"id": alarm["id"][:LONGEST_NAME], **named, "title": alarm["title"][:LONGEST]}


def _vessel(vessel: Mapping[str, Any]) -> dict[str, Any]:
    batch = vessel.get("batch")
    told = None
    if batch is not None:
        told = {"id": batch["id"][:LONGEST_NAME], "stage": batch["stage"], "ready": dict(batch["ready"])}
    return {
        "id": vessel["id"],
        "water": _measured(vessel["water"]),
        "air": _measured(vessel["air"]),
        "batch": told,
    }


def _measured(item: Mapping[str, Any] | None) -> dict[str, Any] | None:
    return None if item is None else {key: item[key] for key in ("value", "unit", "time", "quality", "fresh")}


def _store(store: Mapping[str, Any]) -> dict[str, Any]:
    content = store["content"]
    told = None if content is None else {"nauplii": content["nauplii"], "good_until": dict(content["good_until"])}
    return {"id": store["id"], "temperature": _measured(store["temperature"]), "content": told}
