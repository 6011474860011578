"""The calendar's address, for the keeper alone: whoever has it sees the calendar without a log-in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.routing import Route

from monitor.web.calendar_link import CalendarLink
from monitor.web.flash import flash_of
from monitor.web.options import is_loopback
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.given import Fields
    from monitor.web.site import Site

PAGE: Final = "/food/calendar"


class CalendarPage:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._link = CalendarLink(site.options.calendar_key_file)

    def pages(self) -> list[Route]:
        return [
            Route(PAGE, self._site.open_page(self.page, Scope.ADMIN)),
            Route(f"{PAGE}/renew", self._site.form(self.renew), methods=["POST"]),
        ]

    async def page(self, request: Request) -> Response:
        """The host of the request is one of ours, or it would not have come so far."""
        origin = self._site.options.address.rstrip("/") or str(request.base_url).rstrip("/")
        token = await run_in_threadpool(self._link.token)
        return self._site.page(
            request,
            "calendar.html",
            url=f"{origin}/calendar.ics?token={token}",
            only_here=is_loopback(urlsplit(origin).hostname or ""),
            flash=flash_of(request),
        )

    async def renew(self, request: Request, _given: Fields) -> Response:
        await run_in_threadpool(self._link.renew)
        told = "This address is new. The one before shows nothing any more."
        return self._site.back(request, told, to=PAGE)
