"""A probe: where its readings come from, what they mean, and what the core is told of it."""

import math
from typing import Annotated, Literal

from monitor.core import model as core
from monitor.core.model import Measures
from monitor.intake.binding import DEFAULT_WORDS_OFF, DEFAULT_WORDS_ON, DEFAULT_WORDS_WEAK, Binding
from monitor.settings import units
from monitor.settings.base import Section, option
from monitor.settings.calibration import Calibration, CalibrationForm
from monitor.settings.forms import Choice, Duration, Flag, ListOf, ProbeUnit, ProbeValue, Text
from monitor.settings.names import Identifier, Pointer, Topic, Word
from monitor.settings.units import Affine, Kind

# Plausible values and changes of what is measured: common practice, no source. -127 and 85.0, which broken sensors of a
# common make tell, lie outside of all.
RANGES: dict[Measures, tuple[float, float]] = {
    Measures.WATER: (-5.0, 50.0),
    Measures.ROOM: (-30.0, 60.0),
    Measures.STORE: (-30.0, 60.0),
    Measures.TANK: (-5.0, 50.0),
    Measures.AIR: (-math.inf, math.inf),
}
NUMERIC_AIR = frozenset({"threshold", "deadband", "weak_below", "pulses"})
WORDS = frozenset({"words_on", "words_off", "words_weak"})
# Topping up a litre with tap water is a fast change that did happen; a loose contact is faster still.
FASTEST: dict[Measures, float] = {
    Measures.WATER: 5.0,
    Measures.ROOM: 10.0,
    Measures.STORE: 10.0,
    Measures.TANK: 5.0,
    Measures.AIR: math.inf,
}


