"""Hands in a vessel, on the page and in the API: its alarms wait for a while, and come back by themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.entries import LONGEST_WORK
from monitor.core.log import Work
from monitor.core.model import MINUTE, Ms
from monitor.web import words
from monitor.web.bodies import find_vessel, read_body
from monitor.web.given import invalid
from monitor.web.problems import Trouble
from monitor.web.rights import Scope
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request

    from monitor.web.site import Site

USUAL_WORK: Final = 30  # min; a change of water takes about so long; common practice, no source
LONGEST: Final = LONGEST_WORK // MINUTE
DONE: Final = 0
"""So many minutes of work say that it is done."""


def _allowed(minutes: float) -> float:
    if minutes == DONE or 1 <= minutes <= LONGEST:
        return minutes
    raise ValueError(
        f"{minutes:g} min can't be; allowed are 1 to {LONGEST} min, and 0 when it is done. "
        "For longer work say it again before it ends."
    )


class WorkBody(BaseModel):
    """From now on: what rang before was no work."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    minutes: Annotated[float, AfterValidator(_allowed)] = USUAL_WORK

    def command(self, vessel: str, now: Ms) -> Work:
        return Work(now, now, vessel, now + round(self.minutes * MINUTE))


class Working:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/vessels/{vessel}/work", self._site.form(self.work), methods=["POST"])]

    def api(self) -> list[Route]:
        return [Route("/vessels/{vessel}/work", self._site.api(self.api_work, Scope.LOG), methods=["POST"])]

    async def api_work(self, request: Request) -> Response:
        body = read_body(WorkBody, await request.body())
        command = body.command(self._vessel(request), self._site.now)
        told = await self._site.do(command)
        return JSONResponse({**told, "until": as_rfc3339(command.until) if body.minutes else None})

    async def work(self, request: Request, given: dict[str, str]) -> Response:
        vessel, now = self._vessel(request), self._site.now
        try:
            minutes = _typed(given.get("minutes", ""))
            command = WorkBody(minutes=minutes).command(vessel, now)
            await self._site.do(command)
        except Trouble as trouble:
            return self._site.back(request, trouble.detail, "refused")
        zone = ZoneInfo(self._site.desk.bench()["timezone"])
        return self._site.back(request, words.work_noted(vessel, words.clock(command.until, zone) if minutes else ""))

    def _vessel(self, request: Request) -> str:
        return str(find_vessel(self._site.desk.bench(), request.path_params["vessel"])["id"])


def _typed(text: str) -> float:
    """Minutes as a form sends them. Raises Trouble."""
    try:
        return WorkBody.model_validate_strings({"minutes": text.strip() or str(USUAL_WORK)}).minutes
    except ValidationError as problem:
        told = problem.errors(include_url=False, include_input=False)[0]["msg"].removeprefix("Value error, ")
        raise invalid(f"Working on it: {told}") from None
