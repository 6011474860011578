from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.payload import encode, instant
from simulator.scenario.models import Probe
from simulator.world import Sample

START = 1_772_560_800_000  # 2026-03-03T18:00:00Z


def sent(payload: dict[str, Any], value: float | str = 21.4, **probe: Any) -> bytes:
    spec = Probe.model_validate(
        {"id": "p", "topic": "t", "measures": "water", "vessel": "ash", "payload": payload, **probe}
    )
    return encode(Sample(90, spec, value, 5), START)


def test_a_number_is_bare_text() -> None:
    """The plainest probe sends the number alone, an air word the word alone."""
    assert sent({"style": "number"}) == b"21.4"
    assert sent({"style": "number"}, "on") == b"on"


def test_json_carries_value_time_and_number_where_asked() -> None:
    """Value, own time and running number stand at their pointers."""
    flat = sent({"style": "json", "value": "/c", "time": "/t", "sequence": "/n"})
    assert json.loads(flat) == {"t": "2026-03-03T18:01:30Z", "n": 5, "c": 21.4}
    deep = sent({"style": "json", "value": "/water/cel", "time": "/water/at"})
    assert json.loads(deep) == {"water": {"at": "2026-03-03T18:01:30Z", "cel": 21.4}}
    assert json.loads(sent({"style": "json", "value": "/v"})) == {"v": 21.4}


def test_senml_carries_base_time_name_and_unit() -> None:
    """A SenML record has the names and units of RFC 8428."""
    (record,) = json.loads(sent({"style": "senml", "base": "cedar-", "name": "water"}))
    assert record == {"bn": "cedar-", "bt": 1_772_560_890, "n": "water", "u": "Cel", "v": 21.4}


@pytest.mark.parametrize(("reads", "unit"), [("power", "W"), ("bubbles", "1/min")])
def test_senml_air_has_the_unit_of_what_it_reads(reads: str, unit: str) -> None:
    """Air told as a number says what number it is."""
    (record,) = json.loads(sent({"style": "senml"}, 3.5, measures="air", reads=reads))
    assert (record["u"], record["v"]) == (unit, 3.5)
    (word,) = json.loads(sent({"style": "senml", "own_time": False}, "off", measures="air"))
    assert word == {"n": "value", "vs": "off"}


@given(st.integers(0, 4_000_000_000_000))
def test_instants_are_rfc_3339_with_z(milliseconds: int) -> None:
    """An instant is UTC, ends in Z and keeps its milliseconds."""
    from datetime import datetime

    text = instant(milliseconds)
    assert text.endswith("Z")
    assert round(datetime.fromisoformat(text).timestamp() * 1000) == milliseconds