class Probe(Section):
    """A probe: one value in the messages of one MQTT topic."""

    id: Annotated[str, Identifier()] = option("Short name of the probe.", example="ash-water")
    topic: Annotated[str, Topic()] = option("MQTT topic its readings arrive on.", example="shed/ash")
    decoder: Annotated[Literal["number", "json", "senml"], Choice(("number", "json", "senml"))] = option(
        'How a message is read: "number" (plain text), "json" (with pointer) or "senml" (RFC 8428).',
        default="number",
        example="json",
    )
    pointer: Annotated[str | None, Pointer()] = option(
        "json: JSON Pointer (RFC 6901) to the value.", default=None, example="/water/celsius"
    )
    time_pointer: Annotated[str | None, Pointer()] = option(
        "json: pointer to the probe's own time. With it, late and repeated messages sort themselves out.",
        default=None,
        example="/time",
    )
    sequence_pointer: Annotated[str | None, Pointer()] = option(
        "json: pointer to the probe's own count of messages.", default=None, example="/n"
    )
    name: Annotated[str | None, Text("the whole name of a SenML record", longest=200)] = option(
        "senml: name of the record, base name included.",
        default=None,
        told="the only record there is",
        example="shed:ash:water",
    )
    measures: Annotated[Measures, Choice(tuple(Measures), Measures)] = option(
        'What it measures: "water" or "air" of a vessel, "room", "store" or "tank" temperature.', example="water"
    )
    vessel: Annotated[str | None, Identifier()] = option(
        "The vessel it belongs to; needed for water, and for air unless that is of a store.",
        default=None,
        example="ash",
    )
    store: Annotated[str | None, Identifier()] = option(
        "The cold store whose temperature it measures, or whose aeration, instead of a vessel's.",
        default=None,
        told="for a store temperature the only [[cold_store]], if there is one",
        example="fridge",
    )
    tank: Annotated[str | None, Identifier()] = option(
        "tank: the tank with eggs or larvae whose temperature it measures; a brood in it swims up by that.",
        default=None,
        told="none; needed for a tank temperature",
        example="fry-1",
    )
    unit: Annotated[str | None, ProbeUnit()] = option(
        'Unit of its numbers: "C", "F" or "K"; for air such as "W", "L/min" or "kPa", or none.',
        default=None,
        told='"C" for temperatures, none for air',
        example="C",
    )
    every: Annotated[int, Duration(100, 1 * core.DAY)] = option(
        "How often it reports. Twice this late it is marked, three times and a minute it is an alarm.",
        default=60 * core.SECOND,
        example="10 s",
    )
    low: Annotated[float | None, ProbeValue(Kind.TEMPERATURE)] = option(
        "A lower value is not believed.",
        default=None,
        told="-5 C for water and tank, -30 C for room and store, none for air",
        example="0 C",
    )
    high: Annotated[float | None, ProbeValue(Kind.TEMPERATURE)] = option(
        "A higher value is not believed.",
        default=None,
        told="50 C for water and tank, 60 C for room and store, none for air",
        example="45 C",
    )
    max_change: Annotated[float | None, ProbeValue(Kind.WARMING)] = option(
        "A faster change, per minute, is not believed.",
        default=None,
        told="5 C/min for water and tank, 10 C/min for room and store, none for air",
        example="2 C/min",
    )
    calibration: Annotated[Calibration | None, CalibrationForm()] = option(
        "What the probe told where the true temperature was known, [true, told] at one point or two, and when. Readings are "
        "put right by it from then on; what is stored stays as it was judged.",
        default=None,
        told="none: what it tells is taken for true",
        example={"at": "2026-03-01", "points": [[0.0, 0.4], [37.0, 37.3]]},
    )
    recalibrate_after: Annotated[int, Duration(7 * core.DAY, 3650 * core.DAY)] = option(
        "A calibration older than this is a low alarm, once. Common practice, no source.",
        default=365 * core.DAY,
    )
    threshold: Annotated[float | None, ProbeValue()] = option(
        "air: running at or above this number (with pulses: this many a minute). Without it, air is told by words.",
        default=None,
        example=2.0,
    )
    deadband: Annotated[float | None, ProbeValue()] = option(
        "air: stopped only below threshold less this; what was weak is so up to weak_below plus this.",
        default=None,
        told="0",
        example=0.5,
    )
    weak_below: Annotated[float | None, ProbeValue()] = option(
        "air: below this number, and not stopped, it runs weakly: a torn membrane, a clogged stone, a kinked hose. "
        "A pump's power seldom tells; bubbles, flow and pressure do.",
        default=None,
        told="none: air runs or is stopped",
        example=3.0,
    )
    pulses: Annotated[bool, Flag()] = option("air: the number is a running count of pulses or bubbles.", default=False)
    words_on: Annotated[frozenset[str], ListOf(Word(), least=1, as_set=True)] = option(
        "air: words that mean running, whatever their case.", default=DEFAULT_WORDS_ON
    )
    words_off: Annotated[frozenset[str], ListOf(Word(), least=1, as_set=True)] = option(
        "air: words that mean stopped.", default=DEFAULT_WORDS_OFF
    )
    words_weak: Annotated[frozenset[str], ListOf(Word(), as_set=True)] = option(
        "air: words that mean running, but weakly. Words of the other two lists are left out of the default.",
        default=DEFAULT_WORDS_WEAK,
    )

    @property
    def by_word(self) -> bool:
        """Air told by words rather than by a number."""
        return self.measures is Measures.AIR and self.threshold is None and not self.pulses

    @property
    def affine(self) -> Affine:
        """How its unit becomes the internal one. Air stays in its own: only its own threshold is compared with it."""
        if self.measures is Measures.AIR:
            return Affine(1.0, 0.0, self.unit or "")
        return units.temperature_unit(self.unit or "C")

    def applies(self, key: str) -> bool:
        """Whether an option means anything for this probe; one that does not must not be written."""
        if key in NUMERIC_AIR:
            return self.measures is Measures.AIR
        if key == "tank":
            return self.measures is Measures.TANK
        if key == "recalibrate_after":
            return self.calibration is not None
        return self.by_word if key in WORDS else True

    @property
    def weak_words(self) -> frozenset[str]:
        """The words in force for weak air: a default must not take a word that the keeper gave another meaning."""
        return self.words_weak - self.words_on - self.words_off

    def spec(self) -> core.ProbeSpec:
        low, high = RANGES[self.measures]
        return core.ProbeSpec(
            id=self.id,
            measures=self.measures,
            vessel=self.vessel,
            every=self.every,
            low=low if self.low is None else self.low,
            high=high if self.high is None else self.high,
            max_rate=FASTEST[self.measures] if self.max_change is None else self.max_change,
            air=self._air(),
            tank=self.tank,
            calibrate_by=None if self.calibration is None else self.calibration.at_ms + self.recalibrate_after,
        )

    def _air(self) -> core.AirRule:
        if self.measures is not Measures.AIR or self.by_word:
            return core.AirRule()
        kind: Literal["pulses", "level"] = "pulses" if self.pulses else "level"
        return core.AirRule(kind, self.threshold or 0.0, self.deadband or 0.0, self.weak_below)

    def binding(self) -> Binding:
        affine = self.affine
        return Binding(
            topic=self.topic,
            probe=self.id,
            decoder=self.decoder,
            measures=self.measures,
            scale=affine.scale,
            offset=affine.offset,
            unit=affine.code,
            pointer=self.pointer or "",
            time_pointer=self.time_pointer,
            sequence_pointer=self.sequence_pointer,
            name=self.name,
            calibration=None if self.calibration is None else self.calibration.line,
            words_on=self.words_on,
            words_off=self.words_off,
            words_weak=self.weak_words,
            is_word=self.by_word,
        )
