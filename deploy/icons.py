"""Draws the icons of the home screen from ``icon.svg``, in a real Chromium: ``python deploy/icons.py``.

Needs the ``test`` extra and Debian's chromium. The pictures are part of the repository, so that installing needs neither.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from playwright.sync_api import sync_playwright

STATIC: Final = Path(__file__).parent.parent / "monitor" / "web" / "static"
GROUND: Final = "#1a1411"
"""As in the drawing, to its very edge where a phone cuts the icon to a shape of its own."""
SAFE: Final = 0.8
"""W3C Web Application Manifest, "Icon masks and safe zone": a circle of this share of the width is always seen."""
WHOLE: Final = (("icon-192.png", 192), ("icon-512.png", 512))
MASKABLE: Final = (("icon-maskable-512.png", 512),)


def page_of(drawing: str, size: int, *, maskable: bool) -> str:
    side = round(size * SAFE) if maskable else size
    ground = GROUND if maskable else "transparent"
    return (
        f"<style>body {{ margin: 0; width: {size}px; height: {size}px; background: {ground}; display: grid; "
        f"place-items: center }} svg {{ width: {side}px; height: {side}px }}</style>{drawing}"
    )


def main() -> None:
    drawing = (STATIC / "icon.svg").read_text("utf-8")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=["--headless", "--no-sandbox"])
        for names, maskable in ((WHOLE, False), (MASKABLE, True)):
            for name, size in names:
                page = browser.new_page(viewport={"width": size, "height": size})
                page.set_content(page_of(drawing, size, maskable=maskable))
                page.screenshot(path=STATIC / name, omit_background=not maskable)
                page.close()
        browser.close()


if __name__ == "__main__":
    main()
