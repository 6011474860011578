"""Broods of the shed, as the core tells of them: killifish before swim-up, gouramis on finer food, a cichlid brood that eats."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from monitor.core.broods_document import broods_document
from monitor.core.log_food import Brood, BroodEnded, Counted, Eater
from monitor.core.model import DAY, HOUR, LotSpec, SiteSpec
from monitor.core.state import State
from monitor.settings.fish import fish_specs, strain_specs

if TYPE_CHECKING:
    from monitor.core.model import Ms


def brood_site(**changes: Any) -> SiteSpec:
    """A site with the whole tables of fish and strains and two tins."""
    values: dict[str, Any] = {
        "id": "shed",
        "timezone": "Europe/Berlin",
        "feeding_times": (7 * 60, 12 * 60, 18 * 60),
        "probes": {},
        "vessels": {},
        "lots": {"tin-7": LotSpec("tin-7", "great-salt-lake"), "tin-8": LotSpec("tin-8", "san-francisco-bay")},
        "fish": fish_specs(),
        "strains": strain_specs(),
    }
    return SiteSpec(**(values | changes))


def broods_of_the_shed(now: Ms) -> dict[str, Any]:
    state = State.of(brood_site())
    state.broods.entries += [
        Brood(time=now - 6 * DAY, logged=now - 9 * HOUR, brood="killi-3", fish="killifish", larvae=60),
        Brood(time=now - 7 * DAY, logged=now - 8 * HOUR, brood="gourami-1", fish="gourami", larvae=300),
        Brood(
            time=now - 12 * DAY,
            logged=now - 7 * HOUR,
            brood="scalare-2",
            fish="angelfish",
            larvae=150,
            swam_up=now - 4 * DAY,
        ),
        Counted(time=now - 3 * DAY, logged=now - 6 * HOUR, brood="scalare-2", larvae=120),
        Counted(time=now - 1 * DAY, logged=now - 5 * HOUR, brood="scalare-2", larvae=110),
        Brood(time=now - 40 * DAY, logged=now - 4 * HOUR, brood="killi-2", fish="killifish", larvae=30),
        BroodEnded(time=now - 1 * DAY, logged=now - 3 * HOUR, brood="killi-2"),
        Eater(time=now - 5 * DAY, logged=now - 2 * HOUR, eater="tetras", nauplii_per_day=4000),
    ]
    return broods_document(state, now)
