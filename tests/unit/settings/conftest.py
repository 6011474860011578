"""A sound document to spoil."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture
def document() -> dict[str, Any]:
    """A small sound configuration, fresh for each test."""
    return {
        "site": {"id": "shed", "timezone": "Europe/Berlin", "feeding_times": ["18:00", "07:00"]},
        "broker": {"url": "mqtt://127.0.0.1:1883"},
        "vessel": [{"id": "ash", "litres": 1.5}, {"id": "birch", "litres": "2 L"}],
        "probe": [
            {"id": "ash-water", "topic": "shed/ash/water", "measures": "water", "vessel": "ash", "every": "10 s"},
            {"id": "ash-air", "topic": "shed/ash/air", "measures": "air", "vessel": "ash"},
            {"id": "shed-room", "topic": "shed/room", "measures": "room"},
        ],
        "lot": [{"id": "tin-7", "strain": "san-francisco-bay", "label_hatch_percent": 85}],
    }
