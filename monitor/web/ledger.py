"""The ledger: what amounts rest on, newest first, and the way to put an entry right. On the page and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from starlette.responses import JSONResponse
from starlette.routing import Route

from monitor.core.light import light
from monitor.core.log_food import Correct
from monitor.web import ledger_lines as book
from monitor.web.asked import Query, fault
from monitor.web.bodies import read_body
from monitor.web.conditional import Content
from monitor.web.flash import flash_of
from monitor.web.food_bodies import CorrectBody
from monitor.web.food_typed import Place
from monitor.web.given import invalid
from monitor.web.ledger_fields import FIELDS, changed, entry_shown
from monitor.web.ledger_view import address_of, days_of
from monitor.web.ledger_words import KINDS, sentence
from monitor.web.problems import Trouble
from monitor.web.rights import Scope
from monitor.web.when import NotAnInstant, rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.model import Ms
    from monitor.web.given import Fields
    from monitor.web.ledger_lines import Line
    from monitor.web.site import Site

PAGE: Final = 50
_MOST_PAGES: Final = 100_000


@light
class _Asked:
    kind: str
    since: Ms
    page: int

    def of(self, lines: list[Line]) -> tuple[list[Line], bool]:
        """Those of this page, and whether there are more."""
        fits = [line for line in lines if self.kind in ("", line.key[0]) and line.now.time >= self.since]
        return fits[(self.page - 1) * PAGE : self.page * PAGE], len(fits) > self.page * PAGE

    def address(self, page: int) -> str:
        asked = {"kind": self.kind, "page": str(page) if page > 1 else ""}
        query = urlencode({name: value for name, value in asked.items() if value})
        return f"/ledger?{query}" if query else "/ledger"


class Ledger:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        place = "/ledger/{kind}/{subject:path}/{at}"
        return [
            Route("/ledger", look(self.page)),
            Route(place, look(self.entry, Scope.LOG)),
            Route(place, form(self.correct), methods=["POST"]),
        ]

    def api(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/ledger", guard(self.api_ledger)),
            Route("/corrections", guard(self.api_correct, Scope.LOG), methods=["POST"]),
        ]

    # --- for programs

    async def api_ledger(self, request: Request) -> Response:
        """What was undone or taken away too; ``standing`` tells."""
        asked = _asked(Query(request, "since", "kind", "page"))
        some, more = asked.of(await self._lines())
        timezone = self._site.desk.bench()["timezone"]
        items = [book.document(line, timezone) for line in some]
        return Content.of({"items": items, "page": asked.page, "more": more}).answer(request)

    async def api_correct(self, request: Request) -> Response:
        body = read_body(CorrectBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._site.now)))

    # --- for people

    async def page(self, request: Request) -> Response:
        asked = _asked(Query(request, "kind", "page"))
        lines = [line for line in await self._lines() if not line.undone]
        some, more = asked.of(lines)
        return self._site.page(
            request,
            "ledger.html",
            flash=flash_of(request),
            days=days_of(some, self._place(), self._site.desk.bench()["timezone"]),
            kinds=KINDS,
            kind=asked.kind,
            all=len(lines),
            newer=asked.address(asked.page - 1) if asked.page > 1 else "",
            older=asked.address(asked.page + 1) if more else "",
        )

    async def entry(self, request: Request) -> Response:
        return self._form(request, await self._find(request), {}, "")

    async def correct(self, request: Request, given: Fields) -> Response:
        """``do=gone`` takes the entry away; else what is typed otherwise than it was shown is corrected."""
        line = await self._find(request)
        kind, subject, at = line.key
        try:
            values = {} if given.get("do") == "gone" else self._values(line, given)
            now = self._site.now
            await self._site.do(
                Correct(time=now, logged=now, kind=kind, subject=subject, at=at, values=values, gone=not values)
            )
        except Trouble as trouble:
            return self._form(request, line, given, trouble.detail, trouble.status)
        did = "Corrected" if values else "Taken away"
        timezone = self._site.desk.bench()["timezone"]
        return self._site.back(request, f"{did}: {sentence(line.now, timezone)}.", to="/ledger")

    # --- helpers

    async def _lines(self) -> list[Line]:
        return await self._site.look_up(lambda record: book.lines_of(record.entries()))

    async def _find(self, request: Request) -> Line:
        """Raises Trouble for what is not in the ledger, or cannot be corrected any more."""
        kind, subject = request.path_params["kind"], request.path_params["subject"]
        try:
            line = book.find(await self._lines(), kind, subject, rfc3339(request.path_params["at"]))
        except NotAnInstant:
            line = None
        if line is None or line.undone or kind not in FIELDS:
            raise Trouble(404, "There is no such entry to correct. The ledger lists all.")
        if line.gone:
            raise Trouble(409, "That entry was taken away. Undo that within ten minutes, or write it down anew.")
        return line

    def _place(self) -> Place:
        bench = self._site.desk.bench()
        return Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))

    def _values(self, line: Line, given: Fields) -> dict[str, Any]:
        place = self._place()
        values = changed(FIELDS[line.key[0]], entry_shown(line.now, place), given, place)
        if not values:
            raise invalid("Nothing is other than before. Change what was wrong, or take the entry away.")
        return values

    def _form(self, request: Request, line: Line, given: Fields, problem: str, status: int = 200) -> Response:
        place = self._place()
        return self._site.page(
            request,
            "correct.html",
            status,
            problem=problem,
            to=address_of(line),
            text=sentence(line.now, self._site.desk.bench()["timezone"]),
            kind=line.key[0],
            fields=FIELDS[line.key[0]],
            given={**entry_shown(line.now, place), **given},
        )


def _asked(query: Query) -> _Asked:
    kind = query.text("kind") or ""
    if kind and kind not in KINDS:
        raise fault("kind", f'"{kind}" is none of the ledger; allowed are {", ".join(KINDS)}')
    return _Asked(kind, query.instant("since", 0), query.whole("page", 1, _MOST_PAGES, 1))
