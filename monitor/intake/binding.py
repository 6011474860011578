"""What joins a topic to a probe: which part of a payload is the value, and how it becomes the internal unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from monitor.core.model import Measures

DEFAULT_WORDS_ON = frozenset({"on", "running", "run", "yes", "ok", "open"})
DEFAULT_WORDS_OFF = frozenset({"off", "stopped", "stop", "no", "failed", "closed"})
"""Words of an air probe that need no configuration; compared without regard to case and surrounding space."""


@dataclass(frozen=True, slots=True)
class Binding:
    """One probe's place in the messages of one topic: ``value_internal = value * scale + offset``.

    ``pointer``, ``time_pointer`` and ``sequence_pointer`` are RFC 6901 pointers (decoder ``json``); ``name`` is the
    resolved name of a SenML record. ``is_word`` is true for an air probe that tells words rather than numbers.
    """

    topic: str
    probe: str
    decoder: Literal["number", "json", "senml"]
    measures: Measures
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    pointer: str = ""
    time_pointer: str | None = None
    sequence_pointer: str | None = None
    name: str | None = None
    words_on: frozenset[str] = DEFAULT_WORDS_ON
    words_off: frozenset[str] = DEFAULT_WORDS_OFF
    is_word: bool = False
