"""Salt as the API takes and answers it; page and command line use the same."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from monitor.core.brine import COLDEST_C, SALTIEST_G_KG, WARMEST_C, Salt, g_kg, g_l
from monitor.core.light import light
from monitor.core.salinity import (
    USUAL_REFERENCE,
    Reference,
    Salinity,
    Unsalted,
    by_conductivity,
    by_hydrometer,
    by_refractometer,
    check_temperature,
    hydrometer_shows,
    known,
)
from monitor.core.salt import (
    HEAVIEST_SPOON_G,
    LARGEST,
    LEAST_SHARE,
    SALTIEST_G_L,
    SALTIEST_TAP_G_L,
    Recipe,
    Target,
    check,
    mend,
    prepare,
    slower,
)
from monitor.web.problems import field_trouble
from monitor.web.salt_typed import Way
from monitor.web.salt_words import notes, rows, sentence

USUAL_C: Final = 25.0


def _told(text: str, **limits: Any) -> Any:
    """Limits that stand in the description; the core says them to a keeper in words."""
    return Field(description=text, json_schema_extra=limits)


_WARM: Final = {"minimum": COLDEST_C, "maximum": WARMEST_C}


class SaltBody(BaseModel):
    """A target, something measured, or both. With both and ``litres``, what to add or to take out."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    kind: Annotated[
        Literal["plain", "sea"],
        Field(description="Plain salt (NaCl, kitchen salt), or salt of the sea and mixes like it."),
    ] = "plain"
    target_g_l: Annotated[float | None, _told("Wanted, grams of salt in a litre.", minimum=0, maximum=SALTIEST_G_L)] = (
        None
    )
    target_g_kg: Annotated[
        float | None, _told("Wanted, grams in a kg (ppt), instead of g/L.", minimum=0, maximum=SALTIEST_G_KG)
    ] = None
    litres: Annotated[float | None, _told("L, of finished water.", exclusiveMinimum=0, maximum=LARGEST)] = None
    water_c: Annotated[float | None, _told("Of the water; 25 when it is not said.", **_WARM)] = None
    tap_g_l: Annotated[
        float, _told("g/L, salt that plain water brings along.", minimum=0, maximum=SALTIEST_TAP_G_L)
    ] = 0.0
    share: Annotated[
        float | None, _told("How much of what is weighed is salt and not water.", minimum=LEAST_SHARE, maximum=1)
    ] = None
    spoon_g: Annotated[
        float | None, _told("g, a level spoon of this salt.", exclusiveMinimum=0, maximum=HEAVIEST_SPOON_G)
    ] = None
    measured_by: Annotated[Way | None, Field(description="How it was found out what the water has now.")] = None
    shown: Annotated[
        float | None,
        Field(description="Specific gravity, ppt, mS/cm at 25 °C, or g/L when known, in this order of `measured_by`."),
    ] = None
    reference_c: Annotated[
        tuple[float, float] | None,
        Field(
            description="What a hydrometer is made for: its water, and the pure water of its 1. 25 and 25 when not said."
        ),
    ] = None
    lost_l: Annotated[
        float | None,
        _told("L, dried up or taken out since it was full; needs `measured_by`.", minimum=0, maximum=LARGEST),
    ] = None


@light
class Asked:
    """What was asked and what came of it. At least one of ``target`` and ``found`` is there."""

    salt: Salt
    water_c: float
    assumed_c: bool
    target: Target | None
    found: Salinity | None
    way: Way | None
    shown: float | None
    reference: Reference | None  # as it was said
    recipe: Recipe | None
    lost_l: float

    @property
    def g_l(self) -> float:
        """The salinity it is about: the wanted, else the found one."""
        if self.target is not None:
            return self.target.g_l
        return self.found.g_l[1] if self.found is not None else 0.0

    @property
    def other_grams(self) -> float | None:
        """Of the other salt for as much in the same water."""
        if self.target is None or self.recipe is None or not self.recipe.grams:
            return None
        other = Salt.SEA if self.salt is Salt.PLAIN else Salt.PLAIN
        there = replace(self.target, salt=other, share=None, spoon_g=None)
        return self.recipe.grams * self.target.salt_share / there.salt_share

    def shows(self, reference: Reference) -> float:
        """What a hydrometer should show in the water it is about."""
        return hydrometer_shows(self.salt, g_kg(self.salt, self.g_l, self.water_c), self.water_c, reference)


