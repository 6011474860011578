"""Who may look and who may act, over the real server: the keeper, the viewer, and tokens with their scopes."""

from __future__ import annotations

import re
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import pytest
from playwright.sync_api import expect

from monitor.web.access import write_password
from monitor.web.operations import OPERATIONS
from monitor.web.rights import Scope
from monitor.web.tokens import add_token, revoke_token
from tests.adapters.web.described import faults
from tests.adapters.web.food_example import food
from tests.adapters.web.memory_desk import MemoryDesk
from tests.adapters.web.shed_record import fill, shed_desk
from tests.adapters.web.test_login import PASSWORD, form_token, log_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    import httpx
    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

LOOK: Final = "guests look in here"
PAGES: Final = (
    "/",
    "/food",
    "/trends",
    "/count",
    "/guide",
    "/report",
    "/phones",
    "/checkup",
    "/rooms",
    "/batches",
    "/alarms/air-stopped:birch",
    "/batches/birch-2026-03-01",
    "/tins",
    "/tins/tin-7",
    "/ledger",
)
NOW: Final = 1_772_413_800_000


@pytest.fixture
def shared(serve: Callable[..., Served], tmp_path: Path) -> Served:
    """A bench with both passwords, over a week of records."""
    fill(tmp_path / "shed.sqlite3", days=1)
    keeper, viewer = tmp_path / "page.password", tmp_path / "viewer.password"
    write_password(keeper, PASSWORD)
    write_password(viewer, LOOK)
    desk = shed_desk(tmp_path / "shed.sqlite3")
    desk.larder = food()
    return serve(desk, password_hash_file=keeper, viewer_hash_file=viewer)


@contextmanager
def looking(served: Served) -> Iterator[httpx.Client]:
    with served.client(token=False) as client:
        assert log_in(client, LOOK).status_code == 303
        yield client


def test_a_viewer_finds_nothing_to_press_on_any_page_but_the_way_out(shared: Served) -> None:
    """Whoever may not act is shown no button that would only say no, and is told why at the top."""
    with looking(shared) as client:
        for path in PAGES:
            answer = client.get(path)
            assert answer.status_code == 200, path
            forms = re.findall(r'<form[^>]*method="post"[^>]*>', answer.text)
            assert forms == ['<form method="post" action="/logout" class="quiet" id="way-out">'], path
            assert "<b>You look on.</b>" in answer.text
            assert 'href="/vessels/' not in answer.text
        assert "Act now: 2 alarms" in client.get("/").text
        for path in ("/vessels/cedar/start", "/stores/fridge", "/feed", "/food/calendar", "/api/v1/calendar"):
            answer = client.get(path)
            assert answer.status_code == 403
            assert "keeper's password" in answer.text.replace("&#39;", "'")
    with shared.client(token=False) as keeper:
        log_in(keeper)
        assert "You look on" not in keeper.get("/").text


def test_a_viewer_is_refused_whatever_acts(shared: Served) -> None:
    """A hidden button is no lock: each form and each address of the API says no, and nothing is done."""
    acting = [one for one in OPERATIONS if one.scope is not Scope.READ]
    with looking(shared) as client:
        token = form_token(client)
        for path in (
            "/alarms/air-stopped:birch/acknowledge",
            "/alarms/air-stopped:birch/out-of-service",
            "/vessels/cedar/start",
            "/vessels/birch/settling",
            "/vessels/birch/work",
            "/batches/birch-2026-03-01/harvest",
            "/batches/birch-2026-03-01/discard",
            "/stores/fridge/emptied",
            "/stores/fridge/drawn",
            "/tins",
            "/tins/tin-7",
            "/tins/tin-7/weighed",
            "/feed",
            "/ledger/start/birch-2026-03-01/2026-03-01T10:10:00.000Z",
            "/food/starts/cedar-1/start",
            "/food/starts/cedar-1/skip",
            "/food/calendar/renew",
            "/phones/abc/remove",
            "/undo",
        ):
            answer = client.post(path, data={"csrf": token})
            assert answer.status_code == 403, path
            assert "You are logged in to look." in answer.text
        for one in acting:
            path = "/api/v1" + re.sub(r"{\w+}", "birch", one.path)
            answer = client.request(one.method, path, json={}, headers={"X-CSRF-Token": token})
            assert (answer.status_code, answer.headers["content-type"]) == (403, "application/problem+json"), path
            assert "You are logged in to look." in answer.json()["detail"]
        assert client.get("/api/v1/bench").status_code == 200
        assert client.post("/logout", data={"csrf": token}).status_code == 303
        assert client.get("/").headers["location"] == "/login"
    assert len(acting) > 15
    assert shared.desk.done == []


