"""Hands in a vessel: on the page, in the API and at the command line."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from monitor.cli import swimup
from monitor.core.log import Settle, Work
from monitor.core.model import MINUTE, Refused
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.memory_desk import NOW, MemoryDesk, bad_night
from tests.adapters.web.until import shown_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from monitor.web.desk import Command
    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]
    Serve = Callable[..., Served]

with_and_without_script = pytest.mark.parametrize("script", [True, False], ids=["script", "no-script"])
HALF_AN_HOUR = Work(NOW, NOW, "cedar", NOW + 30 * MINUTE)
DONE = Work(NOW, NOW, "cedar", NOW)
STILL_RINGS = re.compile("Still rings: heat that kills, and animals that swim whose air has stopped or is not heard of")


@pytest.fixture
def at_work(serve: Serve) -> Served:
    """The bad night, and somebody works on cedar until 02:40."""
    bench = bad_night()
    bench["vessels"][2]["work_until"] = "2026-03-02T01:40:00Z"
    return serve(MemoryDesk(bench))


# -- the API


@pytest.mark.parametrize(
    ("body", "command", "until"),
    [
        (None, HALF_AN_HOUR, "2026-03-02T01:40:00Z"),
        ({"minutes": 240}, Work(NOW, NOW, "cedar", NOW + 240 * MINUTE), "2026-03-02T05:10:00Z"),
        ({"minutes": 0}, DONE, None),
    ],
)
def test_work_is_noted_and_its_end_is_answered(
    served: Served, body: dict[str, Any] | None, command: Work, until: str | None
) -> None:
    """Half an hour unless it is said otherwise; no minutes end it, and then there is no end to answer."""
    with served.client() as client:
        answer = client.post("/api/v1/vessels/cedar/work", content=b"" if body is None else json.dumps(body))
        cedar = client.get("/api/v1/bench").json()["vessels"][2]
    assert (answer.status_code, answer.json()["until"], cedar["work_until"]) == (200, until, until)
    assert served.desk.done == [command]


def test_settling_answers_its_end_too(served: Served) -> None:
    """Whoever says that a vessel settles is told until when."""
    with served.client() as client:
        assert client.post("/api/v1/vessels/birch/settling").json()["until"] == "2026-03-02T01:25:00Z"
        assert client.post("/api/v1/vessels/cedar/settling").json()["until"] == "2026-03-02T01:30:00Z", (
            "as the site says"
        )


@pytest.mark.parametrize(
    ("path", "body", "status", "told"),
    [
        ("oak", b"", 404, 'There is no vessel "oak"; there are: ash, birch, cedar.'),
        ("cedar", b'{"minutes": 241}', 422, "241 min can't be; allowed are 1 to 240 min, and 0 when it is done."),
        ("cedar", b'{"minutes": 0.5}', 422, "0.5 min can't be; allowed are 1 to 240 min"),
        ("cedar", b'{"minutes": -5}', 422, "say it again before it ends"),
        ("cedar", b'{"minutes": "long"}', 422, "valid number"),
        ("cedar", b'{"minutes": NaN}', 422, "finite"),
        ("cedar", b'{"until": "2026-03-02T05:10:00Z"}', 422, "until"),
        ("cedar", b"{", 400, "JSON"),
    ],
)
def test_what_cannot_be_noted_says_what_would_be_allowed(
    served: Served, path: str, body: bytes, status: int, told: str
) -> None:
    """A problem document for each error, and nothing is changed by one."""
    served.refuses(f"/vessels/{path}/work", body, status, told)


def test_nobody_without_a_key_silences_a_vessel(served: Served) -> None:
    """Both addresses ask for the token, or a page's session with its own."""
    with served.client(token=False) as client:
        assert client.post("/api/v1/vessels/cedar/work", json={}).status_code == 403
        assert client.post("/vessels/cedar/work", data={"minutes": "30"}).status_code == 403
    assert served.desk.done == []


# -- the command line


def call(served: Served, folder: Path, *words: str) -> tuple[int, str]:
    config = folder / "swimup.toml"
    config.write_text(CONFIG.format(state=served.options.state_dir, port=served.server.port))
    result = CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, words)
    return result.exit_code, result.output


def test_the_command_line_notes_work_and_its_end(served: Served, tmp_path: Path) -> None:
    """One sentence says until when, what waits, what still rings, and how to end it sooner."""
    code, told = call(served, tmp_path, "vessel", "work", "cedar")
    assert code == 0, told
    assert told.startswith("Noted: you work on cedar until 02:40. Its alarms and those of its probes wait.")
    assert STILL_RINGS.search(told)
    assert told.endswith("Sooner: swimup vessel work cedar --done\n")
    code, told = call(served, tmp_path, "vessel", "work", "cedar", "--minutes", "60")
    assert "until 03:10" in told
    assert call(served, tmp_path, "vessel", "work", "cedar", "--done") == (
        0,
        "Noted: the work on cedar is done. Its alarms ring again.\n",
    )
    assert served.desk.done == [HALF_AN_HOUR, Work(NOW, NOW, "cedar", NOW + 60 * MINUTE), DONE]


