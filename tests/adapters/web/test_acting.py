"""The page behind the link in a letter: looking changes nothing, two buttons act, and nothing else is to be had by it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from monitor.core.model import MINUTE, Acknowledge, Shelve
from monitor.web.access import write_password
from monitor.web.links import Links
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import httpx
    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

ALARM = "air-stopped:birch"


@pytest.fixture
def acting(serve: Callable[..., Served]) -> Served:
    return serve(address="http://localhost:8417")


def path_for(served: Served, *alarms: str, good_for_s: int = 3600) -> str:
    links = Links.kept(served.options.link_key_file, served.options.address)
    return f"/act/{links.token(list(alarms), good_for_s)}"


def deadline_in(minutes: float) -> Callable[[dict[str, Any]], None]:
    def change(bench: dict[str, Any]) -> None:
        alarm = next(alarm for alarm in bench["alarms"] if alarm["id"] == ALARM)
        alarm["deadline"] = as_rfc3339(NOW + round(minutes * MINUTE))

    return change


def seen_on(page: httpx.Response) -> str:
    found = re.search(r'name="seen" value="([^"]*)"', page.text)
    assert found is not None
    return found[1]


@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_looking_changes_nothing(acting: Served, method: str) -> None:
    """A messenger that fetches the link for a preview acknowledges nothing, gets no cookie, and leaves no trace elsewhere."""
    acting.desk.publish(deadline_in(8.5))
    with acting.client(token=False) as client:
        page = client.request(method, path_for(acting, ALARM))
    assert page.status_code == 200
    assert acting.desk.done == []
    assert "set-cookie" not in page.headers
    assert page.headers["referrer-policy"] == "no-referrer"
    assert page.headers["cache-control"] == "no-store"
    if method == "GET":
        assert "Air stopped" in page.text
        assert "<b>8 min</b> left" in page.text
        assert "Acknowledge</button>" in page.text
        assert "Shelve 4 min" in page.text, "no longer than half of the time that is left"


def test_the_button_acts_and_the_page_says_what_was_done(acting: Served) -> None:
    """Without logging in and without a cookie; the same command as the page's, told as coming by the link."""
    with acting.client(token=False) as client:
        path = path_for(acting, ALARM)
        page = client.post(path, data={"do": "acknowledge", "seen": seen_on(client.get(path))})
        assert page.status_code == 200
        assert "Acknowledged: Air stopped" in page.text
        assert acting.desk.done == [Acknowledge(NOW, ALARM, "link")]
        assert "Acknowledge</button>" not in page.text
        again = client.post(path, data={"do": "acknowledge"})
        assert "acknowledged before" in again.text
        shelved = client.post(path, data={"do": "shelve"})
    assert "Shelved for 30 min" in shelved.text
    assert acting.desk.done[1:] == [Shelve(NOW, ALARM, NOW + 30 * MINUTE, "link")]


def test_it_works_where_the_page_wants_a_password(serve: Callable[..., Served], tmp_path: Path) -> None:
    """That is what a link is for; nothing but its own alarms is to be had by it."""
    write_password(tmp_path / "hash", "a long enough word")
    served = serve(password_hash_file=tmp_path / "hash", address="http://localhost:8417")
    with served.client(token=False) as client:
        page = client.post(path_for(served, ALARM), data={"do": "acknowledge"})
        assert "Acknowledged: Air stopped" in page.text
        assert client.get("/").status_code == 303
        assert client.post(f"/alarms/{ALARM}/acknowledge").status_code == 303
    assert served.desk.done == [Acknowledge(NOW, ALARM, "link")]


def test_an_alarm_that_is_over_is_said_to_be(acting: Served) -> None:
    """Nothing is done then, neither for one that is gone nor for one that has returned."""
    acting.desk.publish(lambda bench: bench["alarms"][0].update(state="returned-unacknowledged"))
    name = acting.desk.bench()["alarms"][0]["id"]
    with acting.client(token=False) as client:
        for alarm in (name, "too-cold:nowhere"):
            path = path_for(acting, alarm)
            assert "</button>" not in client.get(path).text.partition("<footer")[0]
            page = client.post(path, data={"do": "acknowledge"})
            assert page.status_code == 409
            assert "over" in page.text or "Nothing to do" in page.text
    assert acting.desk.done == []


