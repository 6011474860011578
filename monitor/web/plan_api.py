"""Food and its plan for programs: what lies ahead, to start what is planned, or not now; and the calendar's address."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.food import SkipStart
from monitor.core.log import Start
from monitor.web.bodies import Body, Name, find_vessel, read_body
from monitor.web.calendar_link import CalendarLink
from monitor.web.conditional import Content
from monitor.web.problems import Trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.core.model import Ms
    from monitor.web.site import Site


class PlannedBody(Body):
    """What is other than planned; ``time`` is when it was started, if that was not just now."""

    cysts_g: Annotated[float, Field(gt=0, le=1000)] | None = None
    litres: Annotated[float, Field(gt=0, le=1000)] | None = None
    salinity_g_l: Annotated[float, Field(ge=0, le=200)] | None = None
    batch: Name | None = None

    def command(self, planned: Mapping[str, Any], now: Ms) -> Start:
        return Start(
            time=self.when(now),
            logged=now,
            batch=self.batch or "",
            vessel=planned["vessel"],
            lot=planned["lot"],
            cysts_g=planned["grams"] if self.cysts_g is None else self.cysts_g,
            litres=planned["litres"] if self.litres is None else self.litres,
            salinity_g_l=planned["salinity_g_l"] if self.salinity_g_l is None else self.salinity_g_l,
        )


class NothingBody(Body):
    """Nothing needs to be said."""


def find_planned(food: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """A planned start by its id. Raises Trouble naming those there are."""
    starts = food.get("plan", {}).get("starts", [])
    for start in starts:
        if start["id"] == name:
            found: Mapping[str, Any] = start
            return found
    known = ", ".join(start["id"] for start in starts[:6]) or "none"
    raise Trouble(404, f'There is no planned start "{name[:64]}"; the plan may have changed. There are: {known}.')


class PlanApi:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._link = CalendarLink(site.options.calendar_key_file)

    def pages(self) -> list[Route]:
        """The calendar belongs to no session: its address is its key."""
        return [Route("/calendar.ics", self.calendar)]

    def api(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/food", guard(self.food)),
            Route("/plan/{start}/start", guard(self.start, Scope.LOG), methods=["POST"]),
            Route("/plan/{start}/skip", guard(self.skip, Scope.LOG), methods=["POST"]),
            Route("/calendar", guard(self.address, Scope.ADMIN)),
            Route("/calendar/renew", guard(self.renew, Scope.ADMIN), methods=["POST"]),
        ]

    async def food(self, request: Request) -> Response:
        return Content.of(self._site.desk.food()).answer(request)

    async def start(self, request: Request) -> Response:
        body = read_body(PlannedBody, await request.body() or b"{}")
        planned = find_planned(self._site.desk.food(), request.path_params["start"])
        find_vessel(self._site.desk.bench(), planned["vessel"])
        return JSONResponse(await self._site.do(body.command(planned, self._site.now)), 201)

    async def skip(self, request: Request) -> Response:
        read_body(NothingBody, await request.body() or b"{}")
        planned = find_planned(self._site.desk.food(), request.path_params["start"])
        return JSONResponse(await self._site.do(SkipStart(time=self._site.now, start=planned["id"])))

    # --- calendar

    async def address(self, _request: Request) -> Response:
        return JSONResponse(self._told(await run_in_threadpool(self._link.token)))

    async def renew(self, request: Request) -> Response:
        read_body(NothingBody, await request.body() or b"{}")
        return JSONResponse(self._told(await run_in_threadpool(self._link.renew)))

    def _told(self, token: str) -> dict[str, str]:
        path = f"/calendar.ics?token={token}"
        return {"path": path, "url": f"{self._site.options.address}{path}" if self._site.options.address else ""}

    async def calendar(self, request: Request) -> Response:
        """For whoever holds the address, and nothing else than to look."""
        offered = request.query_params.get("token", "")
        if not await run_in_threadpool(self._link.fits, offered):
            raise Trouble(404, "There is nothing at this address.")

        def made() -> bytes:
            from monitor.web.calendar import calendar  # noqa: PLC0415  (icalendar is only loaded when it is asked for)

            bench = self._site.desk.bench()
            return calendar(self._site.desk.food(), bench["site"], int(bench["now_ms"]))

        headers = {"Content-Type": "text/calendar; charset=utf-8", "Referrer-Policy": "no-referrer"}
        return Response(await run_in_threadpool(made), headers=headers)
