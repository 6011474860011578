"""How the keeper wants to be told: quiet hours, a second channel, what a channel is for."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.core.dispatch import Manners, Reach
from monitor.core.model import MINUTE, Priority
from monitor.settings import ConfigError, from_document

PHONE = {"id": "phone", "url": "json://127.0.0.1/"}


def test_nothing_said_means_a_quiet_night(document: dict[str, Any]) -> None:
    """Quiet from ten to seven in the site's own time, and every channel gets everything at once."""
    settings = from_document(document | {"channel": [PHONE]}).settings
    assert settings.manners() == Manners(timezone="Europe/Berlin")
    assert settings.reaches() == {"phone": Reach()}


def test_what_is_said_reaches_the_outbox(document: dict[str, Any]) -> None:
    """Hours, what may wake, the second channel and the least priority arrive as they were written."""
    alarms = {"quiet": False, "quiet_from": "21:30", "quiet_until": "6:15", "night": "medium"}
    second = {"id": "neighbour", "url": "json://127.0.0.1/2", "after": "5 min", "least": "high"}
    settings = from_document(document | {"alarms": alarms, "channel": [PHONE, second]}).settings
    assert settings.manners() == Manners("Europe/Berlin", False, 21 * 60 + 30, 6 * 60 + 15, Priority.MEDIUM)
    assert settings.reaches()["neighbour"] == Reach(5 * MINUTE, Priority.HIGH)


@pytest.mark.parametrize(
    ("more", "pointer", "found"),
    [
        ({"alarms": {"quiet_from": "07:00"}}, "/alarms/quiet_from", "quiet hours from 07:00 until 07:00"),
        ({"alarms": {"quiet_until": "22:00"}}, "/alarms/quiet_until", "quiet hours from 22:00 until 22:00"),
        ({"channel": [PHONE | {"after": "5 min"}]}, "/channel/0/after", "after in every [[channel]]"),
        ({"channel": [PHONE | {"least": "urgent"}]}, "/channel/0/least", '"urgent"'),
    ],
)
def test_what_would_leave_the_keeper_untold_is_refused(
    document: dict[str, Any], more: dict[str, Any], pointer: str, found: str
) -> None:
    """No hours that are none, and no house with second channels only."""
    with pytest.raises(ConfigError) as wrong:
        from_document(document | more)
    ((place, what),) = [(problem.pointer, problem.found) for problem in wrong.value.problems]
    assert (place, what) == (pointer, found)


def test_equal_hours_do_not_matter_when_it_is_never_quiet(document: dict[str, Any]) -> None:
    """With quiet = false the hours only say when the daily digest goes."""
    settings = from_document(document | {"alarms": {"quiet": False, "quiet_from": "07:00"}}).settings
    assert settings.manners().quiet_until == 7 * 60
