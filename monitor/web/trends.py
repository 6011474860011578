"""The page of trends, what its script asks for, and what is shown as files."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any, Final

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.store.errors import StoreError
from monitor.web.assets import CHARTS
from monitor.web.packing import packed
from monitor.web.problems import NO_ANSWER, Trouble
from monitor.web.trend_asked import MOST_POINTS, read_points
from monitor.web.trend_files import as_csv, as_senml
from monitor.web.trend_gather import Gathered, gather
from monitor.web.trends_view import document, make_trends_view
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from monitor.web.site import Site

DRAWN_POINTS: Final = 320
"""Of each probe on the page itself; the script asks for as many as its screen has columns."""
_AT_ONCE: Final = 2


class Trends:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._looking = asyncio.Semaphore(_AT_ONCE)  # a long look back takes memory and one core

    def routes(self) -> list[Route]:
        look = self._site.open_page
        return [
            Route("/trends", look(self.page)),
            Route("/trends/data", look(self.data)),
            Route("/trends/download.csv", look(self.csv)),
            Route("/trends/download.senml.json", look(self.senml)),
        ]

    async def page(self, request: Request) -> Response:
        found = await self._found(request, DRAWN_POINTS)
        page = self._site.page(
            request, "trends.html", view=make_trends_view(found), charts=CHARTS if CHARTS in self._site.assets else ""
        )
        return packed(request, page)

    async def data(self, request: Request) -> Response:
        """What the page would show, as the script wants it."""
        try:
            found = await self._found(request, read_points(request.query_params, DRAWN_POINTS))
        except Trouble as trouble:
            return JSONResponse({"problem": trouble.detail}, trouble.status, headers=trouble.headers)

        def written() -> str:
            view = make_trends_view(found)
            return json.dumps(document(view, self._tables(view.sections)), separators=(",", ":"), allow_nan=False)

        return packed(request, Response(await asyncio.to_thread(written), media_type="application/json"))

    async def csv(self, request: Request) -> Response:
        return await self._file(request, as_csv, "csv", "text/csv; charset=utf-8; header=present")

    async def senml(self, request: Request) -> Response:
        return await self._file(request, as_senml, "senml.json", "application/senml+json")

    async def _file(self, request: Request, written: Callable[[Gathered], str], kind: str, media: str) -> Response:
        found = await self._found(request, MOST_POINTS)
        text = await asyncio.to_thread(written, found)
        begin, end = (
            as_rfc3339(instant // 1000 * 1000).replace(":", "") for instant in (found.asked.since, found.asked.until)
        )
        name = f"trends-{begin}-{end}.{kind}"
        headers = {"Content-Disposition": f'attachment; filename="{name}"', "Content-Type": media}
        return packed(request, Response(text, headers=headers))

    def _tables(self, sections: Any) -> dict[str, str]:
        macros = self._site.macros("trend_parts.html")
        return {section.id: str(macros.table(section.table)) for section in sections if section.table is not None}

    async def _found(self, request: Request, points: int) -> Gathered:
        """Raises Trouble for what can't be asked, and while the record can't be read."""
        desk = self._site.desk
        async with self._looking:
            try:
                return await asyncio.to_thread(gather, desk.record, desk.bench(), request.query_params, points)
            except StoreError as error:
                raise Trouble(
                    503, f"The record can't be read just now: {error}", NO_ANSWER, headers={"Retry-After": "60"}
                ) from error
