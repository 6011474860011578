"""The bench without a mouse, and without motion."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import pytest
from playwright.sync_api import expect

from monitor.core.log import Harvest, Seen, Undo
from monitor.core.model import MINUTE, Acknowledge
from monitor.web.when import as_rfc3339
from tests.adapters.web.memory_desk import NOW, an_alarm

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import Page

    from tests.adapters.web.conftest import Served

    OpenPage = Callable[..., Page]

pytestmark = pytest.mark.browser
MOST_STOPS: Final = 90
# What has the focus: its words, whether it can be seen to have it, and whether anything lies over it.
FOCUSED: Final = """() => {
    const one = document.activeElement;
    if (!one || one === document.body) return null;
    const style = getComputedStyle(one), box = one.getBoundingClientRect();
    const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
    const top = document.elementFromPoint(x, y);
    return {
        name: (one.getAttribute('aria-label') || one.textContent).trim().replace(/\\s+/g, ' '),
        ring: one.matches(':focus-visible') && style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2,
        free: Boolean(top) && (one.contains(top) || top.contains(one)),
        place: [...document.querySelectorAll('*')].indexOf(one),
    };
}"""


def stops(page: Page) -> list[dict[str, Any]]:
    """Every place that the Tab key comes to, from the top of the page to its end."""
    found: list[dict[str, Any]] = []
    page.evaluate("document.activeElement.blur()")
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused is None:
            return found
        found.append(focused)
    raise AssertionError(f"more than {MOST_STOPS} stops")


def tab_to(page: Page, name: str, key: str = "Enter") -> None:
    """Go on with Tab until what is called so has the focus, and press a key."""
    for _ in range(MOST_STOPS):
        focused = page.evaluate(FOCUSED)
        if focused and focused["name"].startswith(name):
            page.keyboard.press(key)
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"no stop is called {name}")


@pytest.mark.parametrize("width", [390, 1280])
def test_every_stop_of_the_tab_key_is_seen_and_comes_in_reading_order(
    served: Served, open_page: OpenPage, width: int
) -> None:
    """The focus goes down the page as it is read, always with a ring, and never under a bar."""
    page = open_page(served, viewport={"width": width, "height": 844})
    found = stops(page)
    assert len(found) > 20
    assert found[0]["name"] == "To what the page says"
    assert [one["place"] for one in found] == sorted(one["place"] for one in found)
    assert [one["name"] for one in found if not one["ring"]] == []
    assert [one["name"] for one in found if not one["free"]] == []
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    tab_to(page, "To what the page says")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_a_batch_is_looked_after_by_keyboard_alone(served: Served, open_page: OpenPage) -> None:
    """Acknowledge, say what is seen, harvest, and take it back: no mouse is needed for any of it."""
    served.desk._bench["undoable"] = [
        {
            "kind": "harvest",
            "subject": "birch-2026-03-01",
            "at": as_rfc3339(NOW - MINUTE),
            "text": "harvest of birch-2026-03-01",
            "until": as_rfc3339(NOW + 9 * MINUTE),
        }
    ]
    page = open_page(served)
    tab_to(page, "Acknowledge Air stopped in birch")
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    tab_to(page, "I see, ash")
    tab_to(page, "Some swim", "Space")
    expect(page.locator("#vessel-0")).to_contain_text("You saw: some.")
    tab_to(page, "Harvested, ash")
    tab_to(page, "Yes, harvested")
    expect(page.locator("#vessel-0 .stage")).to_have_text("empty")
    tab_to(page, "Undo")
    expect(page.locator(".flash")).to_contain_text("Undone: ")
    assert [type(command) for command in served.desk.done] == [Acknowledge, Seen, Harvest, Undo]


def test_the_focus_stays_when_an_alarm_comes(served: Served, open_page: OpenPage) -> None:
    """News never takes the focus away from where a keeper is, even when it is put above it."""
    page = open_page(served)
    button = page.get_by_role("button", name="Acknowledge cedar-water is silent")
    button.focus()
    served.desk.publish(
        lambda bench: bench["alarms"].insert(
            0, an_alarm("too-hot", "ash", "high", 1, title="ash is too hot", todo="Look.")
        )
    )
    expect(page.locator(".alarm", has_text="ash is too hot")).to_be_visible()
    expect(button).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".flash")).to_have_text("Acknowledged.")
    assert served.desk.done == [Acknowledge(NOW, "probe-silent:cedar-water", "page")]


def test_nothing_moves_for_whoever_asks_for_no_motion(served: Served, open_page: OpenPage) -> None:
    """With reduced motion no style animates or changes by degrees, also while new numbers come in."""
    page = open_page(served, reduced_motion="reduce")
    moving = """() => [...document.querySelectorAll('*')].filter(one => {
        const style = getComputedStyle(one);
        const lasting = `${style.transitionDuration},${style.animationDuration}`.split(',').some(each => parseFloat(each) > 0);
        return lasting || style.scrollBehavior === 'smooth';
    }).map(one => one.outerHTML.slice(0, 80))"""
    served.desk.publish(lambda bench: bench["vessels"][1]["water"].update(value=27.3))
    expect(page.locator("#vessel-1")).to_contain_text("27.3")
    assert page.evaluate("document.getAnimations().length") == 0
    assert page.evaluate(moving) == []
    page.emulate_media(reduced_motion="no-preference")
    assert page.evaluate(moving) != []
