"""Every page against the Web Content Accessibility Guidelines (W3C, WCAG 2.2, levels A and AA), as far as axe-core can tell."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
from starlette.routing import Mount, Route

from monitor.core.model import HOUR, MINUTE
from monitor.core.wording import rfc3339_ms
from monitor.notify.pushkey import PushKey
from monitor.web.access import write_password
from monitor.web.links import Links
from monitor.web.when import as_rfc3339
from tests.adapters.web.food_example import too_late
from tests.adapters.web.memory_desk import NOW, an_alarm
from tests.adapters.web.shed_record import PAST, fill, shed_desk
from tests.adapters.web.test_rooms import other_rooms
from tests.adapters.web.until import comes_true, shown_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from playwright.sync_api import Browser, Page

    from tests.adapters.web.conftest import Served

AXE: Final = Path(sys.prefix) / "axe" / "node_modules" / "axe-core" / "axe.min.js"
"""Where deploy/test.sh puts it: beside the interpreter that runs the tests."""
TAGS: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SCHEMES: Final[dict[str, dict[str, Any]]] = {
    "light": {"color_scheme": "light", "forced_colors": "none"},
    "dark": {"color_scheme": "dark", "forced_colors": "none"},
    "high-contrast": {"color_scheme": "dark", "forced_colors": "active"},
}
WIDTHS: Final = (320, 390, 1280)
ALL_RULES: Final = {"light": WIDTHS, "dark": (390,), "high-contrast": (390,)}
"""At which widths every rule is asked for: a scheme changes colours, and the rules about these are asked for at each width."""
ABOUT_COLOURS: Final = ["color-contrast", "link-in-text-block"]
PARTS: Final = 4
"""The pages are looked at in so many portions, so that more than one process can do it."""
NO_PAGES: Final = {"/events", "/static/{name}", "/metrics", "/worker.js", "/manifest.webmanifest", "/trends/data"} | {
    "/calendar.ics",
    *(f"/trends/download.{kind}" for kind in ("csv", "senml.json")),
}
"""What is fetched by scripts or saved as a file."""
ADDRESSES: Final = {
    "/": ["/"],
    "/food": ["/food"],
    "/food/calendar": ["/food/calendar"],
    "/kept": ["/kept"],
    "/kept/food": ["/kept/food"],
    "/offline": ["/offline"],
    "/login": [],  # where no password is set it leads away; it has a test of its own
    "/vessels/{vessel}/start": ["/vessels/cedar/start"],
    "/batches": ["/batches"],
    "/batches/{batch:path}": ["/batches/ash-2026-03-01", f"/batches/{PAST[-1]}"],
    "/count": ["/count", "/count?drops=31+28+35&drop=0.05+mL&dilution=1&litres=1.5+L&cysts=2+g"],
    "/salt": [
        "/salt",
        "/salt?kind=plain&target=35+g%2FL&litres=1.5+L&by=hydrometer&shown=1.0185&at=24+C&lost=200+mL",
    ],
    "/broods": ["/broods"],
    "/broods/new": ["/broods/new"],
    "/broods/{brood}": ["/broods/killi-3", "/broods/scalare-2"],
    "/alarms/{alarm:path}": ["/alarms/air-stopped%3Abirch"],
    "/guide": ["/guide"],
    "/report": ["/report"],
    "/rooms": ["/rooms"],
    "/checkup": ["/checkup"],
    "/costs": ["/costs", "/costs?days=30"],
    "/trends": [f"/trends?batch={PAST[-1]}&against={PAST[0]}", "/trends"],
    "/phones": ["/phones"],
    "/stores/{store}": ["/stores/fridge"],
    "/tins": ["/tins"],
    "/tins/{lot:path}": ["/tins/tin-7"],
    "/ledger": ["/ledger"],
    "/ledger/{kind}/{subject:path}/{at}": [f"/ledger/start/{PAST[-1]}/{rfc3339_ms(NOW - 62 * HOUR)}"],
    "/feed": ["/feed?brood=killi-3"],
    "/act/{token}": [],  # made below: its address is a secret
}

# Where colours are forced axe-core reads what the style asked for instead of what is shown; _FORCED looks at that.
_RUN: Final = """async ([type, values]) => {
    const forced = matchMedia('(forced-colors: active)').matches;
    const runOnly = { type, values: forced && type === 'rule' ? values.filter(one => one !== 'color-contrast') : values };
    const rules = forced && type === 'tag' ? { 'color-contrast': { enabled: false } } : {};
    const found = await axe.run(document, { runOnly, rules, resultTypes: ['violations'], preload: false });
    return found.violations.flatMap(one => one.nodes.map(node => `${one.id}: ${node.html.slice(0, 160)} ${node.failureSummary}`));
}"""
_FORCED: Final = """() => {
    const parts = (colour) => colour.match(/[\\d.]+/g).map(Number);
    const bright = ([red, green, blue]) => [red, green, blue]
        .map(part => part / 255).map(part => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4)
        .reduce((sum, part, n) => sum + part * [0.2126, 0.7152, 0.0722][n], 0.05);
    const ground = (one) => {
        for (; one; one = one.parentElement) {
            const [red, green, blue, alpha = 1] = parts(getComputedStyle(one).backgroundColor);
            if (alpha) return [red, green, blue];
        }
        return [0, 0, 0];
    };
    return [...document.querySelectorAll('body *:not(svg *, svg)')]
        .filter(one => one.checkVisibility() && [...one.childNodes].some(node => node.nodeType === 3 && node.data.trim()))
        .filter(one => {
            const [dim, light] = [bright(parts(getComputedStyle(one).color)), bright(ground(one))].sort((a, b) => a - b);
            return light / dim < 4.5;
        }).map(one => `contrast: ${one.outerHTML.slice(0, 120)}`);
}"""
# WCAG 2.2, 2.5.8: 24 by 24 CSS pixels, but for a link that stands in a sentence.
_SMALL: Final = """() => [...document.querySelectorAll('a, button, summary, input:not([type=hidden]), select, textarea')]
    .filter(one => one.checkVisibility() && !one.closest('p:not(.more), td, th, li li'))
    .map(one => [one.outerHTML.slice(0, 120), one.getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && (box.width < 24 || box.height < 24))
    .map(([html, box]) => `${html} ${box.width} x ${box.height}`)"""


@pytest.fixture(scope="module")
def axe() -> str:
    if AXE.exists():
        return AXE.read_text("utf-8")
    told = f"axe-core is not at {AXE}; deploy/test.sh fetches it with npm"
    if os.environ.get("CI") == "true":
        pytest.fail(told)
    pytest.skip(told)


@pytest.fixture
def shed(tmp_path: Path, serve: Callable[..., Served]) -> Served:
    """A bench with an alarm in each state, a store, phones, something to undo, and two days of trends."""
    fill(tmp_path / "shed.db", days=2)
    desk = shed_desk(tmp_path / "shed.db")
    bench = desk._bench
    bench["alarms"] += [
        an_alarm("too-hot", "ash", "high", 3, state="shelved", until=as_rfc3339(NOW + 9 * MINUTE), title="ash is hot"),
        an_alarm("probe-silent", "ash-air", "medium", 90, state="out-of-service", title="ash-air is silent"),
    ]
    bench["phones"] = [
        {"id": "p1", "name": "by the door", "since": as_rfc3339(NOW - MINUTE), "gone": None},
        {"id": "p2", "name": "in the drawer", "since": as_rfc3339(NOW - 90 * MINUTE), "gone": as_rfc3339(NOW)},
    ]
    bench["undoable"] = [
        {
            "kind": "settle",
            "subject": "ash",
            "at": as_rfc3339(NOW - MINUTE),
            "text": "settling in ash",
            "until": as_rfc3339(NOW + 9 * MINUTE),
        }
    ]
    key = PushKey(tmp_path / "push.key", "https://shed.home.arpa")
    desk.neighbours = other_rooms()
    desk.larder = too_late()
    return serve(desk, key=key, address="https://shed.home.arpa", rooms=True)


def pages_of(served: Served) -> list[str]:
    """An address for each page of the application. Fails for a new page that has none here."""
    routes = [route for route in served.app.routes if not isinstance(route, Mount)]
    found = {route.path for route in routes if isinstance(route, Route) and "GET" in (route.methods or ())} - NO_PAGES
    assert found - ADDRESSES.keys() == set(), "give each new page an address in ADDRESSES"
    links = Links.kept(served.options.link_key_file, served.options.address)
    letter = links.token(["air-stopped:birch", "cold-snap:ash"], 3600)
    return [address for path in sorted(found) for address in ADDRESSES[path]] + [f"/act/{letter}", "/not-there"]


def faults_of(page: Page, axe: str) -> Iterator[str]:
    """What is wrong with a page in each scheme at each width, each with these two."""
    page.evaluate(axe)
    for width, scheme in shown_in(page, WIDTHS, SCHEMES):
        # A chart takes a moment to draw itself anew.
        if not comes_true(page, "width => document.documentElement.scrollWidth <= width", width):
            yield f"{scheme} {width}: runs out sideways"
        rules = ["tag", TAGS] if width in ALL_RULES[scheme] else ["rule", ABOUT_COLOURS]
        found = [*page.evaluate(_RUN, rules), *page.evaluate(_SMALL)]
        if page.evaluate("matchMedia('(forced-colors: active)').matches"):
            found += page.evaluate(_FORCED)
        for fault in found:
            yield f"{scheme} {width}: {' '.join(fault.split())}"


@pytest.mark.browser
@pytest.mark.parametrize("part", range(PARTS))
def test_every_page_is_clean_in_each_scheme_and_at_each_width(
    shed: Served, chromium: Browser, axe: str, part: int
) -> None:
    """No violation of WCAG 2.2 A and AA that a machine can find, nothing sideways, no target under 24 px, no foreign host."""
    context = chromium.new_context(service_workers="block")
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    # The bench kept for later goes back to the live one as soon as it hears from it.
    page.route("**/events*", lambda route: route.abort() if page.url.endswith("/kept") else route.continue_())
    faults = []
    for path in pages_of(shed)[part::PARTS]:
        page.goto(shed.url + path)
        faults += [f"{path} {fault}" for fault in faults_of(page, axe)]
    context.close()
    assert "\n".join(faults) == ""
    assert asked
    assert [url for url in asked if not url.startswith(shed.url)] == []


@pytest.mark.browser
def test_what_is_wrong_with_a_page_is_found(chromium: Browser, axe: str) -> None:
    """Grey on grey is found in light and in dark, a picture without words and a small button in each scheme."""
    page = chromium.new_page()
    page.set_content(
        '<html lang="en"><title>Bad</title><style>p { color: #999; background: #aaa; forced-color-adjust: none }</style>'
        '<main><h1>Bad</h1><p>Grey</p><img src="data:,"><div><button style="padding: 0; height: 9px">x</button></div></main>'
    )
    faults = list(faults_of(page, axe))
    for scheme in SCHEMES:
        assert any(fault.startswith(f"{scheme} 390: image-alt") for fault in faults)
        for width in WIDTHS:
            here = [fault for fault in faults if fault.startswith(f"{scheme} {width}: ")]
            assert any("contrast" in fault for fault in here)
            assert any("<button" in fault and " x 9" in fault for fault in here)
    page.close()


@pytest.mark.browser
def test_the_log_in_is_clean_too(serve: Callable[..., Served], tmp_path: Path, chromium: Browser, axe: str) -> None:
    """Whoever can't see it well can still get in."""
    write_password(tmp_path / "page.password", "brine shrimp at dawn")
    served = serve(password_hash_file=tmp_path / "page.password")
    context = chromium.new_context(service_workers="block")
    page = context.new_page()
    page.goto(served.url)
    assert page.url.endswith("/login")
    assert "\n".join(faults_of(page, axe)) == ""
    context.close()
