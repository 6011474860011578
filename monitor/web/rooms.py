"""Several rooms on one page, and for programs. It only shows: whoever wants to act opens the page of that room."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from monitor.web.conditional import Content
from monitor.web.packing import packed
from monitor.web.rooms_view import make_rooms

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.site import Site


class RoomsPage:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/rooms", self._site.open_page(self.page))]

    def api(self) -> list[Route]:
        return [Route("/rooms", self._site.api(self.rooms))]

    async def page(self, request: Request) -> Response:
        view = make_rooms(self._site.desk.rooms())
        return packed(request, self._site.page(request, "rooms.html", view=view))

    async def rooms(self, request: Request) -> Response:
        return Content.of(self._site.desk.rooms()).answer(request)
