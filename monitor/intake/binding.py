"""What ties one topic to one probe: where in a message its value stands and how it becomes the internal unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from monitor.core.light import light

if TYPE_CHECKING:
    from monitor.core.model import Measures

DEFAULT_WORDS_ON: frozenset[str] = frozenset({"on", "running", "run", "true", "yes", "1"})
"""Words that say the air runs. Compared in lower case."""

DEFAULT_WORDS_OFF: frozenset[str] = frozenset({"off", "stopped", "stop", "false", "no", "0"})
"""Words that say the air stands still. Compared in lower case."""

DEFAULT_WORDS_WEAK: frozenset[str] = frozenset({"weak", "low"})
"""Words that say the air runs, but gives less than it should. Compared in lower case."""


@light
class Line:
    """A calibration: true = told * gain + shift, both in C."""

    gain: float
    shift: float

    def true(self, told: float) -> float:
        return told * self.gain + self.shift


Decoder = Literal["number", "json", "senml"]


@light
class Binding:
    """One topic feeding one probe.

    ``scale`` and ``offset`` carry the configured unit into the internal one: internal = value * scale + offset.
    A unit told by the message itself (SenML) wins over the configured one. Several bindings may share a topic.
    """

    topic: str
    probe: str
    decoder: Decoder
    measures: Measures
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""  # as configured; only compared with a SenML unit that is no temperature
    pointer: str = ""  # json: RFC 6901 pointer to the value; "" is the whole document
    time_pointer: str | None = None  # json: to the probe's own time
    sequence_pointer: str | None = None  # json: to the probe's own running number
    name: str | None = None  # senml: only records of this resolved name
    words_on: frozenset[str] = DEFAULT_WORDS_ON  # lower case
    words_off: frozenset[str] = DEFAULT_WORDS_OFF  # lower case
    words_weak: frozenset[str] = DEFAULT_WORDS_WEAK  # lower case
    calibration: Line | None = None  # of a temperature; applied to what is in the internal unit
    is_word: bool = False  # an air probe whose messages are words, not numbers
