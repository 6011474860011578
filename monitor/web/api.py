"""The local API under /api/v1, in JSON."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.guide import ENTRIES
from monitor.web.bodies import (
    AlarmBody,
    AnyBody,
    DiscardBody,
    HarvestBody,
    SeenBody,
    ServiceBody,
    SettlingBody,
    ShelveBody,
    StartBody,
    find_vessel,
    read_body,
)
from monitor.web.conditional import Content
from monitor.web.events import Events
from monitor.web.given import read_days
from monitor.web.rights import Scope
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.requests import Request

    from monitor.core.model import AlarmCommand, Ms
    from monitor.web.desk import Command
    from monitor.web.site import Handler, Site

DESCRIPTION: Final = Path(__file__).with_name("openapi.json")


class Api:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._bench: tuple[int, Content] | None = None
        self._description: Content | None = None

    def outside(self) -> list[Route]:
        """What a monitoring system looks for where it always is."""
        return [Route("/metrics", self._site.api(self.metrics))]

    def routes(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/bench", guard(self.bench)),
            Route("/health", self.health),
            Route("/openapi.json", self.description),
            Route("/events", guard(Events(self._site).events)),
            Route("/alarms", guard(self.alarms)),
            *(
                Route(f"/alarms/{{alarm:path}}/{what}", guard(handler, needs), methods=["POST"])
                for what, needs, handler in (
                    ("acknowledge", Scope.ALARM, self._alarm(AlarmBody, AlarmBody.acknowledge)),
                    ("shelve", Scope.ALARM, self._alarm(ShelveBody, ShelveBody.shelve)),
                    ("unshelve", Scope.ALARM, self._alarm(AlarmBody, AlarmBody.unshelve)),
                    ("out-of-service", Scope.ADMIN, self._alarm(ServiceBody, ServiceBody.out)),
                    ("back-in-service", Scope.ADMIN, self._alarm(AlarmBody, AlarmBody.back)),
                )
            ),
            Route("/alarms/{alarm:path}", guard(self.alarm)),
            Route("/report", guard(self.report)),
            Route("/channels/test", guard(self.try_channels, Scope.ADMIN), methods=["POST"]),
            Route("/batches", guard(self.start, Scope.LOG), methods=["POST"]),
            Route("/batches/{batch:path}/seen", guard(self.seen, Scope.LOG), methods=["POST"]),
            Route("/batches/{batch:path}/harvest", guard(self.harvest, Scope.LOG), methods=["POST"]),
            Route("/batches/{batch:path}/discard", guard(self.discard, Scope.LOG), methods=["POST"]),
            Route("/vessels/{vessel}/settling", guard(self.settling, Scope.LOG), methods=["POST"]),
        ]

    async def bench(self, request: Request) -> Response:
        """Written once per view, however often it is asked for."""
        version = self._site.desk.version()
        if self._bench is None or self._bench[0] != version:
            self._bench = version, Content.of(self._site.desk.bench())
        return self._bench[1].answer(request)

    async def description(self, request: Request) -> Response:
        """Open to all: it tells nothing of this service but how to ask it."""
        if self._description is None:
            self._description = Content.of_bytes(await run_in_threadpool(DESCRIPTION.read_bytes))
        return self._description.answer(request)

    async def metrics(self, _request: Request) -> Response:
        """Imported when first asked for, and made in another thread."""

        def made() -> tuple[bytes, str]:
            from monitor.web.metrics import CONTENT_TYPE, exposition  # noqa: PLC0415

            return exposition(self._site.desk.bench(), self._site.desk.figures()), CONTENT_TYPE

        body, kind = await run_in_threadpool(made)
        return Response(body, headers={"Content-Type": kind})

    async def alarms(self, request: Request) -> Response:
        return Content.of({"alarms": self._site.desk.bench()["alarms"]}).answer(request)

    async def alarm(self, request: Request) -> Response:
        """One alarm: as it stands, what was decided about it, and the guide's entry."""
        story = await self._site.why(request.path_params["alarm"])
        entry = ENTRIES.get(story["rule"])
        return Content.of({**story, "guide": None if entry is None else asdict(entry)}).answer(request)

    async def report(self, request: Request) -> Response:
        return Content.of(await self._site.report(read_days(request.query_params.get("days", "")))).answer(request)

    async def health(self, _request: Request) -> Response:
        """Open to all, so it tells little: whether the page answers and the broker is linked."""
        bench = self._site.desk.bench()
        linked = bool(bench["broker"]["connected"])
        return JSONResponse({"status": "ok" if linked else "degraded", "broker": linked, "now": bench["now"]})

    async def start(self, request: Request) -> Response:
        body = read_body(StartBody, await request.body())
        return await self._done(body.command(self._site.desk.bench()), 201)

    async def seen(self, request: Request) -> Response:
        body = read_body(SeenBody, await request.body())
        return await self._done(body.command(request.path_params["batch"], self._site.now))

    async def harvest(self, request: Request) -> Response:
        body = read_body(HarvestBody, await request.body())
        return await self._done(body.command(request.path_params["batch"], self._site.now))

    async def discard(self, request: Request) -> Response:
        body = read_body(DiscardBody, await request.body())
        return await self._done(body.command(request.path_params["batch"], self._site.now))

    async def settling(self, request: Request) -> Response:
        body = read_body(SettlingBody, await request.body())
        vessel = find_vessel(self._site.desk.bench(), request.path_params["vessel"])
        command = body.command(vessel["id"], self._site.now, vessel["settling_minutes"])
        return JSONResponse({**await self._site.do(command), "until": as_rfc3339(command.until)})

    async def try_channels(self, _request: Request) -> Response:
        return JSONResponse({"channels": await self._site.try_channels()})

    def _alarm(self, kind: type[AnyBody], command: Callable[[AnyBody, str, Ms], AlarmCommand]) -> Handler:
        """What is done with an alarm: a body of this kind, and the command that it becomes."""

        async def handler(request: Request) -> Response:
            body = read_body(kind, await request.body())
            return await self._done(command(body, request.path_params["alarm"], self._site.now))

        return handler

    async def _done(self, command: Command, status: int = 200) -> Response:
        return JSONResponse(await self._site.do(command), status)
