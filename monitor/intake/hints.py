"""Words in topics and messages that hint at what is measured, where, and in which unit.

Probes are named by people: ``shed/Ash/waterTemp_c`` says four things. All words here are common practice, no source.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from monitor.core.light import light

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


PLACES: Final = {
    "water": "water wasser brine agua eau",
    "room": "room raum ambient indoor zimmer",
    "store": "store fridge refrigerator cooler chiller",
    "air": "air pump aeration aerator bubbler blower airflow airpump pumpe luft compressor",
}
QUANTITIES: Final = {
    "temperature": "temp temps temperature temperatur thermometer t c f k cel celsius centigrade degc degf fahrenheit kelvin",
    "power": "power watt watts w leistung",
    "current": "current amp amps ampere ma",
    "flow": "flow lpm",
    "pressure": "pressure kpa mbar hpa psi",
    "bubbles": "bubble bubbles bpm",
    "pulses": "pulse pulses ticks",
}
STRANGERS: Final = _set(
    "battery bat batt vbat rssi snr lqi signal humidity humid hum rh ph ec tds salinity light lux level uptime "
    "heap cpu core board chip mcu soc version firmware fw lat lon voltage volt volts mv co2 voc energy kwh target "
    "setpoint goal desired min max limit low high avg mean offset threshold interval port channel index err error "
    "errors fault retries heater lamp fan valve door window feeder motion alarm warning warn leak trip enabled "
    "mode timer schedule online available alive connected lwt will weather outdoor outside dew weight"
)
"""What is told beside a value that matters, or is none of this trade."""
ORDERS: Final = _set("cmd command set get request order control ctrl config cfg wanted")
"""What somebody wants of a pump is not what it does; these count wherever they stand in a topic."""
NEUTRAL: Final = _set(
    "value val v reading read data state status measurement sensor sensors now last on run running switch relay"
)
TIMES: Final = _set("time t ts at when timestamp date datetime utc epoch measured stamp clock")
SEQUENCES: Final = _set("n seq sequence count counter msg nr no number id")
NAMES: Final = ("name", "id", "sensor", "label", "what", "kind", "quantity", "place")
UNITS: Final = ("unit", "units", "uom", "u")
TEMPERATURE_UNITS: Final = {
    "C": "c cel celsius degc centigrade °c ℃",
    "F": "f fahrenheit degf °f ℉ [degf]",
    "K": "k kelvin",
}
AIR_UNITS: Final = {
    "W": "w watt watts",
    "mA": "ma",
    "A": "amp amps ampere",
    "L/min": "lpm l/min",
    "kPa": "kpa",
    "mbar": "mbar",
    "1/min": "bpm 1/min",
}
WORDS_ON: Final = frozenset({"ein", "an", "läuft", "ok", "bubbling", "active"})
WORDS_OFF: Final = frozenset({"aus", "steht", "standing", "idle", "inactive"})
"""Words beyond the default ones whose meaning is plain on a pump's topic."""

_PART = re.compile(r"[A-Z]+(?![a-zäöüß])|[A-Z]?[a-zäöüß]+|[^\W\d_]+")
LONGEST: Final = 200
"""Letters of a name that are looked at, and the longest name of a SenML record that can be configured."""


def _by_word(table: dict[str, str]) -> dict[str, str]:
    return {word: meaning for meaning, words in table.items() for word in words.split()}


_PLACE: Final = _by_word(PLACES)
_QUANTITY: Final = _by_word(QUANTITIES)
_TEMPERATURE_UNIT: Final = _by_word(TEMPERATURE_UNITS)
_AIR_UNIT: Final = _by_word(AIR_UNITS)
_KNOWN: Final = frozenset((*_PLACE, *_QUANTITY, *STRANGERS, *ORDERS, *NEUTRAL, *TIMES, *SEQUENCES))


@light
class Level:
    """One step of a topic or of a pointer: as it is written, and its words in lower case."""

    text: str
    words: tuple[str, ...]
    inside: bool = True  # in the message, not in the topic

    @property
    def whence(self) -> str:
        return f'"{self.text[:30]}" in the {"message" if self.inside else "topic"}'


def level(text: str, *, inside: bool = True) -> Level:
    return Level(text, words_of(text), inside)


def levels_of_topic(topic: str) -> tuple[Level, ...]:
    """The most telling one, the last, first."""
    return tuple(level(step, inside=False) for step in reversed(topic.split("/")[-8:]))


@lru_cache(maxsize=4096)
def words_of(text: str) -> tuple[str, ...]:
    """``waterTemp_c1`` is water, temp, c; what is glued together is taken apart where both halves are known."""
    found: list[str] = []
    for part in _PART.findall(text[:LONGEST]):
        found += _halves(part.casefold())
    return tuple(found)


def _halves(word: str) -> tuple[str, ...]:
    if word in _KNOWN:
        return (word,)
    for cut in range(len(word) - 1, 2, -1):
        first, second = word[:cut], word[cut:]
        if first in _KNOWN and second in _KNOWN and (len(second) > 2 or second in _TEMPERATURE_UNIT | _AIR_UNIT):
            return (first, second)
    return (word,)


def place_of(one: Level) -> str:
    """water, room, store, air; nothing when it says none, or two."""
    found = {_PLACE[word] for word in one.words if word in _PLACE}
    if found == {"air", "water"} and quantity_of(one) not in ("", "temperature"):
        found = {"air"}
    return found.pop() if len(found) == 1 else ""


def quantity_of(one: Level) -> str:
    """What is measured, by the longest word that says so: ``power_w`` is power, whatever w may be."""
    found = sorted((word for word in one.words if word in _QUANTITY), key=len, reverse=True)
    return _QUANTITY[found[0]] if found else ""


def is_stranger(one: Level) -> bool:
    return any(word in STRANGERS or word in ORDERS for word in one.words)


def is_order(one: Level) -> bool:
    return any(word in ORDERS for word in one.words)


def is_neutral(one: Level) -> bool:
    return all(word in NEUTRAL for word in one.words)


def temperature_unit(words: Iterable[str]) -> str:
    """C, F or K; nothing when none is told, or two."""
    found = {_TEMPERATURE_UNIT[word] for word in words if word in _TEMPERATURE_UNIT}
    return found.pop() if len(found) == 1 else ""


def temperature_unit_of_text(text: str) -> str:
    """What a text that is nothing but a unit means."""
    return _TEMPERATURE_UNIT.get(text.strip().casefold().replace("deg ", "deg"), "")


def air_unit(words: Iterable[str]) -> str:
    found = {_AIR_UNIT[word] for word in words if word in _AIR_UNIT}
    return found.pop() if len(found) == 1 else ""


def named(ids: Sequence[str], one: Level) -> str:
    """The one of the ids that a level names, whole: ``ash-2`` is not ``ash``. Nothing when it names none, or two."""
    runs = [run for run in re.split(r"[^a-z0-9]+", one.text[:LONGEST].casefold()) if run]
    pieces = {"-".join(runs[start:end]) for start in range(len(runs)) for end in range(start + 1, len(runs) + 1)}
    found = sorted((name for name in ids if name in pieces), key=len, reverse=True)
    return found[0] if found and all(other in found[0].split("-") for other in found[1:]) else ""