def test_what_has_changed_since_is_shown_before_it_is_acted_on(acting: Served) -> None:
    """A link that was opened in the evening does not acknowledge the night's new trouble unseen."""
    path = path_for(acting, ALARM)
    with acting.client(token=False) as client:
        seen = seen_on(client.get(path))

        def begin_anew(bench: dict[str, Any]) -> None:
            next(alarm for alarm in bench["alarms"] if alarm["id"] == ALARM)["since"] = as_rfc3339(NOW)

        acting.desk.publish(begin_anew)
        page = client.post(path, data={"do": "acknowledge", "seen": seen})
        assert (page.status_code, "changed since you looked" in page.text) == (409, True)
        assert acting.desk.done == []
        assert client.post(path, data={"do": "acknowledge", "seen": seen_on(page)}).status_code == 200


def test_one_link_for_a_whole_shelf(acting: Served) -> None:
    """A letter about several acts on all that still stand, and on nothing beside them."""
    names = [alarm["id"] for alarm in acting.desk.bench()["alarms"] if alarm["state"] == "unacknowledged"]
    assert len(names) > 1
    with acting.client(token=False) as client:
        path = path_for(acting, *names, "too-cold:nowhere")
        page = client.get(path)
        assert f"Acknowledge all {len(names)}" in page.text
        assert "Over by now: too-cold:nowhere" in page.text
        client.post(path, data={"do": "acknowledge"})
    assert {command.alarm for command in acting.desk.done if isinstance(command, Acknowledge)} == set(names)


def test_no_time_left_is_said_and_nothing_is_put_off(acting: Served) -> None:
    """Past its deadline an alarm can be acknowledged, not shelved."""
    acting.desk.publish(deadline_in(-1))
    with acting.client(token=False) as client:
        path = path_for(acting, ALARM)
        page = client.get(path)
        assert "No time left" in page.text
        assert "Shelve" not in page.text
        refused = client.post(path, data={"do": "shelve"})
    assert refused.status_code == 409
    assert acting.desk.done == []


def test_what_is_no_button_is_nothing(acting: Served) -> None:
    """Another word than the two does nothing and says so."""
    with acting.client(token=False) as client:
        for data in ({}, {"do": "explode"}):
            assert client.post(path_for(acting, ALARM), data=data).status_code == 422
    assert acting.desk.done == []


def test_a_link_that_is_too_old_or_forged_opens_nothing(acting: Served) -> None:
    """The page says which of the two, tells nothing of the bench, and after many tries has a rest."""
    with acting.client(token=False) as client:
        old = client.get(path_for(acting, ALARM, good_for_s=-5))
        assert (old.status_code, "too old" in old.text) == (410, True)
        for forged in ("x", path_for(acting, ALARM)[5:-2]):
            page = client.post(f"/act/{forged}", data={"do": "acknowledge"})
            assert (page.status_code, "Air stopped" in page.text) == (404, False)
        statuses = [client.get("/act/x").status_code for _ in range(40)]
        assert statuses[-1] == 429
        assert client.get("/act/x").headers["retry-after"] == "60"
    assert acting.desk.done == []


def test_without_an_address_there_are_no_links(served: Served) -> None:
    """Nothing answers there, and no secret is made."""
    with served.client(token=False) as client:
        assert client.get("/act/x").status_code == 404
    assert not served.options.link_key_file.exists()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_one_thumb_at_night(acting: Served, open_page: Callable[..., Page], scheme: str) -> None:
    """On a phone the buttons are as wide as the page and tall enough, nothing sticks out, and they work without a script."""
    acting.desk.publish(deadline_in(12))
    page = open_page(
        acting,
        path_for(acting, ALARM),
        viewport={"width": 390, "height": 844},
        color_scheme=scheme,
        java_script_enabled=False,
    )
    for name in ("Acknowledge", "Shelve"):
        box = page.get_by_role("button", name=name).bounding_box()
        assert box is not None
        assert box["height"] >= 64
        assert box["width"] >= 300
    assert page.locator("html").evaluate("e => e.scrollWidth") <= 390
    page.get_by_role("button", name="Acknowledge").click()
    page.get_by_text("Acknowledged: Air stopped").wait_for()
    assert acting.desk.done == [Acknowledge(NOW, ALARM, "link")]
