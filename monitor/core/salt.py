"""How much salt to put into how much water, and how to mend water that is too thin, too salty or has dried up. Pure.

Salt neither comes nor goes by itself: what must be in the water at the end, less what is in it and what tap water brings.
Volumes are taken to add up, which mixes of salt water do to one part in a thousand.
"""

from __future__ import annotations

from math import inf
from typing import Final

from monitor.core.brine import COLDEST_C, SALTIEST_G_KG, WARMEST_C, Salt, g_kg, g_l
from monitor.core.hatch import SALT_REFERENCE_G_L, salt_slows
from monitor.core.light import light
from monitor.core.salinity import Unsalted

LARGEST: Final = 1000.0  # litres, as in all entries
SALTIEST_G_L: Final = 60.0
SALTIEST_TAP_G_L: Final = 5.0  # more is brackish and is no tap water
HEAVIEST_SPOON_G: Final = 200.0
LEAST_SHARE: Final = 0.5
CLOSE_G_L: Final = 0.1  # nothing to mend within this; no spoon is as exact

SPOON_G: Final = {Salt.PLAIN: 6.0, Salt.SEA: 5.0}
"""A level metric teaspoon (5 mL) of fine table salt, and of a sea salt; flakes weigh half. Common practice, no source."""
SHARE: Final = {Salt.PLAIN: 0.99, Salt.SEA: 0.93}
"""How much of what is weighed is salt: dry kitchen salt; a sea-salt mix, which holds water. Common practice, no source."""

THIN_G_L: Final = 12.0  # below, bicarbonate is advised: up to 1 g to a litre keeps the pH above 8 (secondary)
THINNEST_G_L, HATCHES_G_L = 5.0, 35.0  # usable (secondary)


@light
class Target:
    """Salt wanted in ``litres`` of finished water at ``water_c``. ``tap_g_l`` is what plain water brings along."""

    salt: Salt
    g_l: float
    litres: float | None = None
    water_c: float = 25.0
    tap_g_l: float = 0.0
    share: float | None = None
    spoon_g: float | None = None

    @property
    def g_kg(self) -> float:
        return g_kg(self.salt, self.g_l, self.water_c)

    @property
    def spoon(self) -> float:
        return SPOON_G[self.salt] if self.spoon_g is None else self.spoon_g

    @property
    def salt_share(self) -> float:
        return SHARE[self.salt] if self.share is None else self.share


@light
class Recipe:
    """What to do, in this order: take out ``out_l``, fill up with ``tap_l`` of plain water, put in ``grams``, as weighed."""

    out_l: float
    tap_l: float
    grams: float
    spoons: float

    @property
    def nothing(self) -> bool:
        return not (self.out_l or self.tap_l or self.grams)


def prepare(target: Target) -> Recipe:
    """New water. Raises Unsalted for what cannot be."""
    check(target)
    litres = _litres(target)
    return _recipe(target, 0.0, litres, (target.g_l - target.tap_g_l) * litres)


def mend(target: Target, now_g_l: float, lost_l: float = 0.0) -> Recipe:
    """Water in use that has ``now_g_l``, and of which ``lost_l`` are gone from ``litres``. Salt does not dry up with it."""
    check(target)
    litres = _litres(target)
    if not 0 <= lost_l < litres:
        raise Unsalted("lost_l", f"{lost_l:g} L can't be missing of {litres:g} L.")
    if not 0 <= now_g_l < inf:
        raise Unsalted("shown", f"{now_g_l:g} g/L can't be.")
    inside = now_g_l * (litres - lost_l)
    filled_g_l = (inside + target.tap_g_l * lost_l) / litres  # filled up with plain water
    if abs(filled_g_l - target.g_l) <= CLOSE_G_L:
        return _recipe(target, 0.0, lost_l, 0.0)
    if filled_g_l < target.g_l:
        return _recipe(target, 0.0, lost_l, (target.g_l - filled_g_l) * litres)
    # Only as much is left in as holds the salt that plain water shall not bring.
    kept_l = (target.g_l - target.tap_g_l) * litres / (now_g_l - target.tap_g_l)
    return _recipe(target, litres - lost_l - kept_l, litres - kept_l, 0.0)


def after(target: Target, recipe: Recipe, now_g_l: float = 0.0, lost_l: float | None = None) -> float:
    """g/L that the recipe leads to: of new water when ``lost_l`` is not given."""
    litres = _litres(target)
    before_l = 0.0 if lost_l is None else litres - lost_l
    salt = now_g_l * (before_l - recipe.out_l) + target.tap_g_l * recipe.tap_l + recipe.grams * target.salt_share
    return salt / (before_l - recipe.out_l + recipe.tap_l)


def slower(g_per_l: float) -> float:
    """How much longer the hatch takes after soaking than in the usual 25 g/L, as the model has it: 0.1 is a tenth more."""
    return salt_slows(g_per_l) / salt_slows(SALT_REFERENCE_G_L) - 1


def _recipe(target: Target, out_l: float, tap_l: float, pure_g: float) -> Recipe:
    grams = pure_g / target.salt_share
    return Recipe(out_l, tap_l, grams, grams / target.spoon)


def _litres(target: Target) -> float:
    if target.litres is None:
        raise Unsalted("litres", "Say how much water.")
    return target.litres


# -- what cannot be


def check(target: Target) -> None:
    """Raises Unsalted for what cannot be."""
    _within(
        "water_c", target.water_c, COLDEST_C, WARMEST_C, "Water of {} C can't be reckoned with; allowed is {} to {} C."
    )
    most = min(SALTIEST_G_L, g_l(target.salt, SALTIEST_G_KG, target.water_c))
    _within("target_g_l", target.g_l, 0.0, most, "{} g/L is no water to hatch in; allowed is {} to {} g/L.")
    if target.litres is not None and not 0 < target.litres <= LARGEST:
        raise Unsalted("litres", f"{target.litres:g} L of water can't be; allowed is above 0 and up to {LARGEST:g} L.")
    _within(
        "tap_g_l",
        target.tap_g_l,
        0.0,
        SALTIEST_TAP_G_L,
        "{} g/L can't be tap water; allowed is {} to {} g/L, and 0.3 is usual.",
    )
    if target.tap_g_l > target.g_l:
        raise Unsalted(
            "tap_g_l", f"Tap water of {target.tap_g_l:g} g/L has more salt than the {target.g_l:g} g/L wanted."
        )
    _within("share", target.salt_share, LEAST_SHARE, 1.0, "{} of what is weighed can't be salt; allowed is {} to {}.")
    if not 0 < target.spoon <= HEAVIEST_SPOON_G:
        raise Unsalted(
            "spoon_g",
            f"A level spoon of {target.spoon:g} g can't be; allowed is above 0 and up to {HEAVIEST_SPOON_G:g} g.",
        )


def _within(field: str, value: float, low: float, high: float, told: str) -> None:
    if not low <= value <= high:
        raise Unsalted(field, told.format(f"{value:g}", f"{low:g}", f"{high:g}"))
