"""The bench on a phone's home screen: the manifest, the worker, and what a phone shows while it does not reach us."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final

from markupsafe import Markup
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.web.food_page import food_values
from monitor.web.packing import packed
from monitor.web.rights import Role
from monitor.web.site import csrf_token

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.web.site import Site

WORKER: Final = "/worker.js"
"""At the root, as a worker acts only below its own address."""
MANIFEST: Final = "/manifest.webmanifest"
OFFLINE: Final = "/offline"
KEPT: Final = "/kept"
KEPT_FOOD: Final = "/kept/food"
_SHELL: Final = ("bench.css", "food.css", "bench.js", "offline.js", "icon.svg")
_DARK: Final = "#14100d"
"""What a phone shows while the page opens: the paper of the dark scheme, as a white screen hurts at night."""
_ICONS: Final = (
    ("icon-192.png", "192x192", "any"),
    ("icon-512.png", "512x512", "any"),
    ("icon-maskable-512.png", "512x512", "maskable"),
)


class HomeScreen:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        return [
            Route(MANIFEST, self.manifest),
            Route(WORKER, self.worker),
            Route(OFFLINE, self.offline),
            Route(KEPT, self._site.open_page(self.kept)),
            Route(KEPT_FOOD, self._site.open_page(self.kept_food)),
        ]

    async def manifest(self, _request: Request) -> Response:
        """W3C Web Application Manifest. A browser fetches it without a cookie, so it tells no more than the log-in page."""
        path, name = self._site.assets.path, self._site.desk.bench()["site"]
        icons: list[dict[str, Any]] = [
            {"src": path(file), "type": "image/png", "sizes": sizes, "purpose": purpose}
            for file, sizes, purpose in _ICONS
        ]
        said = {
            "id": "/",
            "name": name,
            "short_name": name,
            "lang": "en",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "theme_color": _DARK,
            "background_color": _DARK,
            "icons": [*icons, {"src": path("icon.svg"), "type": "image/svg+xml", "sizes": "any"}],
        }
        return JSONResponse(said, media_type="application/manifest+json", headers={"Cache-Control": "no-cache"})

    async def worker(self, _request: Request) -> Response:
        """Its first line says what belongs to this build, so that a browser takes a new worker with each."""
        site = self._site
        code = site.assets.text("worker.js")
        shell = [site.assets.path(file) for file in _SHELL]
        page = site.open_to_all("offline.html", here=OFFLINE).body
        mark = hashlib.sha256("\n".join((code, *shell)).encode() + bytes(page))
        known = {"build": mark.hexdigest()[:12], "shell": shell}
        return Response(
            f"self.KNOWN = {json.dumps(known)};\n{code}",
            media_type="text/javascript; charset=utf-8",
            headers={"Cache-Control": "no-cache"},
        )

    async def offline(self, _request: Request) -> Response:
        """It is kept for when nothing answers, so it says nothing that could have changed."""
        return self._site.open_to_all("offline.html", here=OFFLINE)

    async def kept(self, request: Request) -> Response:
        """The bench for later, when it can't be reached: it says from when it is, and nothing on it can be pressed."""
        site = self._site
        may_act = site.role(request) is not Role.VIEWER
        view = site.newest(may_act=may_act).view
        parts = {
            key: Markup(str(html).replace("<button", "<button disabled"))  # noqa: S704  (a text has no "<" left)
            for key, html in site.render_parts(view, csrf_token(request), may_act=may_act).items()
        }
        build = site.build(view)
        known: dict[str, Any] = {"view": view, "build": build, "parts": parts, "kept": True, "worker": WORKER}
        page = site.page(request, "bench.html", here="/", flash=None, **known)
        return packed(request, page)

    async def kept_food(self, request: Request) -> Response:
        """The page "Food" likewise: the way out alone can be pressed, as logging out takes this copy along."""
        site = self._site
        view = site.newest().view
        known = food_values(site) | {"here": "/food", "kept": f"{view.clock}, {view.day}"}
        page = site.page(request, "food.html", **known)
        before, main, after = bytes(page.body).decode().partition("<main")
        inside, end, rest = after.partition("</main>")
        page.body = "".join((before, main, inside.replace("<button", "<button disabled"), end, rest)).encode()
        page.headers["Content-Length"] = str(len(page.body))
        return packed(request, page)