@pytest.mark.browser
def test_news_bring_a_viewer_no_buttons(shared: Served, open_page: Callable[..., Page]) -> None:
    """The page of one who looks stays fresh, and stays one to look at."""
    page = open_page(shared, "/login", viewport={"width": 390, "height": 800})
    page.get_by_label("Password").fill(LOOK)
    page.get_by_role("button", name="Log in").click()
    expect(page.locator(".looking")).to_contain_text("You look on.")
    shared.desk.publish(lambda bench: bench["vessels"][0]["water"].update(value=25.7))
    expect(page.locator("#vessel-0")).to_contain_text("25.7")
    expect(page.get_by_role("button")).to_have_text(["Log out"])
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_changed_password_ends_its_sessions_and_their_streams_at_once(shared: Served) -> None:
    """A viewer who is no longer welcome sees nothing more; the keeper notices nothing."""
    begun, ended = threading.Event(), threading.Event()

    def listen(client: httpx.Client) -> None:
        with client.stream("GET", "/events") as answer:
            for _ in answer.iter_lines():
                begun.set()
        ended.set()

    with looking(shared) as client, shared.client(token=False) as keeper:
        log_in(keeper)
        listener = threading.Thread(target=listen, args=(client,))
        listener.start()
        assert begun.wait(10)
        assert shared.options.viewer_hash_file is not None
        write_password(shared.options.viewer_hash_file, "other guests look in")
        shared.desk.publish()
        assert ended.wait(10)
        listener.join(10)
        assert client.get("/").headers["location"] == "/login"
        assert client.get("/api/v1/bench").status_code == 401
        assert keeper.get("/").status_code == 200


def test_each_token_does_what_its_scopes_say_and_is_told_which_one_is_missing(shared: Served) -> None:
    """For each address of the API: all scopes but its own are refused with its name; its own is enough."""
    file = shared.options.tokens_file
    others = {
        scope: add_token(file, f"no-{scope}", [one for one in Scope if one not in (scope, Scope.ADMIN)], NOW)
        for scope in Scope
    }
    own = {scope: add_token(file, f"only-{scope}", [scope], NOW) for scope in Scope}
    admin = own[Scope.ADMIN]
    with shared.client(token=False) as client:
        for one in OPERATIONS:
            if one.open or one.name == "events":
                continue
            path = ("" if one.outside else "/api/v1") + re.sub(r"{\w+}", "no-such", one.path)
            body: dict[str, Any] | None = None if one.body is None else {}
            headers = {"Authorization": f"Bearer {others[one.scope]}"}
            refused = client.request(one.method, path, json=body, headers=headers)
            assert refused.status_code == 403, one.name
            assert f'the scope "{one.scope}"' in refused.json()["detail"]
            assert f'scope="{one.scope}"' in refused.headers["www-authenticate"]
            assert faults(refused, one.path, one.method) == []
            for good in (own[one.scope], admin):
                answer = client.request(one.method, path, json=body, headers={"Authorization": f"Bearer {good}"})
                assert answer.status_code not in (401, 403), one.name
        assert client.get("/api/v1/bench", headers={"Authorization": f"Bearer {own[Scope.LOG]}x"}).status_code == 401


def test_a_revoked_token_hears_nothing_more(serve: Callable[..., Served]) -> None:
    """An open stream ends with the token that opened it."""
    served = serve(MemoryDesk())
    secret = add_token(served.options.tokens_file, "display", [Scope.READ], NOW)
    headers = {"Authorization": f"Bearer {secret}"}
    with (
        served.client(token=False) as client,
        client.stream("GET", "/events", headers=headers) as answer,
    ):
        lines = answer.iter_lines()
        assert next(lines).startswith(("id:", "event:", "data:"))
        revoke_token(served.options.tokens_file, "display")
        served.desk.publish()
        for _ in lines:
            pass
    with served.client(token=False) as client:
        assert client.get("/api/v1/bench", headers=headers).status_code == 401
