"""What other rooms tell is read with suspicion: it is bounded, of known shape, or refused."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given

from monitor.core.model import MINUTE
from monitor.core.summary import LARGEST, LONGEST, summary
from monitor.intake.room_news import place_of, read_status, read_summary, write_summary
from monitor.intake.unreadable import Unreadable
from tests.adapters.web.memory_desk import a_content, a_store, bad_night
from tests.unit.intake.test_harmless import PAYLOADS

if TYPE_CHECKING:
    from monitor.core.rooms import News

NOW = 1_772_413_800_000


def document(**changes: Any) -> dict[str, Any]:
    """What the shed in a bad night publishes."""
    bench = bad_night() | {"stores": [a_store("fridge", a_content())]}
    text = write_summary(summary(bench), "0123abcd", NOW, MINUTE, "https://shed.home.arpa:8417")
    told: dict[str, Any] = json.loads(text)
    return told | changes


def read(told: object, site: str = "shed") -> News:
    return read_summary(site, json.dumps(told).encode())


def test_what_a_room_writes_others_read() -> None:
    """Nothing is lost or changed on the way."""
    bench = bad_night() | {"stores": [a_store("fridge", a_content())]}
    found = read(document())
    assert found.told == summary(bench)
    assert (found.site, found.run, found.time, found.every) == ("shed", "0123abcd", NOW, MINUTE)
    assert found.page == "https://shed.home.arpa:8417"


def test_members_of_later_versions_are_passed_over_and_a_new_meaning_is_refused() -> None:
    """A room with a newer monitor is read as far as it can be, and says so when it cannot."""
    told = document(weather="rain")
    told["vessels"][0]["colour"] = "green"
    assert read(told).told == read(document()).told
    with pytest.raises(Unreadable, match="update this one"):
        read({"version": 2, "site": "shed", "run": "0123abcd", "time": told["time"], "every_s": 60, "page": None})


@pytest.mark.parametrize(
    "page",
    [
        "javascript:alert(1)",
        "https://me:pw@shed.home.arpa",
        "https://shed.home.arpa/\"onmouseover='x'",
        "data:text/html,x",
        "//evil.home.arpa",
        "https://a:99999",
        "https://",
        "ftp://shed.home.arpa",
        "https://shed.home.arpa:8417/path",
        "",
        None,
    ],
)
def test_only_a_plain_web_address_becomes_a_link(page: str | None) -> None:
    """Anything else is as good as none; the rest of the summary is still read."""
    assert read(document(page=page)).page == ""


@pytest.mark.parametrize(
    "changes",
    [
        {"site": "cellar"},
        {"site": "../shed"},
        {"run": "<script>"},
        {"time": "yesterday"},
        {"time": "9999-12-31T23:59:59Z"},
        {"time": "0001-01-01T00:00:00+23:59"},
        {"every_s": 10**9},
        {"waiting": -1},
        {"waiting": 10**400},
        {"alarms": [{}]},
        {"vessels": [{"id": "<b>", "water": None, "air": None, "batch": None}]},
        {"vessels": [{"id": "ash", "water": {"value": 1e308}, "air": None, "batch": None}]},
        {"vessels": [{"id": "ash", "water": None, "air": None, "batch": None}] * 65},
        {"stores": "none"},
    ],
)
def test_what_does_not_fit_is_refused_with_nothing_of_it_quoted(changes: dict[str, Any]) -> None:
    """The reason names a place of ours, or none."""
    with pytest.raises(Unreadable) as refused:
        read(document(**changes))
    assert len(refused.value.reason) <= 120
    assert "<" not in refused.value.reason


def test_letters_that_command_are_replaced_and_long_titles_refused() -> None:
    """Neither a terminal nor the direction of writing obeys what a stranger sends."""
    told = document()
    told["alarms"][0]["title"] = "air\x1b[2J\u202e stopped\n"
    assert read(told).told["alarms"][0]["title"] == "air\ufffd[2J\ufffd stopped\ufffd"
    told["alarms"][0]["title"] = "x" * (LONGEST + 1)
    with pytest.raises(Unreadable):
        read(told)


@pytest.mark.parametrize("payload", [b"[" * 100_000, b"{" * 60_000, b" " * (LARGEST + 1), b"\xff", b"nul", b"[]", b"1"])
def test_no_shape_or_size_does_harm(payload: bytes) -> None:
    """Too large, too deep, no JSON, no object: refused."""
    with pytest.raises(Unreadable):
        read_summary("shed", payload)
    with pytest.raises(Unreadable):
        read_status(payload)


@given(PAYLOADS)
def test_whatever_comes_is_read_or_refused(payload: bytes) -> None:
    """Nothing else is raised."""
    try:
        found = read_summary("shed", payload)
    except Unreadable:
        return
    assert found.site == "shed"


@pytest.mark.parametrize(
    ("topic", "place"),
    [
        ("swimup/shed/status", ("shed", "status")),
        ("swimup/attic-2/summary", ("attic-2", "summary")),
        ("swimup/Shed/status", None),
        ("swimup/shed/alarm/x", None),
        ("swimup/<b>/summary", None),
        ("swimup/shed/status\n", None),
        ("swimup//status", None),
        (f"swimup/{'a' * 41}/status", None),
        ("x/swimup/shed/status", None),
    ],
)
def test_only_topics_that_a_room_can_have_are_looked_at(topic: str, place: tuple[str, str] | None) -> None:
    """The name of a room is one that the configuration would take."""
    assert place_of(topic) == place


def test_a_status_is_one_of_three_words_or_cleared() -> None:
    """What ``since`` and others come with it does not matter."""
    assert read_status(b'{"state": "up", "since": "2026-03-02T01:10:00Z"}') == "up"
    assert read_status(b'{"state": "lost"}') == "lost"
    assert read_status(b"") == ""
    with pytest.raises(Unreadable):
        read_status(b'{"state": "great"}')
