"""The page of a batch, and what is seen in it or thrown away."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from monitor.core.log import Discard, Seen, Sight
from monitor.web import words
from monitor.web.given import Fields, field_share, invalid
from monitor.web.harvest_form import harvest_form
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.desk import Command
    from monitor.web.site import Site


class BatchPages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/batches/{batch:path}", look(self.batch_form)),
            Route("/batches/{batch:path}/seen", form(self.seen), methods=["POST"]),
            Route("/batches/{batch:path}/discard", form(self.discard), methods=["POST"]),
        ]

    async def batch_form(self, request: Request) -> Response:
        return self.page(request, {}, "")

    async def seen(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            if given.get("what") not in set(Sight):
                raise invalid("Say what you see: none, first, some or most.")
            command = Seen(self._site.when(given), now, batch, Sight(given["what"]), field_share(given))
        except Trouble as trouble:
            return self.page(request, given, trouble.detail, trouble.status)
        return await self.tap(request, command, f"Noted for {batch}: {words.SIGHTS[command.what]}.", given)

    async def discard(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            command = Discard(self._site.when(given), now, batch, given.get("reason", "").strip()[:200])
        except Trouble as trouble:
            return self.page(request, given, trouble.detail, trouble.status)
        return await self.tap(request, command, f"Noted: {batch} is thrown away.", given)

    async def tap(self, request: Request, command: Command, noted: str, given: Fields) -> Response:
        """Do it and go back to the bench; a refusal is told where the keeper is."""
        try:
            await self._site.do(command)
        except Trouble as trouble:
            if given.get("page") == "batch":
                return self.page(request, given, trouble.detail, trouble.status)
            return self._site.back(request, trouble.detail, "refused")
        return self._site.back(request, noted)

    def page(self, request: Request, given: Fields, problem: str, status: int = 200) -> Response:
        empty = {"what": "", "fraction": "", "nauplii": "", "reason": "", "when": "now"}
        return self._site.page(
            request,
            "batch.html",
            status,
            batch=request.path_params["batch"],
            problem=problem,
            given={**empty, **given},
            harvest=harvest_form(request, given),
        )
