"""The effective configuration: every option with its value and where that came from; secrets are masked."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from pydantic import SecretStr

from monitor.core.light import light
from monitor.settings.base import extra_of, form_of
from monitor.settings.errors import join
from monitor.settings.forms import MASK
from monitor.settings.probes import Probe
from monitor.settings.settings import LISTS, TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.settings.base import Section
    from monitor.settings.loader import Loaded


@light
class Shown:
    """One option. ``text`` is its value as TOML, None where it has none."""

    pointer: str
    key: str
    text: str | None
    origin: str
    told: str


def effective(loaded: Loaded) -> Iterator[tuple[str, list[Shown]]]:
    """Each table's header line with its options, in the order of the models."""
    settings = loaded.settings
    for name in TABLES:
        yield f"[{name}]", _options(loaded, join(name), getattr(settings, name))
    for name in LISTS:
        for index, section in enumerate(getattr(settings, f"{name}s")):
            yield f"[[{name}]]", _options(loaded, join(name, index), section)


def as_toml(loaded: Loaded) -> str:
    """The whole as TOML, which loads again to the same settings but for the masked secrets."""
    lines = [f"# Effective configuration of {loaded.settings.file or 'this document'}"]
    for header, options in effective(loaded):
        lines += ["", header]
        for option in options:
            if option.text is None:
                lines.append(f"# {option.key} is not set{f': {option.told}' if option.told else ''}")
            else:
                lines.append(f"{option.key} = {option.text}  # {option.origin}")
    return "\n".join(lines) + "\n"


def as_json(loaded: Loaded) -> list[dict[str, Any]]:
    """The whole as a list of pointers, values and origins. Values are TOML text, as a keeper would write them."""
    return [
        {"pointer": option.pointer, "value": option.text, "origin": option.origin}
        for _, options in effective(loaded)
        for option in options
    ]


def _options(loaded: Loaded, pointer: str, section: Section) -> list[Shown]:
    shown = []
    for key, field in type(section).model_fields.items():
        place = pointer + join(key)
        value = _value(section, key)
        text = None
        if isinstance(value, SecretStr):
            text = f'"{MASK}"'
        elif value is not None:
            text = form_of(field).write(value)
        shown.append(Shown(place, key, text, loaded.origin(place), extra_of(field, "told") or ""))
    return shown


def _value(section: Section, key: str) -> Any:
    """The value in force; for a probe also what follows from what it measures. None where there is none."""
    value = getattr(section, key)
    if isinstance(section, Probe) and not section.applies(key):
        return None
    if isinstance(section, Probe) and key == "words_weak":
        return section.weak_words
    if value is None and isinstance(section, Probe):
        spec = section.spec()
        temperature = section.measures != "air"
        known = {"unit": "C" if temperature else None, "low": spec.low, "high": spec.high, "max_change": spec.max_rate}
        value = known.get(key)
        if isinstance(value, float) and not math.isfinite(value):
            return None
    return value
