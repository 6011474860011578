"""The bench's page, and the way in. Every form works without a script: it is sent, and the answer is a redirect."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.loglines import log
from monitor.web import words
from monitor.web.access import LONGEST_PASSWORD
from monitor.web.home_screen import WORKER
from monitor.web.packing import packed
from monitor.web.patience import network
from monitor.web.rights import Role
from monitor.web.site import csrf_token

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.web.given import Fields
    from monitor.web.site import Site

CHECKED_AT_ONCE: Final = 4
"""Passwords that may wait to be checked: each takes a worker thread, and the page needs those too."""


class Pages:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._checked = 0

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/", look(self.bench)),
            Route("/login", self.login_form),
            Route("/login", form(self.login, before_login=True), methods=["POST"]),
            Route("/logout", form(self.logout, viewers=True), methods=["POST"]),
        ]

    async def bench(self, request: Request) -> Response:
        site = self._site
        may_act = site.role(request) is not Role.VIEWER
        newest = site.newest(may_act=may_act)
        view = newest.view
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        parts = site.render_parts(view, csrf_token(request), may_act=may_act)
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
        if self._site.role(request) is not None:
            return RedirectResponse("/", 303)
        return self._site.page(request, "login.html", problem="")

    async def login(self, request: Request, given: Fields) -> Response:
        site, caller = self._site, network(request.client.host if request.client else "")
        if not site.options.login_needed:
            return RedirectResponse("/", 303)
        wait = site.attempts.wait(caller)
        if wait > 0:
            told = f"Too many wrong passwords. Try again in {words.duration(math.ceil(wait) * 1000)}."
            page = site.page(request, "login.html", 429, problem=told)
            page.headers["Retry-After"] = str(math.ceil(wait))
            return page
        if self._checked >= CHECKED_AT_ONCE:
            page = site.page(request, "login.html", 503, problem="Too many log in just now. Try again in a moment.")
            page.headers["Retry-After"] = "5"
            return page
        # Counted before it is checked, so that many at once can't get round the limit.
        site.attempts.failed(caller)
        self._checked += 1
        try:
            role = await run_in_threadpool(site.gate.who, given.get("password", "")[:LONGEST_PASSWORD])
        finally:
            self._checked -= 1
        if role is None:
            if site.attempts.wait(caller) > 0:
                log.warning("web.log-ins-refused", caller=caller)
            return site.page(request, "login.html", 401, problem="That is not the password.")
        site.attempts.succeeded(caller)
        request.session.clear()
        request.session["in"] = site.gate.mark(role)
        return RedirectResponse("/", 303)

    async def logout(self, request: Request, _given: Fields) -> Response:
        request.session.clear()
        return RedirectResponse("/login", 303)
