"""What a value at a place means: a temperature of which thing, or the air, and of which vessel.

Nothing here is certain but what is written beside the value. Where that says two things, or none, the question is left open.
"""

from __future__ import annotations

from dataclasses import field
from statistics import median
from typing import TYPE_CHECKING, Final

from monitor.core.light import light
from monitor.intake import hints
from monitor.intake.binding import DEFAULT_WORDS_OFF, DEFAULT_WORDS_ON, DEFAULT_WORDS_WEAK
from monitor.intake.proposal import Part, Question

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from monitor.intake.hints import Level
    from monitor.intake.places import Place
    from monitor.intake.proposal import Known

USUAL: Final = {"water": (10.0, 40.0), "room": (-10.0, 40.0), "store": (-3.0, 12.0)}
"""C. What these measure on most days; common practice, no source."""
ANY: Final = (-10.0, 40.0)
BROKEN: Final = (85.0, -127.0)
"""C. What common sensors tell when they have not measured."""
ALL_ON: Final = DEFAULT_WORDS_ON | hints.WORDS_ON
ALL_OFF: Final = DEFAULT_WORDS_OFF | hints.WORDS_OFF
TO_C: Final = {"C": (1.0, 0.0), "F": (5 / 9, -160 / 9), "K": (1.0, -273.15)}
NOT_SAID: Final = "nothing says that it is the water's"
AIR_OR_ROOM: Final = "the air of a vessel runs by words or by a number, the air of the room has a temperature"


@light(frozen=False)
class Meaning:
    """What could be said; ``nothing`` says why the value is passed over."""

    parts: dict[str, Part] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    evidence: int = 0
    nothing: str = ""


def meaning_of(place: Place, topic: Sequence[Level], known: Known) -> Meaning:
    """What the value at a place of a topic means."""
    levels = [*place.levels, *topic]
    if stranger := _stranger(place.levels, topic):
        return Meaning(nothing=f"{stranger.whence} is nothing that is watched here")
    where, place_level = _first(levels, hints.place_of)
    what, what_level = _first(levels, hints.quantity_of)
    if hints.temperature_unit_of_text(place.unit):
        what = what or "temperature"
    elif place.unit and where != "air" and what in ("", "temperature"):
        return Meaning(nothing=f'its unit "{place.unit[:20]}" is none of a temperature')
    if not what and where and (unknown := _unknown_before(levels, place_level, known)) is not None:
        return Meaning(nothing=f"nobody knows what {unknown.whence} is")
    meaning = Meaning(evidence=bool(where) + bool(what))
    zero_or_one = where == "air" and what in ("", "pulses") and not place.unit and set(place.numbers) <= {0.0, 1.0}
    if not place.numeric or zero_or_one:
        _by_word(meaning, place, where, place_level)
    elif what == "temperature":
        _temperature(meaning, place, levels, known, where, place_level, certain=True)
        if place_level is not None and where == "air":
            _air_or_room(meaning, place_level, what_level)
    elif where == "air" or what == "bubbles":
        _number_of_air(meaning, place, levels, what, place_level or what_level)
    elif what:
        whence = what_level.whence if what_level is not None else "it"
        meaning.nothing = f"{whence} tells {what}, but nothing says that it is that of the air pump"
    else:
        _temperature(meaning, place, levels, known, where, place_level, certain=False)
    if not meaning.nothing:
        _belongs(meaning, levels, known)
    return meaning


def _stranger(inside: Sequence[Level], topic: Sequence[Level]) -> Level | None:
    """The word that says that the value is another thing: anywhere in the message, or at the end of the topic."""
    for level in inside:
        if hints.is_stranger(level):
            return level
    for level in topic:
        if hints.is_order(level):
            return level
    if any(hints.quantity_of(level) or hints.place_of(level) for level in inside):
        return None
    for level in topic:
        if hints.is_stranger(level):
            return level
        if hints.quantity_of(level) or hints.place_of(level):
            return None
    return None


