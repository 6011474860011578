"""The check-up: how machine and service fare, as a page and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from monitor.web.checkup_view import make_checkup_view
from monitor.web.conditional import Content

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.site import Site


class Checkup:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/checkup", self._site.open_page(self.page))]

    def api(self) -> list[Route]:
        return [Route("/checkup", self._site.api(self.told))]

    async def page(self, request: Request) -> Response:
        found = await self._site.checkup()
        view = make_checkup_view(found, self._site.desk.bench()["timezone"])
        return self._site.page(request, "checkup.html", view=view)

    async def told(self, request: Request) -> Response:
        return Content.of(await self._site.checkup()).answer(request)
