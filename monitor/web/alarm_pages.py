"""The pages about alarms: the story of one with what may be done, the guide to all, and how much they ask of a person."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import quote
from zoneinfo import ZoneInfo

from starlette.routing import Route

from monitor.core.model import MINUTE, Acknowledge, Ms, PutBackInService, Shelve, TakeOutOfService, Unshelve
from monitor.guide import ENTRIES
from monitor.web import words
from monitor.web.alarm_view import make_story
from monitor.web.burden_view import make_burden_view
from monitor.web.given import field_minutes, read_days
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.model import AlarmCommand
    from monitor.web.site import Site

Fields = dict[str, str]
BY = "page"


class AlarmPages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/guide", look(self.guide)),
            Route("/report", look(self.report)),
            Route("/alarms/{alarm:path}/acknowledge", form(self.acknowledge), methods=["POST"]),
            Route("/alarms/{alarm:path}/shelve", form(self.shelve), methods=["POST"]),
            Route("/alarms/{alarm:path}/unshelve", form(self.unshelve), methods=["POST"]),
            Route("/alarms/{alarm:path}/out-of-service", form(self.take_out), methods=["POST"]),
            Route("/alarms/{alarm:path}/back-in-service", form(self.put_back), methods=["POST"]),
            Route("/alarms/{alarm:path}", look(self.story)),
        ]

    # --- looking

    async def guide(self, request: Request) -> Response:
        return self._site.page(request, "guide.html", entries=tuple(ENTRIES.values()))

    async def report(self, request: Request) -> Response:
        found = await self._site.report(read_days(request.query_params.get("days", "")))
        return self._site.page(request, "burden.html", view=make_burden_view(found))

    async def story(self, request: Request) -> Response:
        found = await self._site.why(request.path_params["alarm"])
        bench = self._site.desk.bench()
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        story = make_story(found, bench["now_ms"], bench["timezone"])
        return self._site.page(request, "alarm.html", story=story, flash=flash)

    # --- acting

    async def acknowledge(self, request: Request, given: Fields) -> Response:
        return await self._act(request, given, Acknowledge(self._site.now, self._alarm(request), BY), "Acknowledged.")

    async def shelve(self, request: Request, given: Fields) -> Response:
        bench = self._site.desk.bench()
        now: Ms = bench["now_ms"]
        try:
            until = now + field_minutes(given) * MINUTE
        except Trouble as trouble:
            return self._back(request, given, trouble.detail, "refused")
        told = f"Put off until {words.moment(until, now, ZoneInfo(bench['timezone']))}. It comes back by itself."
        return await self._act(request, given, Shelve(now, self._alarm(request), until, BY), told)

    async def unshelve(self, request: Request, given: Fields) -> Response:
        return await self._act(request, given, Unshelve(self._site.now, self._alarm(request), BY), "No longer put off.")

    async def take_out(self, request: Request, given: Fields) -> Response:
        why = given.get("why", "").strip()[:200]
        command = TakeOutOfService(self._site.now, self._alarm(request), BY, why)
        return await self._act(request, given, command, "Out of service until you put it back.")

    async def put_back(self, request: Request, given: Fields) -> Response:
        return await self._act(
            request, given, PutBackInService(self._site.now, self._alarm(request), BY), "Back in service."
        )

    # --- helpers

    @staticmethod
    def _alarm(request: Request) -> str:
        return str(request.path_params["alarm"])

    async def _act(self, request: Request, given: Fields, command: AlarmCommand, noted: str) -> Response:
        """Do it and go back to where the form was; a refusal is told there too."""
        try:
            await self._site.do(command)
        except Trouble as trouble:
            return self._back(request, given, trouble.detail, "refused")
        return self._back(request, given, noted)

    def _back(self, request: Request, given: Fields, told: str, kind: str = "noted") -> Response:
        here = given.get("page") == "alarm"
        to = f"/alarms/{quote(self._alarm(request), safe='')}" if here else "/"
        return self._site.back(request, told, kind, to)
