"""Harvesting a batch, from its page or by a tap on the bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.routing import Route

from monitor.core.log import Harvest
from monitor.web.given import Fields, field_count, field_share
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.batch_pages import BatchPages
    from monitor.web.site import Site


class Harvesting:
    def __init__(self, site: Site, batches: BatchPages) -> None:
        self._site = site
        self._batches = batches

    def routes(self) -> list[Route]:
        return [Route("/batches/{batch:path}/harvest", self._site.form(self.harvest), methods=["POST"])]

    async def harvest(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            command = Harvest(self._site.when(given), now, batch, field_share(given), field_count(given))
        except Trouble as trouble:
            return self._batches.page(request, given, trouble.detail, trouble.status)
        return await self._batches.tap(request, command, f"Noted: {batch} is harvested.", given)
