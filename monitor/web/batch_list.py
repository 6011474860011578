"""The list of all batches: what is open on top, then the newest first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from starlette.routing import Route

from monitor.core.light import light
from monitor.web.asked import Query
from monitor.web.batch_gather import Beside, all_lives, beside
from monitor.web.batch_view import make_listed

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.store.record import Record
    from monitor.web.site import Site

PAGE: Final = 25
_MOST_PAGES: Final = 100_000


@light
class _Found:
    some: list[Beside]
    lots: list[str]
    vessels: list[str]
    count: int  # of all that fit
    all: int


class BatchList:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        return [Route("/batches", self._site.open_page(self.page))]

    async def page(self, request: Request) -> Response:
        query = Query(request, "lot", "vessel", "page")
        lot, vessel = query.text("lot") or "", query.text("vessel") or ""
        number = query.whole("page", 1, _MOST_PAGES, 1)
        bench = self._site.desk.bench()
        found = await self._site.look_up(lambda record: _look(record, bench["timezone"], lot, vessel, number))
        more = found.count > number * PAGE
        return self._site.page(
            request,
            "batches.html",
            rows=[make_listed(one, bench) for one in found.some],
            lots=found.lots,
            vessels=found.vessels,
            lot=lot,
            vessel=vessel,
            count=found.count,
            all=found.all,
            first=(number - 1) * PAGE + 1,
            newer=_address(lot, vessel, number - 1) if number > 1 else "",
            older=_address(lot, vessel, number + 1) if more else "",
            empty_vessel=next((one["id"] for one in bench["vessels"] if one["batch"] is None), ""),
        )


def _look(record: Record, timezone: str, lot: str, vessel: str, number: int) -> _Found:
    lives = all_lives(record)
    fits = [life for life in reversed(lives) if lot in ("", life.start.lot) and vessel in ("", life.start.vessel)]
    fits.sort(key=lambda life: life.end is not None)  # the order is kept besides
    return _Found(
        beside(record, fits[(number - 1) * PAGE : number * PAGE], timezone),
        sorted({life.start.lot for life in lives}),
        sorted({life.start.vessel for life in lives}),
        len(fits),
        len(lives),
    )


def _address(lot: str, vessel: str, number: int) -> str:
    given: dict[str, Any] = {"lot": lot, "vessel": vessel, "page": number if number > 1 else ""}
    asked = urlencode({name: value for name, value in given.items() if value})
    return f"/batches?{asked}" if asked else "/batches"
