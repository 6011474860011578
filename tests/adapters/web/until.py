"""Waiting for what a page's own script knows, and showing a page in other ways.

Playwright's ``wait_for_function`` evaluates text, which the page forbids.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from playwright.sync_api import Page


# Colours that are on their way from one scheme to the next have arrived.
_STILL: Final = """() => document.getAnimations()
    .filter(one => one.effect.getComputedTiming().endTime < Infinity).forEach(one => one.finish())"""
LIGHT_AND_DARK: Final[dict[str, dict[str, Any]]] = {
    "light": {"color_scheme": "light"},
    "dark": {"color_scheme": "dark"},
}


def shown_in(
    page: Page, widths: Sequence[int], schemes: dict[str, dict[str, Any]] | None = None
) -> Iterator[tuple[int, str]]:
    """Show a page that is loaded at each of these widths in each scheme (light and dark), and tell which it is."""
    for width in widths:
        page.set_viewport_size({"width": width, "height": 800})
        for scheme, media in (schemes or LIGHT_AND_DARK).items():
            page.emulate_media(**media)
            page.evaluate(_STILL)
            yield width, scheme


def comes_true(page: Page, script: str, arg: Any = None, within: float = 15.0) -> bool:
    """Whether ``script``, a function that may be async, answers true within so many seconds."""
    until = time.monotonic() + within
    while time.monotonic() < until:
        if page.evaluate(script, arg) is True:
            return True
        page.wait_for_timeout(50)
    return False
