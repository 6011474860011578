"""What the guide says of one alarm. Numbers come from the settings and the rules, so that the two cannot drift apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from monitor.core.light import light
from monitor.settings.units import write_duration

if TYPE_CHECKING:
    from monitor.settings.base import Section

PRACTICE: Final = "common practice, no source"
MAINS: Final = "Dry hands; unplug before you touch anything wet."


@light
class Default:
    """One number: what it is, what it is from the start, why, and where it is changed (empty: it cannot be)."""

    what: str
    value: str
    why: str
    change: str = ""


@light
class Entry:
    """One alarm. ``todo`` in order, first things first; ``quieter`` says what to do when it rings too often."""

    rule: str
    of: str  # what it is about: vessel, probe, tin, store, channel, or site
    title: str
    priority: str
    meaning: str
    todo: tuple[str, ...]
    then: str
    defaults: tuple[Default, ...]
    quieter: str

    @property
    def example(self) -> str:
        """How its id looks."""
        return f"{self.rule}:{'site' if self.of == 'site' else f'<{self.of}>'}"


def length(milliseconds: float) -> str:
    """``5 min``."""
    return write_duration(round(milliseconds))


def setting(section: type[Section], key: str) -> Any:
    """The default of an option of the configuration; KeyError when there is none of that name."""
    return section.model_fields[key].default


def table(section: str, key: str) -> str:
    """Where an option stands, as a keeper finds it in the file."""
    return f"`{key}` in `{section}`"
