"""The bench on a phone that does not reach it, in a real Chromium with a real worker."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

from monitor.web.access import write_password
from monitor.web.app import make_app
from monitor.web.server import WebServer
from tests.adapters.web import food_example
from tests.adapters.web.memory_desk import MemoryDesk
from tests.adapters.web.until import comes_true

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

pytestmark = pytest.mark.browser
PASSWORD = "brine shrimp at dawn"
# What any cache of this page holds, as path by path.
CACHED = """async () => {
    const held = [];
    for (const name of await caches.keys()) {
        for (const { url } of await (await caches.open(name)).keys()) held.push(new URL(url).pathname);
    }
    return held.sort();
}"""
KEPT = f"async () => Boolean(navigator.serviceWorker.controller) && (await ({CACHED})()).includes('/kept/food')"

GONE = f"async () => !(await ({CACHED})()).some(path => path.startsWith('/kept'))"


def open_and_keep(open_page: OpenPage, served: Served) -> Page:
    """The bench, once it has been kept for later."""
    page = open_page(served, service_workers="allow")
    assert comes_true(page, KEPT)
    return page


def start_again(served: Served) -> None:
    """A new application over the same desk, on the same port, as after a restart."""
    port = int(served.url.rpartition(":")[2])
    served.server = WebServer(lambda: make_app(served.desk, served.options), served.options.host, port)
    served.server.start()


def test_without_the_daemon_the_bench_opens_as_it_was_says_so_and_comes_back_by_itself(
    served: Served, open_page: OpenPage
) -> None:
    """Old numbers say from when they are, nothing on them can be pressed, and the live page returns without a hand."""
    page = open_and_keep(open_page, served)
    assert served.server.stop(10)
    page.reload()
    expect(page.locator("#cut")).to_have_text(
        "This is from 02:10, Monday 2 March; not connected. “Today” is that day. Nothing can be noted until the link is back."
    )
    expect(page.locator(".alarm").first).to_contain_text("Air stopped in birch")
    expect(page.locator("#vessel-0 .number").first).to_contain_text(re.compile("24.1 °C.* old"))
    assert page.locator("main button").count() > 5
    assert page.locator("main button:enabled").count() == 0
    page.evaluate("document.querySelector('main form').requestSubmit()")
    page.wait_for_timeout(300)
    expect(page).to_have_url(served.url + "/")
    expect(page.locator(".alarm").first).to_be_visible()
    page.goto(served.url + "/trends")
    expect(page.locator("h1")).to_have_text("Not connected")
    page.get_by_role("link", name="The bench as it was last seen").click()
    expect(page.locator("#cut")).to_contain_text("This is from 02:10")
    start_again(served)
    expect(page.locator("#cut")).to_be_hidden(timeout=20_000)
    expect(page.get_by_role("button", name="Acknowledge Air stopped in birch")).to_be_enabled()
    assert served.desk.done == []
    page.get_by_role("button", name="Acknowledge Air stopped in birch").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")


def test_without_the_daemon_food_is_told_as_it_was(serve: Callable[..., Served], open_page: OpenPage) -> None:
    """What to start still stands there with from when it is; nothing can be pressed, and it comes back by itself."""
    desk = MemoryDesk()
    desk.larder = food_example.food()
    served = serve(desk)
    page = open_and_keep(open_page, served)
    assert served.server.stop(10)
    page.goto(served.url + "/food")
    expect(page.get_by_role("alert")).to_contain_text("This is from 02:10, Monday 2 March; not connected.")
    expect(page.locator(".headline")).to_have_text("Start 3.5 g of tin-8 in cedar before 06:55")
    assert page.locator("main button").count() > 3
    assert page.locator("main button:enabled").count() == 0
    start_again(served)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.get_by_role("button", name="Start cedar now")).to_be_enabled(timeout=20_000)
    expect(page.get_by_role("alert")).to_have_count(0)
    assert served.desk.done == []


def test_only_the_look_of_bench_and_food_and_one_copy_of_each_are_kept(served: Served, open_page: OpenPage) -> None:
    """No answer of the API, no event and no other page can ever be shown from a store."""
    page = open_and_keep(open_page, served)
    for path in ("/trends", "/guide", "/api/v1/bench"):
        page.goto(served.url + path)
    page.goto(served.url)
    page.get_by_role("button", name="Acknowledge Air stopped in birch").click()
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    held = page.evaluate(CACHED)
    assert [path for path in held if not path.startswith("/static/")] == ["/kept", "/kept/food", "/offline"]
    assert {re.sub(r"\.[0-9a-f]{12}\.", ".", path) for path in held if path.startswith("/static/")} == {
        "/static/bench.css",
        "/static/bench.js",
        "/static/food.css",
        "/static/icon.svg",
        "/static/offline.js",
    }


def test_an_open_page_that_is_cut_off_takes_nothing_and_gives_the_focus_back(serve: Any, open_page: OpenPage) -> None:
    """While nobody listens no button can be pressed; afterwards the keeper is where they were."""
    served = serve()
    page = open_page(served)
    button = page.get_by_role("button", name="Acknowledge Air stopped in birch")
    button.focus()
    served.server.stop(10)
    expect(page.locator("#cut")).to_contain_text("Disconnected since 02:10")
    expect(button).to_be_disabled()
    start_again(served)
    expect(button).to_be_enabled(timeout=20_000)
    expect(button).to_be_focused()
    expect(page.locator("#cut")).to_be_hidden()


def test_a_number_fades_in_steps_and_says_its_age(
    served: Served, open_page: OpenPage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After ten minutes and after an hour it looks older; its age stands beside it."""
    monkeypatch.setattr("monitor.web.live.HEARTBEAT", 600.0)  # each word of the daemon makes it as fresh as it was
    page = open_page(served)
    number = page.locator("#vessel-0 .number").first
    expect(page.locator(".alarm").first).to_be_visible()
    look = "one => [getComputedStyle(one).fontStyle, getComputedStyle(one).fontWeight, getComputedStyle(one).textDecorationLine]"
    looks = [number.locator("b").evaluate(look)]
    for minutes, age in ((11, "11 min old"), (75, "1 h 15 min old")):
        page.evaluate(f"Date.now = () => performance.timeOrigin + performance.now() + {minutes} * 60000")
        expect(number).to_contain_text(age)
        looks.append(number.locator("b").evaluate(look))
    # Told apart without colour: upright and heavy, light and underlined, slanted as well.
    assert looks == [["normal", "650", "none"], ["normal", "400", "underline"], ["italic", "400", "underline"]]


