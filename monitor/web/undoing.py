"""Undo, by a button on the bench and for programs: an entry is named by kind, subject and when it was logged."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.log import Undo
from monitor.core.undo import words_of
from monitor.web.bodies import Instant, Name, read_body
from monitor.web.given import way_back
from monitor.web.problems import Trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.core.model import Ms
    from monitor.web.site import Site


class UndoBody(BaseModel):
    """``kind``, ``subject`` and ``at`` as they stand in the bench's ``undoable``."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    kind: Literal[
        "start",
        "seen",
        "harvest",
        "discard",
        "settle",
        "work",
        "chill",
        "emptied",
        "tin",
        "weighed",
        "fed",
        "drawn",
        "brood",
        "counted",
        "broodended",
        "eater",
        "correct",
    ]
    subject: Name
    at: Instant

    def command(self, now: Ms) -> Undo:
        return Undo(now, now, self.kind, self.subject, self.at)


class Undoing:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/undo", self._site.form(self.undo), methods=["POST"])]

    def api(self) -> list[Route]:
        return [Route("/undo", self._site.api(self.api_undo, Scope.LOG), methods=["POST"])]

    async def undo(self, request: Request, given: dict[str, str]) -> Response:
        """From the strip on the bench, or on a page that says with ``?back=`` which it is."""
        named = {name: given.get(name, "") for name in ("kind", "subject", "at")}
        try:
            command = read_body(UndoBody, json.dumps(named).encode()).command(self._site.now)
            await self._site.do(command)
        except Trouble as trouble:
            return self._site.back(request, trouble.detail, "refused", way_back(request))
        told = f"Undone: {words_of(command.kind, command.subject)}, as if it had never been logged."
        return self._site.back(request, told, to=way_back(request))

    async def api_undo(self, request: Request) -> Response:
        """What came of it, and ``text``: what was undone, in words."""
        command = read_body(UndoBody, await request.body()).command(self._site.now)
        told = await self._site.do(command)
        return JSONResponse({**told, "text": words_of(command.kind, command.subject)})
