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
SHOTS: Final = (  # name, address, width, colours, whole page or the first screen of it
    ("bench-390-dark", "/", 390, "dark", True),
    ("bench-1280-light", "/", 1280, "light", True),
    ("trends-390-dark", "/trends", 390, "dark", True),
    ("trends-1280-light", "/trends", 1280, "light", True),
    ("batches-390-light", "/batches", 390, "light", True),
    ("batch-390-dark", "/batches/{open}", 390, "dark", True),
    ("batch-1280-light", "/batches/{ended}", 1280, "light", True),
    ("compare-1280-light", "/trends?batch={ended}&against={earlier}", 1280, "light", True),
    ("start-390-light", "/vessels/{vessel}/start", 390, "light", True),
    ("count-390-dark", "/count?drops=12,15,9,11,8,13&drop=0.05+mL&litres=1.5&cysts=2+g", 390, "dark", True),
    ("alarm-390-light", "/alarms/{alarm}", 390, "light", True),
    ("guide-390-dark", "/guide", 390, "dark", False),
    ("report-390-light", "/report", 390, "light", True),
    ("phones-390-dark", "/phones", 390, "dark", True),
)
HEIGHTS: Final = {390: 844, 1280: 800}


def told(url: str, path: str) -> Any:
    with urlopen(f"{url}/api/v1/{path}", timeout=10) as answer:  # noqa: S310  (the address is the caller's own)
        return json.load(answer)


def subjects(url: str) -> dict[str, str]:
    """Batches, a vessel and an alarm of the running bench, to be put into addresses."""
    batches = told(url, "batches")["items"]
    ended = [batch["id"] for batch in batches if batch["ended"]]
    under_way = [batch["id"] for batch in batches if not batch["ended"]]
    bench = told(url, "bench")
    return {
        "open": under_way[-1],
        "ended": ended[0],
        "earlier": ended[-1],
        "vessel": bench["vessels"][0]["id"],
        "alarm": bench["alarms"][0]["id"],
    }


def main(url: str) -> None:
    url = url.rstrip("/")
    FOLDER.mkdir(exist_ok=True)
    known = subjects(url)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for name, path, width, scheme, whole in SHOTS:
            page = browser.new_page(
                viewport={"width": width, "height": HEIGHTS[width]},
                color_scheme="dark" if scheme == "dark" else "light",
                reduced_motion="reduce",
            )
            answer = page.goto(url + path.format(**known))
            if answer is None or not answer.ok:
                raise SystemExit(f"{name}: {path} answered {answer.status if answer else 'nothing'}")
            if path.startswith("/trends"):
                page.wait_for_selector(".plot canvas")
            page.wait_for_timeout(500)
            page.screenshot(path=FOLDER / f"{name}.png", full_page=whole)
            page.close()
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8417/")
