"""No document at all makes the loader fail in an unplanned way."""

from __future__ import annotations

import datetime as dt
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.settings import ConfigError, Settings, from_document
from monitor.settings.settings import LISTS, TABLES
from monitor.settings.tomlfile import parse_toml

scalars: st.SearchStrategy[Any] = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["ash", "shed", "1.5 L", "25 C", "78 F", "10 s", "2 W", "water", "air", "json", "senml", "/a/b", "+", "C"]
    ),
    st.sampled_from(
        [
            "mqtt://h",
            "mqtts://h:1",
            "mqtt://[",
            "json://h",
            "://",
            "http://[::1",
            "mqtt://h:x",
            "~x/y",
            "192.0.2.1",
            "%",
        ]
    ),
    st.integers(),
    st.none().map(lambda _: 1 << 20_000),  # a hexadecimal number may be this long
    st.floats(),
    st.booleans(),
    st.datetimes(),
    st.times(),
    st.dates(),
    st.just(dt.datetime(2026, 3, 2, tzinfo=dt.UTC)),
)
values = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2)
)


def tables(name: str) -> st.SearchStrategy[Any]:
    """Tables with known and unknown keys and any values."""
    known = (TABLES | LISTS)[name].model_fields
    return st.dictionaries(st.sampled_from([*known]) | st.text(max_size=5), values, max_size=8) | values


documents = st.fixed_dictionaries(
    {},
    optional={name: tables(name) for name in TABLES}
    | {name: st.lists(tables(name), max_size=3) | values for name in LISTS}
    | {"vessels": values, "": values, "a/~b": values},
)


def take(document: dict[str, Any], overlay: dict[str, Any] | None = None) -> Settings | None:
    """Settings, or None when the document was refused with its problems."""
    try:
        return from_document(document, file="x.toml", overlay=overlay).settings
    except ConfigError as error:
        told = error.problems
    assert told
    for problem in told:
        assert problem.allowed
        assert "\n" not in str(problem)
        assert problem.pointer == "" or problem.pointer.startswith("/")
    return None


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(documents)
def test_any_document_loads_or_is_refused(document: dict[str, Any]) -> None:
    """A document of any shape gives settings or a ConfigError, and nothing else."""
    loaded = take(document)
    assert loaded is None or loaded.vessels


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(documents, documents)
def test_any_overlay_loads_or_is_refused(document: dict[str, Any], overlay: dict[str, Any]) -> None:
    """Options of the command line of any shape do no worse than the file's."""
    loaded = take(document, overlay)
    assert loaded is None or loaded.vessels


SOUND: dict[str, Any] = {
    "site": {"id": "shed", "timezone": "UTC", "feeding_times": ["07:00"]},
    "vessel": [{"id": "ash", "litres": 1.5}],
    "probe": [{"id": "a", "topic": "t", "measures": "air", "vessel": "ash", "threshold": 1, "unit": "W"}],
    "channel": [{"url": "json://127.0.0.1"}],
}


@settings(deadline=None)
@given(st.data())
def test_any_value_in_a_sound_document_loads_or_is_refused(data: st.DataObject) -> None:
    """One option of a sound document with any value whatever gives settings that serve, or a ConfigError."""
    name = data.draw(st.sampled_from([*TABLES, *LISTS]))
    key = data.draw(st.sampled_from([*(TABLES | LISTS)[name].model_fields]))
    value = data.draw(values)
    spoilt = dict(SOUND)
    if name in TABLES:
        spoilt[name] = SOUND.get(name, {}) | {key: value}
    else:
        spoilt[name] = [(SOUND.get(name) or [{}])[0] | {key: value}]
    loaded = take(spoilt)
    if loaded is not None:
        assert loaded.site_spec().vessels
        assert len(loaded.bindings()) == 1


@given(
    st.text()
    | st.lists(st.sampled_from(["[", "]", "a", "=", '"', "'", "\n", ".", "1", "{", "}", ",", "#"])).map("".join)
)
def test_any_text_is_toml_or_refused(text: str) -> None:
    """A text of any kind parses or is a ConfigError with one problem."""
    count = 0
    try:
        document = parse_toml(text, "x.toml")
    except ConfigError as error:
        count = len(error.problems)
    else:
        count = 0 if take(document) else 1
    assert count == 1
