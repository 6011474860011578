"""The promises of all that reads what others wrote, on inputs that are nearly right: what a mutation of bytes seldom makes."""

from __future__ import annotations

import json
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.archive import Choice, bring_back, write_out
from monitor.core.log import Discard, Harvest, Start
from monitor.core.log_food import Tin, Weighed
from monitor.core.model import Quality, Reading
from monitor.core.pantry_codec import NotReadable, document, from_json, to_json
from monitor.settings import ConfigError
from monitor.settings.loader import from_document
from monitor.settings.tomlfile import parse_toml
from monitor.store import Store
from tests.adapters.archive.filled import T0, files
from tests.fuzz.on_settings import SMALL
from tests.fuzz.target import find
from tests.unit.planner.rooms import room

if TYPE_CHECKING:
    from collections.abc import Callable

BRIEF: Final = settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
)
ODD: Final[st.SearchStrategy[Any]] = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=6),
    st.sampled_from([10**400, -1, 0, 1e308, "", "\x00", "\ud800", [], {}, "0001-01-01T00:00:00+23:59"]),
)
LINED: Final = ("log", "archive", "commands", "rooms", "pantry", "calendar")
"""Targets whose inputs are JSON, perhaps line by line, perhaps after a byte that says which."""


def spoilt(value: Any, data: st.DataObject) -> Any:
    """The same document with one value in it replaced, or one member less."""
    if isinstance(value, dict) and value and data.draw(st.booleans() | st.just(value=True)):
        key = data.draw(st.sampled_from(sorted(value)))
        if data.draw(st.integers(0, 5)) == 0:
            return {name: one for name, one in value.items() if name != key}
        return {**value, key: spoilt(value[key], data)}
    if isinstance(value, list) and value:
        place = data.draw(st.integers(0, len(value) - 1))
        return [spoilt(one, data) if number == place else one for number, one in enumerate(value)]
    return data.draw(ODD)


@pytest.mark.parametrize("name", LINED)
@BRIEF
@given(data=st.data())
def test_a_document_with_one_thing_wrong_is_taken_or_refused(name: str, data: st.DataObject) -> None:
    """One value of another kind, or beyond all bounds, or missing, is no more harm than a whole file of noise."""
    target = find(name)
    raw = data.draw(st.sampled_from(_documents(name)))
    head, text = raw
    lines = text.splitlines()
    place = data.draw(st.integers(0, len(lines) - 1))
    lines[place] = json.dumps(spoilt(json.loads(lines[place]), data)).encode()
    assert target.one(head + b"\n".join(lines)) in (True, False)


def _documents(name: str) -> list[tuple[bytes, bytes]]:
    """Its own inputs to begin with, as far as each line of them is JSON: the byte before, and the rest."""
    found = []
    for seed in find(name).seeds():
        begins = min((place for place in (seed.find(b"{"), seed.find(b"[")) if place >= 0), default=-1)
        try:
            for line in seed[begins:].splitlines():
                json.loads(line)
        except ValueError:
            continue
        if 0 <= begins <= 1:
            found.append((seed[:begins], seed[begins:]))
    assert found
    return found


@BRIEF
@given(data=st.data())
def test_a_mistake_in_a_configuration_is_told_with_its_place(data: st.DataObject) -> None:
    """One wrong value is told by file and pointer, and the pointer leads to it or to the table that lacks it."""
    sound = parse_toml(
        f'[site]\nid = "shed"\ntimezone = "UTC"\nfeeding_times = ["07:00"]\n[broker]\nurl = "mqtt://h"\n{SMALL}', "x"
    )
    assert from_document(sound, file="x.toml").settings.vessels
    table = data.draw(st.sampled_from(["site", "broker", "vessel", "probe"]))
    inside = sound[table] if isinstance(sound[table], dict) else sound[table][0]
    key = data.draw(st.sampled_from(sorted(inside)))
    changed = {**inside, key: data.draw(ODD.filter(lambda value: value is not None))}
    document = {**sound, table: changed if isinstance(sound[table], dict) else [changed]}
    try:
        from_document(document, file="x.toml")
    except ConfigError as error:
        told = error.problems
    else:
        return
    for problem in told:
        assert problem.file == "x.toml"
        assert problem.allowed
    assert any(problem.pointer.startswith(f"/{table}") or key in ("id", "unit") for problem in told)