def _first(levels: Sequence[Level], ask: Callable[[Level], str]) -> tuple[str, Level | None]:
    for level in levels:
        if found := ask(level):
            return found, level
    return "", None


def _unknown_before(levels: Sequence[Level], place_level: Level | None, known: Known) -> Level | None:
    """A word nearer to the value than what says its place: ``pump/runtime`` is of the pump, and not whether it runs."""
    for level in levels:
        if level is place_level:
            return None
        if not hints.is_neutral(level) and not hints.named((*known.vessels, *known.stores), level):
            return level
    return None


# -- temperatures


def _temperature(
    meaning: Meaning,
    place: Place,
    levels: Sequence[Level],
    known: Known,
    where: str,
    place_level: Level | None,
    *,
    certain: bool,
) -> None:
    usable = [value for value in place.numbers if value not in BROKEN]
    if not usable:
        meaning.nothing = f"it tells {place.numbers[-1]:g} only, which is what a sensor tells that has not measured"
        return
    value = median(usable)
    unit = _unit(place, levels, value, USUAL.get(where, ANY))
    if unit is None:
        meaning.nothing = f"{value:g} is no temperature of water, room or store in C or F"
        return
    if place_level is not None and where in USUAL:
        check = "" if certain else "nothing says that it is a temperature"
        if where == "water" and place.humid:
            check = "humidity stands beside it, which is measured in the air"
        meaning.parts["measures"] = Part(where, place_level.whence, check)
    elif not certain and not _plainly_a_value(levels, known):
        meaning.nothing = "nothing says what it is"
        return
    elif where != "air":
        vessel = next((name for level in levels if (name := hints.named(known.vessels, level))), "")
        if certain and vessel and not place.humid:
            meaning.parts["measures"] = Part("water", f"a temperature told for the vessel {vessel}", NOT_SAID)
        else:
            why = (
                "humidity stands beside it: perhaps the room"
                if place.humid
                else f"{value:g} {unit.value} could be either"
            )
            meaning.questions.append(Question("measures", _rooms(known), why))
    meaning.parts["unit"] = unit


def _rooms(known: Known) -> tuple[str, ...]:
    return ("water", "room", "store") if known.stores else ("water", "room")


def _plainly_a_value(levels: Sequence[Level], known: Known) -> bool:
    """Whether nothing beside it says that it is something else."""
    inside = [level for level in levels if level.inside]
    return all(hints.is_neutral(level) or hints.named(known.vessels, level) for level in inside)


def _air_or_room(meaning: Meaning, place_level: Level, what_level: Level | None) -> None:
    """A temperature on something called air: its own word for it is the room's, but a pump's topic may carry the water's."""
    if place_level is what_level and not {"air", "luft"} & set(place_level.words):
        meaning.nothing = f"{place_level.whence} is the temperature of a pump"
    elif place_level is what_level:
        meaning.parts["measures"] = Part("room", f"{place_level.whence} is a temperature of air")
    else:
        why = f"a temperature, but {place_level.whence}: of the room, or of the water that the air goes into"
        meaning.questions.append(Question("measures", ("water", "room"), why))


def _unit(place: Place, levels: Sequence[Level], value: float, usual: tuple[float, float]) -> Part | None:
    """The unit that is told, or the one in which the value is a usual one."""
    told = hints.temperature_unit_of_text(place.unit)
    whence = f'the unit "{place.unit}" in the message' if told else ""
    if not told and not place.unit:
        told, level = _first(levels, lambda one: hints.temperature_unit(one.words))
        whence = level.whence if level is not None else ""
    fits = [unit for unit, (scale, offset) in TO_C.items() if usual[0] <= value * scale + offset <= usual[1]]
    if told:
        odd = "" if told in fits else f"{value:g} {told} would be unusual"
        return Part(told, whence, odd)
    if "C" in fits:
        odd = "F would fit as well" if "F" in fits and not 10 <= value <= 35 else ""
        return Part("C", f"{value:g} C is usual there", odd)
    if "F" in fits:
        return Part("F", f"{value:g} is too much in C, and usual in F")
    if "K" in fits and any(number != int(number) for number in place.numbers):
        return Part("K", f"{value:g} is too much in C and F, and usual in K", "nothing but the number says so")
    return None


