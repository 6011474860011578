"""What the API takes about broods and eaters, and how it becomes an entry."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import Field

from monitor.core.log_food import Brood, BroodEnded, Counted, Eater, Ending
from monitor.settings.fish import find_fish
from monitor.web.bodies import Body, Instant, Name
from monitor.web.problems import Trouble
from monitor.web.when import checked, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from monitor.core.model import Ms

OWN: Final = ("ration", "growth_per_day", "meals", "largest_um", "swim_up_days", "wean_days")
"""What a keeper may know better than the table of fish."""
Number = Annotated[float, Field(ge=0, le=1e9)]


class BroodBody(Body):
    """``time`` is when they were spawned. Told again of the same brood, all of it takes the place of what was told before."""

    brood: Name
    fish: Name
    larvae: Number
    tank: Annotated[str, Field(max_length=64)] = ""
    swam_up: Instant | None = None
    ration: Number | None = None
    growth_per_day: Number | None = None
    meals: Annotated[int, Field(ge=1, le=24)] | None = None
    largest_um: Number | None = None
    swim_up_days: Number | None = None
    wean_days: Number | None = None

    def command(self, now: Ms) -> Brood:
        """Raises NotAnInstant for a time ahead or long past."""
        return Brood(
            time=self.when(now),
            logged=now,
            brood=self.brood,
            fish=fish_word(self.fish),
            larvae=self.larvae,
            tank=self.tank,
            swam_up=None if self.swam_up is None else checked(self.swam_up, now),
            ration=self.ration,
            growth_per_day=self.growth_per_day,
            meals=self.meals,
            largest_um=self.largest_um,
            swim_up_days=self.swim_up_days,
            wean_days=self.wean_days,
        )


class CountedBody(Body):
    larvae: Number

    def command(self, brood: str, now: Ms) -> Counted:
        return Counted(time=self.when(now), logged=now, brood=brood, larvae=self.larvae)


class SwamUpBody(Body):
    """``time`` is when they were seen to swim."""


class BroodEndedBody(Body):
    how: Ending = "weaned"

    def command(self, brood: str, now: Ms) -> BroodEnded:
        return BroodEnded(time=self.when(now), logged=now, brood=brood, how=self.how)


class EaterBody(Body):
    eater: Name
    nauplii_per_day: Number
    meals: Annotated[int, Field(ge=1, le=24)] | None = None
    largest_um: Number | None = None

    def command(self, now: Ms) -> Eater:
        return Eater(
            time=self.when(now),
            logged=now,
            eater=self.eater,
            nauplii_per_day=self.nauplii_per_day,
            meals=self.meals,
            largest_um=self.largest_um,
        )


def fish_word(text: str) -> str:
    """The id of a fish of the table, by any of its names; otherwise the keeper's own word."""
    known = find_fish(text)
    return text.strip() if known is None else known.id


def find_brood(bench: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """A brood that has not ended. Raises Trouble naming those there are."""
    broods = bench.get("broods") or []
    for brood in broods:
        if brood["id"] == name:
            found: Mapping[str, Any] = brood
            return found
    known = ", ".join(brood["id"] for brood in broods) or "none"
    raise Trouble(404, f'There is no brood "{name[:64]}" that still grows; there are: {known}.')


def told_again(brood: Mapping[str, Any], now: Ms, **changed: Any) -> Brood:
    """What was told of a brood, with some of it changed."""
    told = brood["told"]
    known: dict[str, Any] = {
        "time": rfc3339(told["time"]),
        "fish": brood["fish"],
        "larvae": told["larvae"],
        "tank": brood["tank"],
        "swam_up": None if brood["swam_up"] is None else rfc3339(brood["swam_up"]),
        **{name: told[name] for name in OWN},
    }
    return Brood(logged=now, brood=brood["id"], **{**known, **changed})
