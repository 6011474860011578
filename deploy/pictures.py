"""Takes README's pictures of a page that is running, in a real Chromium: ``python deploy/pictures.py http://127.0.0.1:8417/``.

Start ``sh deploy/demo.sh`` first. Needs the ``test`` extra and Debian's chromium.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

from playwright.sync_api import sync_playwright

FOLDER: Final = Path(__file__).with_name("pictures")
FLAGS: Final = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SHOTS: Final = (
    ("bench-390-dark", "/", 390, 844, "dark"),
    ("bench-1280-light", "/", 1280, 800, "light"),
    ("trends-390-dark", "/trends", 390, 844, "dark"),
    ("trends-1280-light", "/trends", 1280, 800, "light"),
)


def main(url: str) -> None:
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for name, path, width, height, scheme in SHOTS:
            page = browser.new_page(
                viewport={"width": width, "height": height}, color_scheme="dark" if scheme == "dark" else "light"
            )
            page.goto(url.rstrip("/") + path)
            page.wait_for_selector("[data-part], .plot canvas")
            page.screenshot(path=FOLDER / f"{name}.png", full_page=True)
            page.close()
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8417/")
