"""The page of a batch: its whole story, and what is seen in it or thrown away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from starlette.routing import Route

from monitor.core.log import Discard, Lapse, Seen, Sight
from monitor.web import words
from monitor.web.batch_gather import all_lives, known_of
from monitor.web.batch_view import StoryView, make_story_view, state_of_open
from monitor.web.given import Fields, field_share, invalid, way_back, way_on
from monitor.web.harvest_form import harvest_form
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.lives import Life
    from monitor.store.record import Record
    from monitor.web.desk import Command
    from monitor.web.site import Site

REASONS: Final = (*words.REASONS, "too cold", "too old", "spilt")
"""Why a batch is thrown away: those of the bench, and some more; what else there is a keeper writes."""
_NOT_YET: Final = "Its story begins as soon as its start is saved: within a minute."


class BatchPages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/batches/{batch:path}", look(self.story)),
            Route("/batches/{batch:path}/seen", form(self.seen), methods=["POST"]),
            Route("/batches/{batch:path}/discard", form(self.discard), methods=["POST"]),
        ]

    async def story(self, request: Request) -> Response:
        return await self.page(request, {}, "")

    async def seen(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            if given.get("what") not in set(Sight):
                raise invalid("Say what you see: none, first, some or most.")
            command = Seen(self._site.when(given), now, batch, Sight(given["what"]), field_share(given))
        except Trouble as trouble:
            return await self.page(request, given, trouble.detail, trouble.status)
        return await self.tap(request, command, f"Noted for {batch}: {words.SIGHTS[command.what]}.", given)

    async def discard(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            command = Discard(self._site.when(given), now, batch, _reason(given))
        except Trouble as trouble:
            return await self.page(request, given, trouble.detail, trouble.status)
        return await self.tap(request, command, f"Noted: {batch} is thrown away.", given)

    async def tap(self, request: Request, command: Command, noted: str, given: Fields) -> Response:
        """Do it and go back to where the keeper came from; a refusal is told where the form is."""
        try:
            await self._site.do(command)
        except Trouble as trouble:
            if given.get("page") == "batch":
                return await self.page(request, given, trouble.detail, trouble.status)
            return self._site.back(request, trouble.detail, "refused")
        return self._site.back(request, noted, to=way_back(request))

    async def page(self, request: Request, given: Fields, problem: str, status: int = 200) -> Response:
        """The story with its forms as they were filled in.

        Raises Trouble for a batch that neither bench nor record knows, with ``problem`` where there is one. A record that
        can't be read keeps nobody from noting something about a batch of the bench.
        """
        name = request.path_params["batch"]
        bench = self._site.desk.bench()
        held = next((one["batch"] for one in bench["vessels"] if one["batch"] and one["batch"]["id"] == name), None)
        story, told, notable = None, "", held is not None
        try:
            found = await self._site.look_up(lambda record: _look(record, bench, name))
        except Trouble as trouble:
            if held is None:
                raise (Trouble(status, problem) if problem else trouble) from None
            told = trouble.detail
        else:
            if isinstance(found, str):
                if held is None:
                    raise Trouble(status, problem) if problem else Trouble(404, found)
                told = _NOT_YET
            else:
                story, life = found
                notable = notable or life.end is None or isinstance(life.end, Lapse)
        state = "" if held is None else state_of_open(held, bench["now_ms"], bench["timezone"])
        empty = {"what": "", "fraction": "", "nauplii": "", "why": "", "reason": "", "when": "now"}
        values = {
            "batch": name,
            "problem": problem,
            "state": state if story is None else story.state,
            "story": story,
            "told": told,
            "notable": notable,
            "why_thrown": REASONS,
            "given": {**empty, **given},
            "harvest": harvest_form(request, given),
            "way": way_on(request),
        }
        return self._site.page(request, "batch.html", status, **values)


def _look(record: Record, bench: dict[str, Any], name: str) -> tuple[StoryView, Life] | str:
    """What the record has of a batch, or what it has instead of it, in words."""
    known = known_of(record, bench, name)
    lives = all_lives(record)
    if known is None:
        newest = ", ".join(life.id for life in reversed(lives[-5:]))
        instead = f"The newest are {newest}." if newest else "No batch has been started yet."
        return f'There is no batch "{name[:64]}" on record. {instead}'
    start = known.life.start
    before = [life.id for life in lives if life.start.lot == start.lot and life.start.time < start.time]
    return make_story_view(known, bench, before[-1] if before else ""), known.life


def _reason(given: Fields) -> str:
    """The one chosen and what was written beside it."""
    chosen = given.get("why", "").strip()
    parts = [chosen if chosen in REASONS else "", given.get("reason", "").strip()]
    return ": ".join(part for part in parts if part)[:200]
