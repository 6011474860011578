"""Waiting for what a page's own script knows. Playwright's ``wait_for_function`` evaluates text, which the page forbids."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from playwright.sync_api import Page


def comes_true(page: Page, script: str, arg: Any = None, within: float = 15.0) -> bool:
    """Whether ``script``, a function that may be async, answers true within so many seconds."""
    until = time.monotonic() + within
    while time.monotonic() < until:
        if page.evaluate(script, arg) is True:
            return True
        page.wait_for_timeout(50)
    return False
