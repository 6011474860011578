"""Probes of tanks with eggs and larvae, and the tables that the core is given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import Measures
from monitor.settings import from_document
from tests.unit.settings.test_cold_stores import found_wrong, probe

if TYPE_CHECKING:
    from tests.unit.settings.test_cold_stores import Document


def test_a_probe_tells_of_a_tank(document: Document) -> None:
    """It belongs to no vessel, and has the bounds of water."""
    document["probe"].append(probe("fry-temp", "tank", tank="fry-1"))
    spec = from_document(document).settings.site_spec()
    found = spec.probes["fry-temp"]
    assert (found.measures, found.tank, found.vessel) == (Measures.TANK, "fry-1", None)
    assert (found.low, found.high, found.max_rate) == (-5.0, 50.0, 5.0)
    assert spec.probes["ash-air"].tank is None


@pytest.mark.parametrize(
    ("more", "key", "told"),
    [
        ({"measures": "tank"}, "tank", "a name for the tank whose temperature it measures"),
        ({"measures": "room", "tank": "fry-1"}, "tank", "no tank: a probe of room belongs to none"),
        (
            {"measures": "tank", "tank": "fry-1", "vessel": "ash"},
            "vessel",
            "no vessel: a probe of tank belongs to none",
        ),
    ],
)
def test_a_tank_is_named_where_one_is_measured_and_nowhere_else(
    document: Document, more: dict[str, Any], key: str, told: str
) -> None:
    """What was found and what is allowed stands at the place in the file."""
    document["probe"].append(probe("fry-temp", **more))
    assert told in found_wrong(document)[f"/probe/{len(document['probe']) - 1}/{key}"]


def test_the_core_is_given_fish_and_strains(document: Document) -> None:
    """Both tables reach it without a word in the configuration."""
    spec = from_document(document).settings.site_spec()
    assert spec.fish["angelfish"].ration == 150
    small = spec.strains["san-francisco-bay"]
    assert small.length_um == 428
    assert {spec.strains[word].id for word in ("sfb", "SFB", "San Francisco Bay")} == {small.id}