# -- air


def _by_word(meaning: Meaning, place: Place, where: str, level: Level | None) -> None:
    if where != "air" or level is None:
        meaning.nothing = "it tells a word, and nothing says that it is about the air"
        return
    words = {_word(found) for found in place.found}
    on, off = words & ALL_ON, words & ALL_OFF
    if strange := words - ALL_ON - ALL_OFF - DEFAULT_WORDS_WEAK:
        word = min(strange)[:20]
        meaning.nothing = f'nobody knows whether "{word}" means running or stopped; give words_on and words_off'
        return
    meaning.parts["measures"] = Part("air", level.whence)
    if words & (hints.WORDS_ON | hints.WORDS_OFF):
        why = "" if on and off else "not both were heard; let the air stop and run once while you listen"
        meaning.parts["words_on"] = Part(sorted(on or ALL_ON), "", why)
        meaning.parts["words_off"] = Part(sorted(off or ALL_OFF), "", why)


def _word(found: object) -> str:
    if isinstance(found, float) and found.is_integer():
        found = int(found)
    return str(found).strip(" \t\r\n").lower()


def _number_of_air(meaning: Meaning, place: Place, levels: Sequence[Level], what: str, level: Level | None) -> None:
    """A number of the pump or of its bubbles; its threshold comes later, from how it behaves."""
    whence = level.whence if level is not None else ""
    bare_air = level is not None and not what and level.words and set(level.words) <= {"air", "luft", *hints.NEUTRAL}
    if bare_air and all(ANY[0] <= value <= ANY[1] for value in place.numbers) and any(place.numbers):
        why = f"{place.numbers[-1]:g} at {whence}: {AIR_OR_ROOM}"
        meaning.questions.append(Question("measures", ("air", "room"), why))
        if (of_a_room := _unit(place, levels, median(place.numbers), USUAL["room"])) is not None:
            meaning.parts["unit"] = of_a_room
        return
    meaning.parts["measures"] = Part("air", whence, "" if what else "nothing says in what it is measured")
    unit = place.unit or hints.air_unit(word for one in levels for word in one.words)
    if unit and len(unit) <= 20 and unit.isprintable():
        meaning.parts["unit"] = Part(unit, f'the unit "{unit}" in the message' if place.unit else "by its name")


# -- vessels and stores


def _belongs(meaning: Meaning, levels: Sequence[Level], known: Known) -> None:
    measures = meaning.parts["measures"].value if "measures" in meaning.parts else None
    if measures in ("store", "air") and known.stores:
        store = next((name for level in levels if (name := hints.named(known.stores, level))), "")
        if store:
            meaning.parts["store"] = Part(store, "named beside it")
            meaning.evidence += 1
            return
        if measures == "store" and len(known.stores) > 1:
            meaning.questions.append(Question("store", known.stores, "no store is named beside it"))
    if measures in ("room", "store"):
        return
    if measures is None and len(known.stores) > 1:
        meaning.questions.append(Question("store", known.stores, "no store is named beside it"))
    vessel, level = _first(levels, lambda one: hints.named(known.vessels, one))
    if level is not None:
        meaning.parts["vessel"] = Part(vessel, level.whence)
        meaning.evidence += 1
    elif len(known.vessels) == 1:
        meaning.parts["vessel"] = Part(known.vessels[0], "the only one there is", "no vessel is named beside it")
    elif known.vessels:
        meaning.questions.append(Question("vessel", known.vessels, "no vessel is named beside it"))
    else:
        meaning.nothing = "no [[vessel]] is configured that it could belong to"
