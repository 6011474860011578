"""Salt as it is typed into the page's form or after the command: read, and put together to what the API takes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.brine import Salt
from monitor.settings.units import Kind
from monitor.web import salt_typed as typed
from monitor.web.given import Fields, Value, amount, field, invalid
from monitor.web.salted import USUAL_C, SaltBody

if TYPE_CHECKING:
    from collections.abc import Callable

FIELDS: Final = ("kind", "target", "litres", "at", "tap", "share", "spoon", "by", "shown", "reference", "lost")
WAYS: Final = (
    ("hydrometer", "Hydrometer"),
    ("refractometer", "Refractometer"),
    ("conductivity", "Conductivity meter"),
    ("known", "I know it"),
)


def read_form(given: Fields) -> SaltBody:
    """What was typed. Raises Trouble."""
    kind = given["kind"] or "plain"
    if kind not in ("plain", "sea"):
        raise invalid("Salt: choose plain salt or sea salt.")
    salt = Salt(kind)
    water_c = _read("Water's temperature", given["at"], typed.temperature)
    at = USUAL_C if water_c is None else water_c
    way = given["by"] if given["shown"].strip() else None
    if way is not None and way not in {name for name, _ in WAYS}:
        raise invalid("In the water now: choose what it was measured with.")
    named: Any = way
    reference = _read("Made for", given["reference"], typed.reference) if way == "hydrometer" else None
    return SaltBody(
        kind=salt.value,
        target_g_l=_read("Wanted", given["target"], lambda text: typed.salinity(text, salt, at)),
        litres=_read("Water", given["litres"], lambda text: amount(text, Kind.VOLUME)),
        water_c=water_c,
        tap_g_l=_read("Tap water", given["tap"], lambda text: typed.salinity(text, salt, at)) or 0.0,
        share=_read("Salt in the salt", given["share"], typed.share),
        spoon_g=_read("Level spoon", given["spoon"], lambda text: amount(text, Kind.MASS)),
        measured_by=named,
        shown=_read("It shows", given["shown"], lambda text: typed.shown(named, text, salt, at)),
        reference_c=None if reference is None else (reference.sample_c, reference.water_c),
        lost_l=_read("Missing", given["lost"], lambda text: amount(text, Kind.VOLUME)),
    )


def _read(name: str, text: str, reader: Callable[[str], Value]) -> Value | None:
    return field(name, text, reader) if text.strip() else None
