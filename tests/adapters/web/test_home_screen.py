"""The page as an app of the phone: its manifest and icons as Chromium judges them, and pushes through its worker."""

from __future__ import annotations

import json
import struct
from importlib.resources import files
from typing import TYPE_CHECKING

import pytest

from tests.adapters.web.until import comes_true

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

ACTIVE = "async () => (await navigator.serviceWorker.ready).active?.state === 'activated'"


def size_of(png: bytes) -> str:
    """Width and height as the header says (PNG specification, W3C, 11.2.2 IHDR)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", png[16:24])
    return f"{width}x{height}"


def test_the_manifest_says_what_a_home_screen_needs(served: Served) -> None:
    """Name of the site, one way in, and icons that are what they are said to be."""
    with served.client(token=False) as client:
        answer = client.get("/manifest.webmanifest")
        assert answer.headers["content-type"] == "application/manifest+json"
        said = answer.json()
        assert (said["name"], said["start_url"], said["scope"], said["display"]) == ("shed", "/", "/", "standalone")
        kinds = [(icon["type"], icon["sizes"], icon.get("purpose", "any")) for icon in said["icons"]]
        assert sorted(kinds) == [
            ("image/png", "192x192", "any"),
            ("image/png", "512x512", "any"),
            ("image/png", "512x512", "maskable"),
            ("image/svg+xml", "any", "any"),
        ]
        for icon in said["icons"]:
            got = client.get(icon["src"])
            assert (got.status_code, got.headers["content-type"]) == (200, icon["type"])
            if icon["type"] == "image/png":
                assert size_of(got.content) == icon["sizes"]
                assert len(got.content) < 20_000


def test_the_drawing_keeps_to_the_part_that_no_mask_cuts(chromium_page: Page) -> None:
    """Outside of the safe zone of a maskable icon (W3C manifest: a circle of 40 % radius) there is nothing but ground."""
    png = files("monitor.web").joinpath("static", "icon-maskable-512.png").read_bytes()
    furthest = chromium_page.evaluate(
        """async (bytes) => {
            const picture = await createImageBitmap(new Blob([new Uint8Array(bytes)], { type: 'image/png' }));
            const side = picture.width;
            const canvas = new OffscreenCanvas(side, side).getContext('2d');
            canvas.drawImage(picture, 0, 0);
            const { data } = canvas.getImageData(0, 0, side, side);
            const ground = [26, 20, 17, 255];
            let most = 0;
            for (let y = 0; y < side; y += 1) for (let x = 0; x < side; x += 1) {
                if (Math.hypot(x - side / 2, y - side / 2) <= 0.4 * side) continue;
                for (let n = 0; n < 4; n += 1) most = Math.max(most, Math.abs(data[(y * side + x) * 4 + n] - ground[n]));
            }
            return most;
        }""",
        list(png),
    )
    assert furthest <= 2  # of 255; an edge of ground on ground is rounded


@pytest.fixture
def chromium_page(served: Served, open_page: OpenPage) -> Page:
    return open_page(served, "/offline")


@pytest.mark.browser
def test_a_browser_finds_nothing_against_installing_it(served: Served, open_page: OpenPage) -> None:
    """Chromium reads the manifest without a fault and would put the page on a home screen."""
    page = open_page(served, service_workers="allow")
    assert comes_true(page, ACTIVE)
    session = page.context.new_cdp_session(page)
    told = session.send("Page.getAppManifest")
    assert told["url"] == served.url + "/manifest.webmanifest"
    assert told["errors"] == []
    assert json.loads(told["data"])["name"] == "shed"
    errors = [one["errorId"] for one in session.send("Page.getInstallabilityErrors")["installabilityErrors"]]
    assert [error for error in errors if error != "in-incognito"] == []  # a test's profile is always one


@pytest.mark.browser
def test_one_worker_keeps_the_bench_and_still_shows_what_is_pushed(served: Served, open_page: OpenPage) -> None:
    """A letter that comes while the page is closed is shown, with its button."""
    page = open_page(served, service_workers="allow", permissions=["notifications"])
    assert comes_true(page, ACTIVE)
    session = page.context.new_cdp_session(page)
    found: list[str] = []
    session.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda event: found.extend(one["registrationId"] for one in event["registrations"]),
    )
    session.send("ServiceWorker.enable")
    for _ in range(100):
        if found:
            break
        page.wait_for_timeout(50)
    assert len(set(found)) == 1
    letter = {
        "title": "Air stopped in birch",
        "body": "Start the pump.",
        "tag": "air",
        "priority": "high",
        "link": "/act/x",
    }
    session.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": served.url, "registrationId": found[0], "data": json.dumps(letter)},
    )
    shown = """async () => {
        const all = await (await navigator.serviceWorker.ready).getNotifications();
        return all.length === 1 && all[0].title === 'Air stopped in birch' && all[0].body === 'Start the pump.'
            && all[0].data.path === '/act/x' && all[0].actions.length === 1;
    }"""
    assert comes_true(page, shown)