def test_the_command_line_lets_a_vessel_settle(served: Served, tmp_path: Path) -> None:
    """Air off on purpose can be said from a terminal as from the page."""
    assert call(served, tmp_path, "vessel", "settle", "birch") == (
        0,
        "Noted: birch settles until 02:25. Then its air alarm rings again.\n",
    )
    assert call(served, tmp_path, "vessel", "settle", "birch", "--minutes", "5")[0] == 0
    assert served.desk.done == [Settle(NOW, NOW, "birch", NOW + length * MINUTE) for length in (15, 5)]


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["work", "oak"], 1, 'There is no vessel "oak"; there are: ash, birch, cedar.'),
        (["settle", "oak"], 1, 'There is no vessel "oak"; there are: ash, birch, cedar.'),
        (["work", "cedar", "--minutes", "300"], 1, "allowed are 1 to 240 min"),
        (["work", "cedar", "--minutes", "0"], 2, "to end it now: --done"),
        (["work", "cedar", "--minutes", "nan"], 2, "'nan' is not a valid integer"),
        (["work", "cedar", "--minutes", "5", "--done"], 2, "give one of them"),
        (["work", "cedar", "--minutes", "long"], 2, "'long' is not a valid integer"),
        (["settle", "birch", "--minutes", "90"], 1, "less than or equal to 60"),
    ],
)
def test_a_wrong_call_is_told(served: Served, tmp_path: Path, words: list[str], code: int, told: str) -> None:
    """A slip of the hand is a usage error, what the bench refuses its own answer; nothing is noted by either."""
    found, said = call(served, tmp_path, "vessel", *words)
    assert found == code, said
    assert told in said
    assert served.desk.done == []


def test_status_tells_who_is_not_watched_as_usual(at_work: Served, tmp_path: Path) -> None:
    """A vessel that is worked on says so, until when, and what still rings; the others say nothing of it."""
    _, told = call(at_work, tmp_path, "status")
    (line,) = [line for line in told.splitlines() if "being worked on" in line]
    assert line.startswith("  being worked on until 02:40. Its alarms and those of its probes wait.")
    assert STILL_RINGS.search(line)


# -- the page


@pytest.mark.browser
@with_and_without_script
def test_work_takes_two_taps_and_its_end_one(served: Served, open_page: OpenPage, script: bool) -> None:
    """The card says until when, that alarms wait and what still rings, before and while it lasts."""
    page = open_page(served, java_script_enabled=script)
    cedar = page.locator("#vessel-2")
    expect(cedar.locator(".at-work")).to_have_count(0)
    cedar.locator("summary", has_text="Working on it").click()
    expect(cedar.locator(".work form")).to_contain_text(STILL_RINGS)
    assert served.desk.done == []
    cedar.get_by_role("button", name="30 min").click()
    expect(page.locator(".flash")).to_contain_text("Noted: you work on cedar until 02:40.")
    expect(cedar.locator(".at-work")).to_contain_text("Being worked on until 02:40.")
    expect(cedar.locator(".at-work")).to_contain_text(STILL_RINGS)
    expect(cedar.locator("summary", has_text="Work longer")).to_be_visible()
    cedar.get_by_role("button", name="Done working on cedar").click()
    expect(page.locator(".flash")).to_have_text("Noted: the work on cedar is done. Its alarms ring again.")
    expect(cedar.locator(".at-work")).to_have_count(0)
    assert served.desk.done == [HALF_AN_HOUR, DONE]


@pytest.mark.browser
def test_what_the_bench_refuses_is_told_on_it(
    served: Served, open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing pretends that alarms wait when they do not."""

    async def refuses(_command: Command) -> dict[str, Any]:
        raise Refused("there is no vessel cedar; known are: ash")

    page = open_page(served)
    monkeypatch.setattr(served.desk, "do", refuses)
    page.locator("#vessel-2 summary", has_text="Working on it").click()
    page.locator("#vessel-2").get_by_role("button", name="15 min").click()
    expect(page.locator(".flash.refused")).to_have_text("there is no vessel cedar; known are: ash")
    expect(page.locator(".at-work")).to_have_count(0)


@pytest.mark.browser
def test_work_that_ends_by_itself_leaves_an_open_page(at_work: Served, open_page: OpenPage) -> None:
    """A page that lies open shows that the alarms of the vessel ring again."""
    page = open_page(at_work)
    expect(page.locator(".at-work")).to_have_count(1)
    at_work.desk.publish(lambda bench: bench["vessels"][2].update(work_until=None))
    expect(page.locator(".at-work")).to_have_count(0)


@pytest.mark.browser
def test_nothing_spills(at_work: Served, open_page: OpenPage) -> None:
    """On phones and at the desk nothing is wider than the screen, and what is pressed is high enough for a thumb."""
    page = open_page(at_work, viewport={"width": 320, "height": 800})
    for summary in page.locator(".work > summary").all():
        summary.click()
    pressed = page.locator(".at-work button, .work button").all()
    assert len(pressed) == 3 * 3 + 1
    for width, _ in shown_in(page, (320, 390, 1280)):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for press in pressed:
            box = press.bounding_box()
            assert box is not None
            assert box["height"] >= 44