TEXT: Final = st.text(max_size=12)
AMOUNT: Final = st.floats(1e-3, 1e6)
TIME: Final = st.integers(T0, T0 + 10**10)
ENTRIES: Final = st.one_of(
    st.builds(Start, TIME, TIME, TEXT, TEXT, TEXT, AMOUNT, AMOUNT, st.floats(0, 200)),
    st.builds(Harvest, TIME, TIME, TEXT, st.none() | st.floats(0, 1), st.none() | AMOUNT),
    st.builds(Discard, TIME, TIME, TEXT, TEXT),
    st.builds(Tin, TIME, TIME, TEXT, TEXT, grams=st.none() | AMOUNT, opened=st.none() | TIME),
    st.builds(Weighed, TIME, TIME, TEXT, AMOUNT),
)
READINGS: Final = st.builds(
    Reading,
    probe=st.sampled_from(["ash-water", "Бирюза", "a,b\n"]),
    time=TIME,
    milli=st.integers(-(10**9), 10**9),
    quality=st.sampled_from(list(Quality)),
    reason=TEXT,
    state=st.none() | st.integers(0, 2),
    seq=st.none() | st.integers(0, 2**63 - 1),
    own_time=st.booleans(),
    arrived=TIME,
)


@pytest.mark.parametrize("form", ["csv", "jsonl"])
@settings(BRIEF, max_examples=8)
@given(
    entries=st.lists(ENTRIES, max_size=6),
    readings=st.lists(READINGS, max_size=6, unique_by=lambda one: (one.probe, one.time)),
)
def test_any_history_is_the_same_after_export_and_import(
    form: Any, entries: list[Any], readings: list[Reading]
) -> None:
    """What was taken out, taken back and taken out again is the same to the byte."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with Store.open(folder / "one.sqlite3", now=T0) as store:
            for reading in readings:
                store.add(reading)
            for entry in entries:
                store.log(entry)
            store.commit()
        write_out(folder / "one.sqlite3", folder / "first", Choice(form=form))
        bring_back(folder / "first", folder / "two.sqlite3")
        write_out(folder / "two.sqlite3", folder / "second", Choice(form=form))
        assert files(folder / "second") == files(folder / "first")


@BRIEF
@given(
    now=TIME,
    salinity=st.floats(0, 200),
    name=TEXT,
    grams=st.none() | AMOUNT,
    water=st.lists(st.floats(-5, 45), max_size=4),
)
def test_any_pantry_is_the_same_after_the_way_through_json(
    now: int, salinity: float, name: str, grams: float | None, water: list[float]
) -> None:
    """Names of any letters, numbers of any fraction: the planner's process is given what the daemon meant."""
    made = room(1, 1, 1, 1)
    made = replace(
        made,
        now=now,
        salinity_g_l=salinity,
        lots=(replace(made.lots[0], id=name, left_g=grams),),
        vessels=(replace(made.vessels[0], water_c=tuple(water)),),
    )
    assert from_json(to_json(made)) == made


@pytest.mark.parametrize(
    "change", [lambda told: {**told, "salinity_g_l": 10**400}, lambda told: {**told, "lots": 10**400}]
)
def test_a_number_beyond_all_numbers_is_no_pantry(change: Callable[[dict[str, Any]], dict[str, Any]]) -> None:
    """It is refused as anything else that is none."""
    told = change(document(room(days=1)))
    with pytest.raises(NotReadable):
        from_json(json.dumps(told).encode())
