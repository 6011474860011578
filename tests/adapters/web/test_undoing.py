"""Undo on the bench, over the API and at the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from monitor.cli import swimup
from monitor.core.log import Undo
from monitor.web.when import rfc3339
from tests.adapters.web.conftest import CONFIG
from tests.adapters.web.memory_desk import NOW, MemoryDesk, bad_night

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    Serve = Callable[..., Served]

AT = "2026-03-02T01:05:00.250Z"
HARVEST = {"kind": "harvest", "subject": "birch-2026-03-01", "at": AT}
UNDONE = Undo(NOW, NOW, "harvest", "birch-2026-03-01", rfc3339(AT))


def listed(kind: str, subject: str, at: str, text: str) -> dict[str, Any]:
    return {
        "kind": kind,
        "subject": subject,
        "vessel": "birch",
        "at": at,
        "until": "2026-03-02T01:15:00Z",
        "text": text,
    }


@pytest.fixture
def just_logged(serve: Serve) -> Served:
    bench = bad_night()
    bench["undoable"] = [
        listed(**HARVEST, text="harvest of birch-2026-03-01"),
        listed("work", "birch", "2026-03-02T01:04:00.000Z", "work on birch"),
    ]
    return serve(MemoryDesk(bench))


def test_an_entry_is_undone_by_its_name(just_logged: Served) -> None:
    """Kind, subject and time as the bench lists them undo the entry; the same again is refused in words."""
    with just_logged.client() as client:
        answer = client.post("/api/v1/undo", json=HARVEST)
        assert answer.json() == {
            "done": "undo",
            "subject": "birch-2026-03-01",
            "text": "harvest of birch-2026-03-01",
        }
        assert just_logged.desk.done == [UNDONE]
        again = client.post("/api/v1/undo", json=HARVEST)
        assert (again.status_code, again.headers["content-type"]) == (409, "application/problem+json")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [({"kind": "lapse"}, "#/kind"), ({"at": "01:05"}, "#/at"), ({"subject": ""}, "#/subject"), ({"more": 1}, "#/more")],
)
def test_what_names_no_entry_is_refused(just_logged: Served, change: dict[str, Any], pointer: str) -> None:
    """Another kind, a time without a day, no subject: each is named, and nothing is done."""
    with just_logged.client() as client:
        answer = client.post("/api/v1/undo", json={**HARVEST, **change})
    assert answer.status_code == 422
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]
    assert just_logged.desk.done == []


def test_the_command_undoes_the_newest_and_says_what(just_logged: Served, tmp_path: Path) -> None:
    """Each call takes back one entry, the newest first, says which and what would be next; then there is nothing left."""
    config = tmp_path / "swimup.toml"
    config.write_text(CONFIG.format(state=just_logged.options.state_dir, port=just_logged.server.port))
    said = [CliRunner(env={"SWIMUP_CONFIG": str(config)}).invoke(swimup, ["batch", "undo"]) for _ in range(3)]
    assert [one.exit_code for one in said] == [0, 0, 1]
    assert said[0].output == "Undone: harvest of birch-2026-03-01. Again undoes the work on birch.\n"
    assert said[1].output == "Undone: work on birch.\n"
    assert "nothing to undo" in said[2].output
    assert just_logged.desk.done[0] == UNDONE
    assert just_logged.desk.bench()["undoable"] == []


@pytest.mark.browser
def test_one_tap_on_the_bench_undoes_the_newest(just_logged: Served, open_page: Callable[..., Page]) -> None:
    """The strip names the newest entry and how long there is; after the tap it is undone, told so, and the one before is next."""
    page = open_page(just_logged, viewport={"width": 390, "height": 800}, has_touch=True)
    strip = page.locator("form.undo")
    assert "Noted: harvest of birch-2026-03-01" in strip.inner_text()
    assert "5 min left" in strip.inner_text()
    strip.get_by_role("button").tap()
    page.wait_for_selector(".flash.noted")
    assert "Undone: harvest of birch-2026-03-01" in page.inner_text(".flash")
    assert just_logged.desk.done == [UNDONE]
    just_logged.desk.publish()
    page.reload()
    assert "Noted: work on birch" in page.locator("form.undo").inner_text()
