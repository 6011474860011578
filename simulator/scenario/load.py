"""From a TOML file to a checked scenario, with every mistake told at once."""

from __future__ import annotations

import difflib
import tomllib
from collections import Counter
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BaseModel, ValidationError

from simulator.scenario.models import Scenario

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path


class ScenarioError(Exception):
    """A scenario that cannot be played; ``problems`` holds one line for each mistake, with its JSON Pointer."""

    def __init__(self, source: str, problems: Iterable[str]) -> None:
        self.source = source
        self.problems = tuple(problems)
        super().__init__("\n".join(f"{source}: {problem}" for problem in self.problems))


def load(path: Path) -> Scenario:
    """Read and check a scenario file; raises ScenarioError."""
    try:
        with path.open("rb") as file:
            data = tomllib.load(file)
    except OSError as error:
        raise ScenarioError(str(path), [f"cannot be read: {error.strerror or error}"]) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ScenarioError(str(path), [f"is not TOML: {error}"]) from error
    return scenario_from(data, str(path))


def scenario_from(data: Mapping[str, Any], source: str = "scenario") -> Scenario:
    """Check a scenario given as plain data (the tables of the file); raises ScenarioError with all mistakes."""
    try:
        scenario = Scenario.model_validate(dict(data))
    except ValidationError as error:
        raise ScenarioError(source, [_problem(detail) for detail in error.errors()]) from error
    if problems := list(_contradictions(scenario)):
        raise ScenarioError(source, problems)
    return scenario


def _problem(detail: Any) -> str:
    # A discriminated union puts the chosen member's name into the path; it is no key of the file.
    path = [part for part in detail["loc"] if part not in ("number", "json", "senml")]
    pointer = "/" + "/".join(str(part) for part in path)
    if detail["type"] == "extra_forbidden":
        return f"{pointer}: unknown key{_nearest(path)}"
    if detail["type"] == "missing":
        return f"{pointer}: is missing"
    message = detail["msg"].removeprefix("Value error, ")
    found = f" (found {detail['input']!r})" if isinstance(detail["input"], str | int | float) else ""
    return f"{pointer}: {message}{found}"


def _nearest(path: list[Any]) -> str:
    known = sorted(_keys(Scenario))
    match = difflib.get_close_matches(str(path[-1]), known, n=1)
    return f"; did you mean {match[0]!r}?" if match else ""


def _keys(model: type[BaseModel]) -> set[str]:
    names: set[str] = set()
    for table in [model, *_tables(model)]:
        names |= set(table.model_fields)
    return names


def _tables(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for field in model.model_fields.values():
        for inner in _models_in(field.annotation):
            yield inner
            yield from _tables(inner)


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in getattr(annotation, "__args__", ()):
        yield from _models_in(argument)


def _contradictions(scenario: Scenario) -> Iterator[str]:
    """Mistakes that only show when tables are held against each other."""
    try:
        ZoneInfo(scenario.timezone)
    except (ZoneInfoNotFoundError, ValueError):
        yield f"/timezone: {scenario.timezone!r} is no IANA time zone such as 'Europe/Berlin'"
    if not scenario.vessel:
        yield "/vessel: there is none; a scenario needs at least one"
    for table in ("vessel", "tin", "batch", "probe"):
        counts = Counter(item.id for item in getattr(scenario, table))
        yield from (f"/{table}: the id {name!r} stands {count} times" for name, count in counts.items() if count > 1)
    pumps = Counter(pump.vessel for pump in scenario.pump)
    yield from (
        f"/pump: vessel {name!r} has {count} pumps, at most one is allowed"
        for name, count in pumps.items()
        if count > 1
    )
    topics = Counter(probe.topic for probe in scenario.probe)
    yield from (f"/probe: {count} probes share the topic {name!r}" for name, count in topics.items() if count > 1)
    yield from _references(scenario)
    yield from _overlaps(scenario)


def _references(scenario: Scenario) -> Iterator[str]:
    vessels = [vessel.id for vessel in scenario.vessel]
    tins = [tin.id for tin in scenario.tin]
    named: list[tuple[str, str | None, list[str], str]] = []
    named += [(f"/pump/{n}/vessel", pump.vessel, vessels, "vessel") for n, pump in enumerate(scenario.pump)]
    named += [(f"/batch/{n}/vessel", batch.vessel, vessels, "vessel") for n, batch in enumerate(scenario.batch)]
    named += [(f"/batch/{n}/tin", batch.tin, tins, "tin") for n, batch in enumerate(scenario.batch)]
    named += [(f"/probe/{n}/vessel", probe.vessel, vessels, "vessel") for n, probe in enumerate(scenario.probe)]
    for pointer, name, allowed, kind in named:
        if name is not None and name not in allowed:
            yield f"{pointer}: there is no {kind} {name!r}; there are: {', '.join(allowed) or 'none'}"


def _overlaps(scenario: Scenario) -> Iterator[str]:
    for number, batch in enumerate(scenario.batch):
        if batch.at < -scenario.lead:
            yield f"/batch/{number}/at: lies before the world begins; lengthen lead"
        for other in scenario.batch:
            ends = other.harvest if other.harvest is not None else float("inf")
            if other is not batch and other.vessel == batch.vessel and other.at <= batch.at < ends:
                yield f"/batch/{number}/at: {batch.vessel!r} still holds {other.id!r}; give that one a harvest before"
