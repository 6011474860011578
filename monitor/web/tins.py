"""Tins of cysts on the page and in the API: what is in them, what they have taught, what they cost."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote
from zoneinfo import ZoneInfo

from starlette.responses import JSONResponse
from starlette.routing import Route

from monitor.core.log import Start, subject_of
from monitor.core.log_food import Weighed
from monitor.settings import strains
from monitor.web import food_typed as typed
from monitor.web import words
from monitor.web.asked import Query
from monitor.web.bodies import read_body
from monitor.web.conditional import Content
from monitor.web.flash import flash_of
from monitor.web.food_bodies import TinBody, WeighedBody, bought_when, tin_entry
from monitor.web.food_typed import Place
from monitor.web.given import field, invalid
from monitor.web.ledger_fields import TIN, changed, shown
from monitor.web.ledger_lines import lines_of
from monitor.web.ledger_view import days_of
from monitor.web.problems import Trouble
from monitor.web.rights import Scope
from monitor.web.tins_view import find_tin, known_tin, tin_view, tins_of
from monitor.web.when import NotAnInstant, rfc3339

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.log_food import Tin
    from monitor.web.given import Fields
    from monitor.web.ledger_lines import Line
    from monitor.web.ledger_view import DayView
    from monitor.web.site import Site

STORY: Final = 20
"""Of its newest entries on the page of a tin; the ledger has all."""


class Tins:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/tins", look(self.all_tins)),
            Route("/tins", form(self.add), methods=["POST"]),
            Route("/tins/{lot:path}/weighed", form(self.weighed), methods=["POST"]),
            Route("/tins/{lot:path}/opened", form(self.opened), methods=["POST"]),
            Route("/tins/{lot:path}", look(self.tin)),
            Route("/tins/{lot:path}", form(self.change), methods=["POST"]),
        ]

    def api(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/tins", guard(self.api_tins)),
            Route("/tins/{lot:path}/weighed", guard(self.api_weighed, Scope.LOG), methods=["POST"]),
            Route("/tins/{lot:path}", guard(self.api_tin, Scope.LOG), methods=["POST"]),
        ]

    # --- for programs

    async def api_tins(self, request: Request) -> Response:
        Query(request)
        bench = self._site.desk.bench()
        return Content.of({"now": bench["now"], "tins": tins_of(bench)}).answer(request)

    async def api_tin(self, request: Request) -> Response:
        """A new name is a new tin."""
        lot = _name(request.path_params["lot"])
        body = read_body(TinBody, await request.body())
        command = body.command(lot, find_tin(self._site.desk.bench(), lot), self._site.now)
        return JSONResponse(await self._site.do(command))

    async def api_weighed(self, request: Request) -> Response:
        body = read_body(WeighedBody, await request.body())
        return JSONResponse(await self._site.do(body.command(request.path_params["lot"], self._site.now)))

    # --- for people

    async def all_tins(self, request: Request) -> Response:
        return self._all(request, {}, "")

    async def add(self, request: Request, given: Fields) -> Response:
        try:
            lot = _name(given.get("lot", "").strip())
            if find_tin(self._site.desk.bench(), lot) is not None:
                raise invalid(f"{lot} is known already: open its page to change what is said of it.")
            await self._site.do(self._typed(lot, given))
        except Trouble as trouble:
            return self._all(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {lot} is a new tin.", to=_page_of(lot))

    async def tin(self, request: Request) -> Response:
        return await self._tin(request, {}, "")

    async def change(self, request: Request, given: Fields) -> Response:
        lot = self._known(request)["id"]
        try:
            await self._site.do(self._typed(lot, given))
        except Trouble as trouble:
            return await self._tin(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted what is told of {lot}.", to=_page_of(lot))

    async def weighed(self, request: Request, given: Fields) -> Response:
        lot, now = self._known(request)["id"], self._site.now
        try:
            grams = field("Left in it", given.get("left", "").strip(), typed.left)
            await self._site.do(Weighed(time=self._site.when(given), logged=now, lot=lot, grams=grams))
        except Trouble as trouble:
            return await self._tin(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {words.number(grams, 2)} g are left in {lot}.", to=_page_of(lot))

    async def opened(self, request: Request, given: Fields) -> Response:
        tin, now = self._known(request), self._site.now
        try:
            entry = tin_entry(tin["id"], tin, {}, now)
            await self._site.do(replace(entry, opened=max(self._site.when(given), entry.time)))
        except Trouble as trouble:
            return await self._tin(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {tin['id']} is open.", to=_page_of(tin["id"]))

    # --- helpers

    def _place(self) -> Place:
        bench = self._site.desk.bench()
        return Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))

    def _known(self, request: Request) -> Mapping[str, Any]:
        return known_tin(self._site.desk.bench(), request.path_params["lot"])

    def _typed(self, lot: str, given: Fields) -> Tin:
        """What was typed otherwise than it was shown. Raises Trouble."""
        place, known = self._place(), find_tin(self._site.desk.bench(), lot)
        changes = changed(TIN, _shown(known, place), given, place)
        if known is not None and not changes:
            raise invalid("Nothing is other than before. Change what was wrong.")
        try:
            return tin_entry(lot, known, changes, place.now)
        except NotAnInstant as problem:
            raise invalid(str(problem)) from problem

    def _all(self, request: Request, given: Fields, problem: str, status: int = 200) -> Response:
        place = self._place()
        return self._site.page(
            request,
            "tins.html",
            status,
            flash=flash_of(request),
            problem=problem,
            tins=[tin_view(tin, place) for tin in tins_of(self._site.desk.bench())],
            fields=TIN,
            given={"lot": "", **_shown(None, place), **given},
        )

    async def _tin(self, request: Request, given: Fields, problem: str, status: int = 200) -> Response:
        tin, place = self._known(request), self._place()
        days, told = await self._story(tin["id"], place)
        return self._site.page(
            request,
            "tin.html",
            status,
            flash=flash_of(request),
            problem=problem,
            tin=tin_view(tin, place),
            opened=tin["opened"] is not None,
            days=days,
            unread=told,
            fields=TIN,
            given={"left": "", "when": "now", **_shown(tin, place), **given},
        )

    async def _story(self, lot: str, place: Place) -> tuple[list[DayView], str]:
        """What the ledger says of it; a page without its story is better than none."""
        try:
            found = await self._site.look_up(lambda record: _about(lines_of(record.entries()), lot))
        except Trouble as trouble:
            return [], trouble.detail
        return days_of(found, place, self._site.desk.bench()["timezone"]), ""


def _about(lines: list[Line], lot: str) -> list[Line]:
    some = [line for line in lines if not line.undone and lot in (_lot(line), subject_of(line.original))]
    return some[:STORY]


def _lot(line: Line) -> str:
    return line.now.lot if isinstance(line.now, Start) else ""


def _shown(tin: Mapping[str, Any] | None, place: Place) -> dict[str, str]:
    """The form's texts: as log and configuration have it together, or of a new tin."""
    values: dict[str, Any] = dict(tin or {"kept": "room"})
    told = (tin or {}).get("told") or {}
    values["strain"] = strains.full_name(values.get("strain") or "")
    values["time"] = bought_when(tin, place.now)
    values["opened"] = rfc3339(told["opened"]) if told.get("opened") else None
    configured = (tin or {}).get("configured") or {}
    for name in ("cysts_per_g", "length_um"):  # beside these the document says what is usual of the strain
        values[name] = told.get(name) if told.get(name) is not None else configured.get(name)
    return shown(TIN, values, place)


def _name(text: str) -> str:
    """Raises Trouble for what is no name of a tin."""
    if not text or len(text) > 64 or not text.isprintable() or "/" in text:
        raise invalid("Name: give the tin a short name without a slash, up to 64 letters, and write it on the tin.")
    return text


def _page_of(lot: str) -> str:
    return f"/tins/{quote(lot, safe='')}"