def test_logging_out_leaves_nothing_to_be_seen(
    serve: Callable[..., Served], tmp_path: Path, open_page: OpenPage
) -> None:
    """With a password set, the copy of the bench goes with the session."""
    write_password(tmp_path / "page.password", PASSWORD)
    served = serve(password_hash_file=tmp_path / "page.password")
    page = open_page(served, service_workers="allow")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    assert comes_true(page, KEPT)
    page.get_by_role("button", name="Log out").click()
    expect(page).to_have_url(re.compile("/login$"))
    assert comes_true(page, GONE)
    assert served.server.stop(10)
    page.goto(served.url)
    expect(page.locator("h1")).to_have_text("Not connected")
    assert "birch" not in page.content()


def test_a_session_that_ended_elsewhere_takes_its_copy_along(
    serve: Callable[..., Served], tmp_path: Path, open_page: OpenPage
) -> None:
    """Whoever is not let in any more finds no bench from before either."""
    write_password(tmp_path / "page.password", PASSWORD)
    served = serve(password_hash_file=tmp_path / "page.password")
    page = open_page(served, service_workers="allow")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    assert comes_true(page, KEPT)
    page.context.clear_cookies()
    page.goto(served.url)
    expect(page).to_have_url(re.compile("/login$"))
    assert comes_true(page, GONE)
