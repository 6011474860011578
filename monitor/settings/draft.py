"""A configuration on its way: what is sound of it so far, and what is wrong.

Every table is validated on its own, so that a fault in one hides none in another, and keeps the fields that are right
even when others are not.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pydantic import ValidationError

from monitor.core.light import light
from monitor.settings.base import Section, extra_of, form_of
from monitor.settings.errors import Problem, join, nearest, quoted, shown

if TYPE_CHECKING:
    from pathlib import Path

    from pydantic_core import ErrorDetails

    from monitor.settings.backup import Backup
    from monitor.settings.food import Food
    from monitor.settings.models import Alarms, Broker, Channel, Heartbeat, Lot, Site, Store, Vessel, Web
    from monitor.settings.probes import Probe
    from monitor.settings.rooms import Rooms
    from monitor.settings.series import SeriesServer
    from monitor.settings.stores import ColdStore

S = TypeVar("S", bound=Section)


@light
class Part(Generic[S]):
    """One table. ``value`` may be read only as far as ``sound`` says; ``given`` are the keys that the keeper wrote."""

    pointer: str
    value: S
    broken: frozenset[str]
    given: frozenset[str]
    about: str = ""

    def sound(self, *fields: str) -> bool:
        return self.broken.isdisjoint(fields)


@light(frozen=False)
class Draft:
    """All tables and all problems so far."""

    file: str
    base: Path | None
    overlaid: Mapping[str, str] = field(default_factory=dict)  # pointers that did not come from the file, and whence
    site: Part[Site] = field(init=False)
    broker: Part[Broker] = field(init=False)
    store: Part[Store] = field(init=False)
    backup: Part[Backup] = field(init=False)
    web: Part[Web] = field(init=False)
    alarms: Part[Alarms] = field(init=False)
    heartbeat: Part[Heartbeat] = field(init=False)
    rooms: Part[Rooms] = field(init=False)
    food: Part[Food] = field(init=False)
    vessel: list[Part[Vessel]] = field(default_factory=list)
    probe: list[Part[Probe]] = field(default_factory=list)
    lot: list[Part[Lot]] = field(default_factory=list)
    cold_store: list[Part[ColdStore]] = field(default_factory=list)
    channel: list[Part[Channel]] = field(default_factory=list)
    series_server: list[Part[SeriesServer]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, pointer: str, found: str, allowed: str, hint: str = "", about: str = "") -> None:
        """Note a problem."""
        self.problems.append(Problem(self._origin(pointer), pointer, found, allowed, hint, about))

    def wrong_in(self, part: Part[Any], key: str, found: str, allowed: str, hint: str = "") -> None:
        """Note a problem with one key of a table."""
        self.wrong(part.pointer + join(key), found, allowed, hint, part.about)

    def _origin(self, pointer: str) -> str:
        while pointer:
            if pointer in self.overlaid:
                return self.overlaid[pointer]
            pointer = pointer.rpartition("/")[0]
        return self.file

    def take(self, kind: type[S], raw: object, pointer: str) -> Part[S]:
        """Validate one table, noting its problems."""
        if not isinstance(raw, Mapping):
            name = pointer.split("/")[1]
            self.wrong(pointer, shown(raw, secret=True), f"a table, [{name}] with its options on the lines below")
            return Part(pointer, kind.model_construct(), frozenset(kind.model_fields), frozenset())
        about = _about(kind, raw)
        kept: dict[str, Any] = {}
        try:
            value = kind.model_validate(dict(raw), context={"kept": kept, "base": self.base})
            broken: frozenset[str] = frozenset()
        except ValidationError as error:
            faults = error.errors(include_url=False)
            for fault in faults:
                self._translate(kind, raw, pointer, about, fault)
            broken = frozenset(str(fault["loc"][0]) for fault in faults if fault["loc"])
            value = kind.model_construct(**kept)
        return Part(pointer, value, broken, frozenset(map(str, raw)), about)

    def _translate(
        self, kind: type[Section], raw: Mapping[str, Any], pointer: str, about: str, fault: ErrorDetails
    ) -> None:
        """Tell one of pydantic's findings in a keeper's words."""
        key = str(fault["loc"][0])
        place = pointer + join(key)
        fields = kind.model_fields
        match fault["type"]:
            case "extra_forbidden":
                known = ", ".join(fields)
                # The value is not told: an unknown key may well be a password.
                self.wrong(
                    place, f"the unknown option {quoted(key)}", f"the options {known}", _unknown(key, kind), about
                )
            case "missing":
                example = extra_of(fields[key], "example")
                hint = fields[key].description or ""
                self.wrong(
                    place,
                    "nothing",
                    form_of(fields[key]).allowed if example is None else _sample(kind, key),
                    hint,
                    about,
                )
            case _:
                form = form_of(fields[key])
                context = fault.get("ctx", {})
                found = context.get("found") or shown(raw.get(key), secret=form.secret)
                self.wrong(place, found, context.get("allowed") or form.allowed, context.get("hint", ""), about)


def _about(kind: type[Section], raw: Mapping[str, Any]) -> str:
    name = raw.get("id")
    word = re.sub(r"\B(?=[A-Z])", " ", kind.__name__).casefold()
    return f"{word} {quoted(name)}" if isinstance(name, str) else ""


def _sample(kind: type[Section], key: str) -> str:
    form = form_of(kind.model_fields[key])
    example = extra_of(kind.model_fields[key], "example")
    return f"{form.allowed} ({key} = {form.write(example) if not isinstance(example, float | int) else example})"


ELSEWHERE = {
    (
        "broker",
        "password",
    ): "A password does not belong here: name a file in password_file or a variable in password_env.",
    ("web", "password"): 'A password does not belong here: "swimup password" makes the file for password_file.',
    (
        "channel",
        "secret",
    ): "A secret does not belong here: name a file in secret_file or a variable in secret_env.",
    (
        "seriesserver",
        "token",
    ): "A token does not belong here: name a file in token_file or a variable in token_env.",
    ("broker", "host"): 'Write url = "mqtt://host:port".',
    ("broker", "port"): 'Write url = "mqtt://host:port".',
}


def _unknown(key: str, kind: type[Section]) -> str:
    told = ELSEWHERE.get((kind.__name__.casefold(), key.casefold()))
    return told or nearest(key, tuple(kind.model_fields))
