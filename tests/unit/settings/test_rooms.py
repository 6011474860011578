"""Other rooms in the configuration."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.settings import ConfigError, from_document


def test_nothing_is_listened_to_unless_asked_for(document: dict[str, Any]) -> None:
    """One room needs no word of it."""
    rooms = from_document(document).settings.rooms
    assert (rooms.show, rooms.sites) == (False, ())


@pytest.mark.parametrize(
    ("sites", "said"),
    [
        (["attic", "Cellar!"], "small letters"),
        (["attic", "attic"], "each entry once"),
        ([f"room-{n}" for n in range(51)], "at most 50"),
        (None, "other rooms only"),
    ],
)
def test_what_does_not_fit_is_told(document: dict[str, Any], sites: list[str] | None, said: str) -> None:
    """Names that no site can have, one twice, too many, and our own."""
    named = [document["site"]["id"]] if sites is None else sites
    with pytest.raises(ConfigError) as refused:
        from_document(document | {"rooms": {"show": True, "sites": named}})
    (problem,) = refused.value.problems
    assert said in str(problem)
