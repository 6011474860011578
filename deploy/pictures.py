"""Takes README's pictures of a running page, in a real Chromium: ``python deploy/pictures.py http://127.0.0.1:8417/``.

Start ``sh deploy/demo.sh`` first, and wait for the first alarm (about a minute and a half). Needs the ``test`` extra and
Debian's chromium.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, Final
from urllib.request import urlopen

from playwright.sync_api import Page, sync_playwright

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
SHOTS: Final = (  # name, address, width, colours; "#" and words: from where these stand
    ("bench-390-dark", "/", 390, "dark"),
    ("bench-1280-light", "/", 1280, "light"),
    ("food-390-dark", "/food", 390, "dark"),
    ("food-1280-light", "/food", 1280, "light"),
    ("trends-390-dark", "/trends", 390, "dark"),
    ("trends-1280-light", "/trends", 1280, "light"),
    ("compare-1280-light", "/trends?batch={open}&against={ended}#How good was it", 1280, "light"),
    ("batches-390-light", "/batches", 390, "light"),
    ("batch-390-dark", "/batches/{open}", 390, "dark"),
    ("batch-1280-light", "/batches/{open}", 1280, "light"),
    ("harvest-390-light", "/batches/{open}#Harvested", 390, "light"),
    ("start-390-light", "/vessels/{vessel}/start", 390, "light"),
    ("count-390-dark", "/count?drops=12,15,9,11,8,13&drop=0.05+mL&litres=1.5&cysts=2+g", 390, "dark"),
    ("salt-390-light", "/salt?target=25+g/L&litres=1.5+L&spoon=6+g", 390, "light"),
    ("checkup-390-dark", "/checkup", 390, "dark"),
    ("alarm-390-light", "/alarms/{alarm}", 390, "light"),
    ("guide-390-dark", "/guide", 390, "dark"),
    ("report-390-light", "/report", 390, "light"),
    ("phones-390-dark", "/phones", 390, "dark"),
)
HEIGHTS: Final = {390: 844, 1280: 1000}


def told(url: str, path: str) -> Any:
    with urlopen(f"{url}/api/v1/{path}", timeout=10) as answer:  # noqa: S310  (the address is the caller's own)
        return json.load(answer)


def subjects(url: str) -> dict[str, str]:
    """A batch under way with one that ended in the same vessel, and an alarm of the running bench, for addresses."""
    batches = told(url, "batches")["items"]
    vessel = next(batch["vessel"] for batch in reversed(batches) if batch["ended"])
    there = [batch for batch in batches if batch["vessel"] == vessel]
    return {
        "vessel": vessel,
        "open": next(batch["id"] for batch in there if not batch["ended"]),
        "ended": next(batch["id"] for batch in there if batch["ended"]),
        "alarm": told(url, "bench")["alarms"][0]["id"],
    }


def take(page: Page, url: str, path: str, file: Path) -> None:
    """A phone's first screen, or all of a wide page. Raises SystemExit for a page that is not there."""
    path, _, place = path.partition("#")
    answer = page.goto(url + path)
    if answer is None or not answer.ok:
        raise SystemExit(f"{file.stem}: {path} answered {answer.status if answer else 'nothing'}")
    if path.startswith("/trends"):
        page.wait_for_selector(".plot canvas")
    page.wait_for_timeout(500)
    if place:
        page.get_by_role("heading", name=place).first.evaluate("(heading) => heading.scrollIntoView()")
        page.wait_for_timeout(200)
    wide = page.viewport_size is not None and page.viewport_size["width"] > 1000
    page.screenshot(path=file, full_page=wide and not place)


def main(url: str) -> None:
    url = url.rstrip("/")
    FOLDER.mkdir(exist_ok=True)
    known = subjects(url)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for name, path, width, scheme in SHOTS:
            page = browser.new_page(
                viewport={"width": width, "height": HEIGHTS[width]},
                color_scheme="dark" if scheme == "dark" else "light",
                reduced_motion="reduce",
            )
            take(page, url, path.format(**known), FOLDER / f"{name}.png")
            page.close()
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8417/")