def reckoned(body: SaltBody) -> Asked:
    """Raises Trouble that names the field."""
    try:
        return _reckoned(body)
    except Unsalted as problem:
        raise field_trouble(problem.field, str(problem)) from problem


def _reckoned(body: SaltBody) -> Asked:
    salt, water_c = Salt(body.kind), USUAL_C if body.water_c is None else body.water_c
    for field, celsius in (("water_c", water_c), *(("reference_c", one) for one in body.reference_c or ())):
        check_temperature(field, celsius)
    target, found = _target(body, salt, water_c), _found(body, salt, water_c)
    if target is None and found is None:
        raise Unsalted("target_g_l", "Say which salinity you want, or what an instrument shows.")
    if body.lost_l and (found is None or target is None or target.litres is None):
        raise Unsalted(
            "lost_l",
            "To make good what is missing, say what the water has now, what you want, and how much water it was.",
        )
    recipe = None
    if target is not None and target.litres is not None:
        recipe = prepare(target) if found is None else mend(target, found.g_l[1], body.lost_l or 0.0)
    reference = None if body.reference_c is None else Reference(*body.reference_c)
    return Asked(
        salt,
        water_c,
        body.water_c is None,
        target,
        found,
        body.measured_by if found is not None else None,
        body.shown,
        reference,
        recipe,
        body.lost_l or 0.0,
    )


def _target(body: SaltBody, salt: Salt, water_c: float) -> Target | None:
    wanted = body.target_g_l
    if body.target_g_kg is not None:
        if wanted is not None:
            raise Unsalted("target_g_kg", "Give the salinity in g/L or in g/kg, not both.")
        if not 0 <= body.target_g_kg <= SALTIEST_G_KG:
            raise Unsalted(
                "target_g_kg", f"{body.target_g_kg:g} g/kg can't be; allowed is 0 to {SALTIEST_G_KG:g} g/kg."
            )
        wanted = g_l(salt, body.target_g_kg, water_c)
    if wanted is None:
        return None
    target = Target(salt, wanted, body.litres, water_c, body.tap_g_l, body.share, body.spoon_g)
    check(target)
    return target


def _found(body: SaltBody, salt: Salt, water_c: float) -> Salinity | None:
    if body.measured_by is None and body.shown is None:
        return None
    if body.measured_by is None:
        raise Unsalted("measured_by", "Say which instrument shows it.")
    if body.shown is None:
        raise Unsalted("shown", "Say what it shows.")
    if body.measured_by == "hydrometer":
        reference = USUAL_REFERENCE if body.reference_c is None else Reference(*body.reference_c)
        return by_hydrometer(salt, body.shown, water_c, reference)
    by = {"refractometer": by_refractometer, "conductivity": by_conductivity, "known": known}[body.measured_by]
    return by(salt, body.shown, water_c)


def document(asked: Asked) -> dict[str, Any]:
    """Ready for JSON."""
    target, found, recipe = asked.target, asked.found, asked.recipe
    return {
        "text": sentence(asked),
        "rows": [{"name": name, "text": text} for name, text in rows(asked)],
        "notes": notes(asked),
        "kind": asked.salt.value,
        "water_c": asked.water_c,
        "target": None if target is None else {"g_l": target.g_l, "g_kg": target.g_kg},
        "found": None if found is None else _found_document(found),
        "recipe": None
        if recipe is None or target is None
        else {
            "out_l": recipe.out_l,
            "tap_l": recipe.tap_l,
            "grams": recipe.grams,
            "spoons": recipe.spoons,
            "spoon_g": target.spoon,
            "share": target.salt_share,
        },
        "slower": slower(asked.g_l),
    }


def _found_document(found: Salinity) -> dict[str, Any]:
    low, mid, high = found.g_l
    return {
        "g_l": {"lo": low, "mid": mid, "hi": high},
        "g_kg": {"lo": found.low_g_kg, "mid": found.g_kg, "hi": found.high_g_kg},
    }
