"""What an entry about amounts holds, as a form shows it and takes it back. Pure."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.core.log import kind_of
from monitor.settings.errors import Unfit
from monitor.settings.units import plain
from monitor.web import food_typed as typed
from monitor.web.given import count, invalid, share, unfit
from monitor.web.store_view import KEPT

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from monitor.core.log import Standing
    from monitor.web.food_typed import Place

STORED: Final[dict[str, str]] = {"room": "in the room", "cool": "in the cold", "frozen": "frozen"}
ENDINGS: Final[dict[str, str]] = {"weaned": "eats other food", "lost": "died", "moved": "went to somebody else"}
GASES: Final[dict[str, str]] = {"open": "open", "air": KEPT["air"], "oxygen": KEPT["oxygen"]}
_YES_NO: Final = {"yes": "yes", "no": "no"}


@light
class Field:
    """One field: its name in the entry, and how it is shown and read. ``read`` raises Unfit; ``empty``: may be left so."""

    name: str
    label: str
    show: Callable[[Any, Place], str]
    read: Callable[[str, Place], Any]
    hint: str = ""
    empty: Any = ...
    choices: Mapping[str, str] = field(default_factory=dict)
    required: bool = True


def _text(name: str, label: str, hint: str = "", *, needed: bool = True, most: int = 64) -> Field:
    def read(given: str, _: Place) -> str:
        if len(given) > most or not (given.isprintable() or not given):
            raise Unfit(f"at most {most} letters on one line")
        return given

    return Field(name, label, lambda value, _: str(value or ""), read, hint, ... if needed else "", required=needed)


def _number(
    name: str,
    label: str,
    read: Callable[[str], float],
    show: Callable[[Any], str],
    hint: str = "",
    *,
    needed: bool = True,
) -> Field:
    return Field(
        name,
        label,
        lambda value, _: show(value),
        lambda given, _: read(given),
        hint,
        ... if needed else None,
        required=needed,
    )


def _choice(name: str, label: str, choices: Mapping[str, str], hint: str = "") -> Field:
    def read(given: str, _: Place) -> str:
        if given not in choices:
            raise Unfit(", ".join(choices))
        return given

    return Field(name, label, lambda value, _: str(value), read, hint, choices=choices)


def _flag(name: str, label: str) -> Field:
    return Field(
        name, label, lambda value, _: "yes" if value else "no", lambda given, _: given == "yes", choices=_YES_NO
    )


def _when(name: str, label: str, *, needed: bool = True) -> Field:
    hint = "2026-03-02 06:40, yesterday 23:10, 2 h ago"
    read = typed.past_instant
    return Field(name, label, typed.instant_shown, read, hint, ... if needed else None, required=needed)


def _share_shown(value: float | None) -> str:
    return "" if value is None else f"{plain(round(100 * value, 6))} %"


_WHEN: Final = _when("time", "When")
_COUNT: Final = _number("nauplii", "Young brine shrimp", typed.some, typed.count_shown, "a number, such as 180000")
_PER_DAY: Final = "for each larva when they begin to eat them; empty: as the table of fish has it"
_LOT: Final = _text("lot", "Tin")
_BROOD: Final = _text("brood", "Brood", "its name; empty for nobody in particular", needed=False)
_BATCH: Final = _text("batch", "Batch they come from", "its name; may be left empty", needed=False)
_WATER: Final = _number("litres", "Water", typed.volume, typed.litres_shown, "0.5 L, 500 mL")

TIN: Final = (
    _text("strain", "Strain", "sfb, gsl, or as the label has it", needed=False, most=80),
    _number(
        "grams",
        "Weight when it was new",
        lambda text: typed.mass(text, 100_000.0),
        typed.grams_shown,
        "50 g, 16 oz",
        needed=False,
    ),
    _number("price", "Price of all of it", typed.price, typed.plain_shown, "12.50", needed=False),
    _number(
        "label_hatch_percent",
        "Hatch on the label",
        typed.percent,
        typed.plain_shown,
        "per cent, such as 85",
        needed=False,
    ),
    _choice("kept", "Kept", STORED),
    _when("time", "Bought"),
    _when("opened", "Opened", needed=False),
    _number("cysts_per_g", "Cysts in a gram", typed.cysts, typed.count_shown, "if you counted: 250 000", needed=False),
    _number(
        "length_um",
        "Length of a young one",
        typed.length_um,
        typed.plain_shown,
        "if you measured: thousandths of a millimetre",
        needed=False,
    ),
)
"""As on the page of a tin, what is asked most first."""

FIELDS: Final[dict[str, tuple[Field, ...]]] = {
    "start": (
        _number("cysts_g", "Cysts", typed.mass, typed.grams_shown, "2 g, 500 mg"),
        _LOT,
        _WATER,
        _number("salinity_g_l", "Salt", typed.salinity, lambda value: f"{plain(value)} g/L", "25 g/L"),
        _WHEN,
    ),
    "harvest": (
        _number(
            "nauplii",
            "Young brine shrimp",
            count,
            typed.count_shown,
            "a number; may be left empty",
            needed=False,
        ),
        _number("hatched_fraction", "Share that hatched", share, _share_shown, "60 % of all cysts", needed=False),
        _WHEN,
    ),
    "chill": (
        _COUNT,
        _WATER,
        _choice("gas", "Over the water", GASES),
        _number(
            "gas_l", "Gas closed in", lambda text: typed.volume(text, zero=True), typed.litres_shown, "0 L when open"
        ),
        _flag("aerated", "Aerated"),
        _BATCH,
        _WHEN,
    ),
    "emptied": (_WHEN,),
    "fed": (
        _COUNT,
        _BROOD,
        _text("store", "Cold store", "empty when they came from none", needed=False),
        _BATCH,
        _WHEN,
    ),
    "drawn": (_COUNT, _text("why", "Why", "may be left empty", needed=False, most=200), _WHEN),
    "tin": TIN,
    "weighed": (_number("grams", "Left in it", typed.left, typed.grams_shown, "31.5 g"), _WHEN),
    "brood": (
        _text("fish", "Fish"),
        _number("larvae", "Larvae", count, typed.count_shown),
        _when("time", "Spawned"),
        _when("swam_up", "Seen to swim up", needed=False),
        _text("tank", "Tank", "of whose temperature a probe tells", needed=False),
        _number("ration", "Young brine shrimp a day", typed.some, typed.count_shown, _PER_DAY, needed=False),
    ),
    "counted": (_number("larvae", "Larvae left", count, typed.count_shown), _WHEN),
    "broodended": (_choice("how", "It", ENDINGS), _WHEN),
    "eater": (
        _number(
            "nauplii_per_day", "Young brine shrimp a day", count, typed.count_shown, "0 when they get none any more"
        ),
        _WHEN,
    ),
}
"""By kind: what can be corrected of an entry."""


def shown(fields: tuple[Field, ...], values: Mapping[str, Any], place: Place) -> dict[str, str]:
    """The texts of a form, by field."""
    return {one.name: one.show(values.get(one.name), place) for one in fields}


def entry_shown(entry: Standing, place: Place) -> dict[str, str]:
    fields = FIELDS[kind_of(entry)]
    return shown(fields, {one.name: getattr(entry, one.name) for one in fields}, place)


def typed_value(one: Field, text: str, place: Place) -> Any:
    """Raises Trouble that names the field."""
    said = text.strip()
    if not said and one.empty is not ...:
        return one.empty
    if not said:
        raise invalid(f"{one.label}: nothing is typed{f'; allowed: {one.hint}' if one.hint else ''}.")
    try:
        return one.read(said, place)
    except Unfit as problem:
        raise invalid(unfit(one.label, said, problem)) from problem


def changed(
    fields: tuple[Field, ...], before: Mapping[str, str], given: Mapping[str, str], place: Place
) -> dict[str, Any]:
    """What a keeper has typed other than it was shown, read. Raises Trouble."""
    return {
        one.name: typed_value(one, given[one.name], place)
        for one in fields
        if one.name in given and given[one.name].strip() != before[one.name]
    }
