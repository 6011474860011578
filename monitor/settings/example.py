"""The commented example, made from the models: ``python -m monitor.settings.example > config/swimup.example.toml``."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING, Any

from monitor.settings.base import extra_of, form_of
from monitor.settings.forms import toml
from monitor.settings.settings import LISTS, TABLES

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pydantic.fields import FieldInfo

    from monitor.settings.base import Section

HEAD = """\
# Every option of swimup, with its meaning, what is allowed and its default.
# Made from the program by "python -m monitor.settings.example": change it there.
#
# Lines that begin with "#" and an option are not in force; they show the default, or an example where there is none.
# Quantities are written with their unit, "78 F", "1.5 L", "10 s"; bare numbers are in C, L, g, g/L and s.
# Relative file names are looked up beside this file. "swimup check" tells whether all is well; --show what is in force.
"""

# What is in force in the example: every shape of probe once.
IN_FORCE: dict[str, list[dict[str, Any]]] = {
    "site": [{"id": "shed", "timezone": "Europe/Berlin", "feeding_times": ["07:00", "12:00", "18:00"]}],
    "broker": [{"url": "mqtt://127.0.0.1:1883"}],
    "store": [{}],
    "backup": [{}],
    "web": [{}],
    "alarms": [{}],
    "heartbeat": [{}],
    "rooms": [{}],
    "food": [{}],
    "vessel": [{"id": "ash", "litres": 1.5}, {"id": "birch", "litres": "2 L"}],
    "probe": [
        {
            "id": "ash-water",
            "topic": "shed/ash",
            "decoder": "json",
            "pointer": "/water/celsius",
            "time_pointer": "/time",
            "measures": "water",
            "vessel": "ash",
            "unit": "C",
            "every": "10 s",
        },
        {"id": "ash-air", "topic": "shed/ash/air", "measures": "air", "vessel": "ash", "every": "10 s"},
        {
            "id": "birch-water",
            "topic": "shed/birch/senml",
            "decoder": "senml",
            "name": "shed:birch:water",
            "measures": "water",
            "vessel": "birch",
            "every": "30 s",
        },
        {
            "id": "birch-air",
            "topic": "shed/birch/pump/power",
            "measures": "air",
            "vessel": "birch",
            "unit": "W",
            "every": "10 s",
            "threshold": "2 W",
            "deadband": "0.5 W",
        },
        {"id": "shed-room", "topic": "shed/room", "measures": "room", "unit": "F", "every": "5 min"},
    ],
    "lot": [{"id": "tin-7", "strain": "san-francisco-bay", "label_hatch_percent": 85}],
    "cold_store": [],
    "channel": [],
    "series_server": [],
}


def example() -> str:
    """The example as TOML."""
    return written(HEAD, TABLES, LISTS, IN_FORCE)


def written(
    head: str,
    tables: Mapping[str, type[Section]],
    lists: Mapping[str, type[Section]],
    in_force: Mapping[str, list[dict[str, Any]]],
) -> str:
    """The example of any models as TOML. The values of ``in_force`` are in force, all else is explained beside them."""
    parts = [head]
    for name, kind in tables.items():
        parts.append(_table(f"[{name}]", kind, in_force[name][0]))
    for name, kind in lists.items():
        items = in_force[name]
        parts.append(_table(f"[[{name}]]", kind, items[0] if items else None))
        parts += [_brief(f"[[{name}]]", other) for other in items[1:]]
    return "\n".join(parts)


def _table(header: str, kind: type[Section], values: dict[str, Any] | None) -> str:
    """One table with all its options explained; the whole of it out of force when ``values`` is None."""
    lines = ["", *_comment(kind.__doc__ or ""), header if values is not None else f"# {header}"]
    for key, field in kind.model_fields.items():
        lines += [
            "",
            *_comment(field.description or ""),
            *_comment(f"Allowed: {form_of(field).allowed}."),
            *_comment(_default(field)),
        ]
        if values is not None and key in values:
            lines.append(f"{key} = {toml(values[key])}")
        else:
            lines.append(f"# {key} = {sample(field)}")
    return "\n".join(lines) + "\n"


def _brief(header: str, values: dict[str, Any]) -> str:
    return "\n".join([header, *(f"{key} = {toml(value)}" for key, value in values.items())]) + "\n"


def sample(field: FieldInfo) -> str:
    """An option's default as TOML, or its example where the default is none or worked out."""
    given = extra_of(field, "example")
    if given is not None and (field.is_required() or field.default in (None, ())):
        return toml(given)
    return form_of(field).write(field.default)


def _default(field: FieldInfo) -> str:
    if told := extra_of(field, "told"):
        return f"Default: {told}."
    if field.is_required():
        return "Required."
    return "Default: none." if field.default is None else f"Default: {form_of(field).write(field.default)}."


def _comment(text: str) -> list[str]:
    return textwrap.wrap(
        " ".join(text.split()), 116, initial_indent="# ", subsequent_indent="# ", break_long_words=False
    )


if __name__ == "__main__":
    sys.stdout.write(example())
