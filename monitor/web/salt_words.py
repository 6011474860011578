"""Salt in the words of the page and the command line. Pure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from monitor.core.brine import Salt, g_kg
from monitor.core.hatch import SALT_REFERENCE_G_L
from monitor.core.salinity import USUAL_REFERENCE, Reference, Unsalted, by_hydrometer
from monitor.core.salt import HATCHES_G_L, SHARE, THIN_G_L, THINNEST_G_L, slower

if TYPE_CHECKING:
    from monitor.core.salinity import Salinity
    from monitor.web.salted import Asked

NAMES: Final = {Salt.PLAIN: "plain salt", Salt.SEA: "sea salt"}
SIXTY_F: Final = Reference(15.56, 15.56)
_QUARTERS: Final = ("", "¼", "½", "¾")
_OFTEN_WRONG_G_L: Final = 1.0  # less than this between two scales needs no word


def grams(value: float) -> str:
    """As a kitchen scale shows it: ``0.42 g``, ``37.9 g``, ``380 g``."""
    return f"{value:.2f} g" if value < 1 else f"{value:.1f} g" if value < 100 else f"{value:.0f} g"


def litres(value: float) -> str:
    """``0.3 L``, ``1.25 L``; below a litre ``250 mL``."""
    return f"{1000 * value:.0f} mL" if value < 0.9995 else f"{round(value, 2):g} L"


def salinity(g_per_l: float) -> str:
    return f"{g_per_l:.1f} g/L".replace(".0 g", " g")


def spoons(number: float) -> str:
    """To a quarter, which is what can be told by eye."""
    whole, quarter = divmod(round(4 * number), 4)
    if not whole and not quarter:
        return "less than a quarter"
    return f"{whole or ''}{_QUARTERS[quarter]}"


def sentence(asked: Asked) -> str:
    """What to do, or what the water is, in one sentence or two."""
    recipe, target = asked.recipe, asked.target
    if recipe is None or target is None:
        if asked.found is None:
            return _wanted(asked)
        return _found(asked.found) + (" Say how many litres, and you are told what to add." if target else "")
    if recipe.nothing:
        return f"Nothing to do: the water has its {salinity(target.g_l)}."
    done = [
        f"take out {litres(recipe.out_l)}" if recipe.out_l else "",
        f"fill up to {litres(target.litres or 0.0)} with plain water" if recipe.tap_l else "",
        f"put in {grams(recipe.grams)} of {NAMES[asked.salt]} and stir" if recipe.grams else "",
    ]
    if asked.found is None:
        return (
            f"{grams(recipe.grams)} of {NAMES[asked.salt]}, filled up with plain water to {litres(target.litres or 0.0)}, "
            f"give {salinity(target.g_l)}."
        )
    steps = [step for step in done if step]
    told = ", ".join(steps[:-1]) + (", then " if len(steps) > 1 else "") + steps[-1]
    return f"{told[0].upper()}{told[1:]}: {salinity(target.g_l)}."


def _wanted(asked: Asked) -> str:
    return f"{salinity(asked.g_l)}: say how many litres, and you are told how much salt."


def _found(found: Salinity) -> str:
    low, mid, high = found.g_l
    likely = "" if low == high else f" ({salinity(low)} to {salinity(high)})"
    return f"The water has {salinity(mid)} of salt{likely}."


def rows(asked: Asked) -> list[tuple[str, str]]:
    """A name and a value for each line of the table."""
    told: list[tuple[str, str]] = []
    recipe, target, found = asked.recipe, asked.target, asked.found
    if recipe is not None and target is not None and recipe.grams:
        told = [
            (f"{NAMES[asked.salt].capitalize()}, as weighed", grams(recipe.grams)),
            (f"Level spoons of {target.spoon:g} g", spoons(recipe.spoons)),
        ]
    if asked.other_grams is not None:
        other = Salt.SEA if asked.salt is Salt.PLAIN else Salt.PLAIN
        told.append((f"Or {NAMES[other]}", grams(asked.other_grams)))
    if found is not None:
        told.append(("In the water now" if target else "Salt in it", _span(found)))
    if target is not None:
        mass = g_kg(target.salt, target.g_l, target.water_c)
        told.append(("Wanted", f"{salinity(target.g_l)}, {mass:.1f} g/kg (ppt)"))
        told += [
            (f"A hydrometer {name} shows, at {asked.water_c:.3g} °C", f"{asked.shows(ref):.4f}")
            for name, ref in _scales(asked)
        ]
    return told


def _span(found: Salinity) -> str:
    low, mid, high = found.g_l
    span = "" if low == high else f", between {low:.1f} and {high:.1f} g/L"
    return f"{salinity(mid)}, {found.g_kg:.1f} g/kg (ppt){span}"


def _scales(asked: Asked) -> list[tuple[str, Reference]]:
    if asked.reference is not None:
        return [(f"for {reference_name(asked.reference)}", asked.reference)]
    return [("for 25/25 °C", USUAL_REFERENCE), ("for 60/60 °F", SIXTY_F)]


def reference_name(reference: Reference) -> str:
    if abs(reference.sample_c - SIXTY_F.sample_c) < 0.01 and abs(reference.water_c - SIXTY_F.water_c) < 0.01:
        return "60/60 °F"
    return f"{reference.sample_c:.4g}/{reference.water_c:.4g} °C"


# -- what to know and to do


def notes(asked: Asked) -> list[str]:
    """The gravest first."""
    told = (
        _limits(asked.g_l),
        *_instrument(asked),
        _hatch(asked.g_l),
        _spoon(asked),
        _basis(asked),
    )
    return [note for note in told if note]


def _limits(g_per_l: float) -> str:
    if g_per_l > HATCHES_G_L:
        return f"More than {HATCHES_G_L:g} g/L only costs salt and time. 20 to 30 g/L is usual."
    if g_per_l < THINNEST_G_L:
        return f"Less than {THINNEST_G_L:g} g/L is thinner than anybody recommends. 20 to 30 g/L is usual."
    if g_per_l < THIN_G_L:
        return (
            f"Below {THIN_G_L:g} g/L water turns sour more easily, and fewer may hatch: "
            "up to 1 g of baking soda in a litre helps."
        )
    return ""


def _hatch(g_per_l: float) -> str:
    percent = round(100 * slower(g_per_l))
    if not percent:
        return ""
    how = f"{percent} % longer" if percent > 0 else f"{-percent} % less time"
    usual = f"{SALT_REFERENCE_G_L:g} g/L"
    beyond = " Less than 20 g/L makes it no quicker." if g_per_l < 20 else ""
    return f"At {salinity(g_per_l)} hatching takes about {how} than at {usual}.{beyond}"


def _instrument(asked: Asked) -> list[str]:
    found, shown = asked.found, asked.shown
    if found is None or shown is None:
        return []
    if asked.way == "hydrometer":
        told = (
            [f"The water is taken as {asked.water_c:g} °C: measure it, a degree is worth 0.3 g/L."]
            if asked.assumed_c
            else []
        )
        if asked.reference is None:
            other = _on_sixty(asked, shown)
            if other is not None and abs(other - found.g_l[1]) >= _OFTEN_WRONG_G_L:
                told.append(
                    "Taken as made for 25/25 °C, as most plastic ones are. Many of glass are made for 60/60 °F: "
                    f"then it is {salinity(other)}. Look at its scale."
                )
        return told
    how = {
        "refractometer": "Check it first: a drop of pure water must show 0. Wait half a minute until drop and glass are as warm.",
        "conductivity": "Right when the meter reckons for 25 °C. It is surest when the water is about as warm.",
    }
    return [how[asked.way]] if asked.way in how else []


def _on_sixty(asked: Asked, shown: float) -> float | None:
    """g/L, if it is made for 60 F instead; ``None`` when such a one can't show it."""
    try:
        return by_hydrometer(asked.salt, shown, asked.water_c, SIXTY_F).g_l[1]
    except Unsalted:
        return None


def _spoon(asked: Asked) -> str:
    target, recipe = asked.target, asked.recipe
    if target is None or recipe is None or not recipe.grams or target.spoon_g is not None:
        return ""
    return (
        f"Spoons differ by half: {target.spoon:g} g is a usual teaspoon of {NAMES[asked.salt]}. "
        "Weigh ten level ones of yours and take a tenth."
    )


def _basis(asked: Asked) -> str:
    recipe, target = asked.recipe, asked.target
    if recipe is None or target is None or not recipe.grams:
        return ""
    said = f"{100 * target.salt_share:.3g} % of what you weigh is taken as salt"
    if target.share is None:
        said += " (kitchen salt, dry)" if asked.salt is Salt.PLAIN else " (mixes hold water; yours may hold more)"
    bare = "" if asked.salt is Salt.SEA else " Take it without iodine and without anything against caking."
    return f"{said}.{bare}" if target.share is not None or SHARE[asked.salt] < 1 else bare.strip()
