"""The bench's page, and the way in. Every form works without a script: it is sent, and the answer is a redirect."""

from __future__ import annotations

import ipaddress
import math
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.web import words
from monitor.web.home_screen import WORKER
from monitor.web.packing import packed
from monitor.web.site import csrf_token

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.web.given import Fields
    from monitor.web.site import Site


class Pages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/", look(self.bench)),
            Route("/login", self.login_form),
            Route("/login", form(self.login, before_login=True), methods=["POST"]),
            Route("/logout", form(self.logout), methods=["POST"]),
        ]

    async def bench(self, request: Request) -> Response:
        site = self._site
        newest = site.newest()
        view = newest.view
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        parts = site.render_parts(view, csrf_token(request))
        page = site.page(
            request,
            "bench.html",
            view=view,
            build=site.build(view),
            shown=newest.name,
            flash=flash,
            parts=parts,
            kept=False,
            worker=WORKER,
        )
        return packed(request, page)  # it repeats nothing of the request, so its length tells nobody the token in it

    async def login_form(self, request: Request) -> Response:
        if not self._site.options.login_needed or request.session.get("in"):
            return RedirectResponse("/", 303)
        return self._site.page(request, "login.html", problem="")

    async def login(self, request: Request, given: Fields) -> Response:
        site, caller = self._site, _caller(request)
        if not site.options.login_needed:
            return RedirectResponse("/", 303)
        wait = site.attempts.wait(caller)
        if wait > 0:
            told = f"Too many wrong passwords. Try again in {words.duration(math.ceil(wait) * 1000)}."
            page = site.page(request, "login.html", 429, problem=told)
            page.headers["Retry-After"] = str(math.ceil(wait))
            return page
        # Counted before it is checked, so that many at once can't get round the limit.
        site.attempts.failed(caller)
        if not await run_in_threadpool(site.gate.knows_password, given.get("password", "")[:1024]):
            return site.page(request, "login.html", 401, problem="That is not the password.")
        site.attempts.succeeded(caller)
        request.session.clear()
        request.session["in"] = True
        return RedirectResponse("/", 303)

    async def logout(self, request: Request, _given: Fields) -> Response:
        request.session.clear()
        return RedirectResponse("/login", 303)


def _caller(request: Request) -> str:
    """Whom a log-in attempt is counted for: an address, or the network of an IPv6 one, which has addresses without end."""
    host = request.client.host if request.client else ""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if address.version == 6:
        return str(ipaddress.ip_network((int(address), 64), strict=False))
    return host
