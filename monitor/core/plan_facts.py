"""What a plan rests on, in numbers, and which of them are other than when the plan before was made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from monitor.core.light import light
from monitor.core.lots import Lot
from monitor.core.model import HOUR
from monitor.core.wording import duration, number

if TYPE_CHECKING:
    from monitor.core.food import Demand, Pantry

WATER_H: Final = 36  # the water of the hours in which a batch started now develops
COLDER_C: Final = 1.0  # less is weather; common practice, no source
LATER: Final = HOUR
SHARE: Final = 0.08  # of a tin's hatch
MANY: Final = 0.15  # of the larvae of a brood


@light
class Cause:
    """Something that is other than before. ``about``: the vessel, tin or brood; ``weighs``: how much, for the order."""

    about: str
    text: str
    weighs: float


def facts(pantry: Pantry, demand: Demand) -> dict[str, float]:
    """Names are ``<what>/<of which>``; hours of the epoch for instants."""
    found: dict[str, float] = {"failed/": float(pantry.failed[0])}
    for vessel in pantry.vessels:
        if vessel.water_c:
            found[f"water/{vessel.id}"] = float(np.mean(vessel.water_c[:WATER_H]))
    for batch in pantry.batches:
        ready = float(np.median(batch.ready)) if batch.ready else np.inf
        found[f"ready/{batch.id}"] = ready / HOUR if np.isfinite(ready) else -1.0
    for lot in pantry.lots:
        if lot.known:
            found[f"share/{lot.id}"] = Lot.from_document(lot.known).hatch_share
    for brood in pantry.broods:
        found[f"larvae/{brood.id}"] = brood.larvae
    for eater in pantry.eaters:
        found[f"daily/{eater.id}"] = eater.nauplii_per_day
    if demand.meals:
        found["need/"] = float(np.median(demand.need.sum(axis=1)))
    return {name: round(value, 4) for name, value in found.items()}


def causes(before: dict[str, float], now: dict[str, float]) -> list[Cause]:
    """What is other than it was, the gravest first."""
    found: list[Cause] = []
    failed = now.get("failed/", 0.0) > before.get("failed/", 0.0)
    for name in before.keys() | now.keys():
        what, _, which = name.partition("/")
        cause = _cause(what, which, before.get(name), now.get(name), failed=failed)
        if cause is not None:
            found.append(cause)
    return sorted(found, key=lambda one: (-one.weighs, one.text))


def _cause(what: str, which: str, was: float | None, is_: float | None, *, failed: bool) -> Cause | None:
    match what:
        case "water" if was is not None and is_ is not None and abs(is_ - was) >= COLDER_C:
            by = number(abs(is_ - was), 0 if abs(is_ - was) >= 2 else 1)
            return Cause(which, f"the water in {which} is going to be {by} °C {_colder(is_ < was)} than foreseen", 2.0)
        case "ready" if is_ is None and failed:
            return Cause(which, f"{which} has failed", 5.0)
        case "ready" if was is not None and is_ is not None and was >= 0 and abs(is_ - was) * HOUR >= LATER:
            by = (
                "not in sight"
                if is_ < 0
                else f"{duration(round(abs(is_ - was) * HOUR))} {_later(is_ > was)} than foreseen"
            )
            return Cause(which, f"{which} is {by}" if is_ < 0 else f"{which} will be ready {by}", 3.0)
        case "share" if was is not None and is_ is not None and abs(is_ - was) >= SHARE:
            better = "better" if is_ > was else "worse"
            return Cause(
                which, f"{which} hatches {better} than reckoned, {round(100 * is_)} % after {round(100 * was)} %", 2.5
            )
        case "share" if was is not None and is_ is None:
            return Cause(which, f"{which} is empty", 4.0)
        case "larvae" | "daily" if was is None:
            return Cause(which, f"{which} is new", 4.0)
        case "larvae" | "daily" if is_ is None:
            return Cause(which, f"{which} needs none any more", 4.0)
        case "larvae" if was is not None and is_ is not None and abs(is_ - was) > MANY * max(was, 1.0):
            return Cause(which, f"{which} has {number(is_, 0)} larvae instead of {number(was, 0)}", 3.5)
        case "daily" if was is not None and is_ is not None and is_ != was:
            return Cause(which, f"{which} get {number(is_, 0)} a day instead of {number(was, 0)}", 3.5)
    return None


def _colder(yes: bool) -> str:
    return "colder" if yes else "warmer"


def _later(yes: bool) -> str:
    return "later" if yes else "sooner"
