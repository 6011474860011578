"""Broods on the page and in the API: told, counted, seen to swim, ended; and others that eat every day."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final, get_args

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.log_food import BroodEnded, Counted, Eater, Ending
from monitor.core.wording import whole
from monitor.settings.fish import fish
from monitor.web.bodies import read_body
from monitor.web.brood_bodies import (
    BroodBody,
    BroodEndedBody,
    CountedBody,
    EaterBody,
    SwamUpBody,
    find_brood,
    told_again,
)
from monitor.web.brood_form import ENDINGS, day_of_form, given_of, number, own_name, read_brood
from monitor.web.brood_view import make_brood, make_broods
from monitor.web.given import invalid
from monitor.web.problems import Trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.web.site import Site

SHOWN: Final = ("broods", "ended", "eaters", "tanks")


class Broods:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/broods", look(self.page)),
            Route("/broods/new", look(self.new, Scope.LOG)),
            Route("/broods/new", form(self.add), methods=["POST"]),
            Route("/broods/eaters", form(self.eater), methods=["POST"]),
            Route("/broods/{brood}", look(self.one)),
            Route("/broods/{brood}/tell", form(self.tell), methods=["POST"]),
            Route("/broods/{brood}/counted", form(self.counted), methods=["POST"]),
            Route("/broods/{brood}/swam-up", form(self.swam_up), methods=["POST"]),
            Route("/broods/{brood}/ended", form(self.ended), methods=["POST"]),
        ]

    def api(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/broods", guard(self.api_broods)),
            Route("/broods", guard(self.api_add, Scope.LOG), methods=["POST"]),
            Route("/broods/{brood}/counted", guard(self.api_counted, Scope.LOG), methods=["POST"]),
            Route("/broods/{brood}/swam-up", guard(self.api_swam_up, Scope.LOG), methods=["POST"]),
            Route("/broods/{brood}/ended", guard(self.api_ended, Scope.LOG), methods=["POST"]),
            Route("/eaters", guard(self.api_eater, Scope.LOG), methods=["POST"]),
            Route("/fish", guard(self.api_fish)),
        ]

    # --- for programs

    async def api_broods(self, _request: Request) -> Response:
        bench = self._site.desk.bench()
        return JSONResponse({name: bench.get(name) or [] for name in SHOWN})

    async def api_fish(self, _request: Request) -> Response:
        return JSONResponse({"fish": [one.model_dump(mode="json") for one in fish().values()]})

    async def api_add(self, request: Request) -> Response:
        body = read_body(BroodBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._site.now)))

    async def api_counted(self, request: Request) -> Response:
        body = read_body(CountedBody, await request.body())
        return JSONResponse(await self._site.do(body.command(request.path_params["brood"], self._site.now)))

    async def api_swam_up(self, request: Request) -> Response:
        now = self._site.now
        when = read_body(SwamUpBody, await request.body()).when(now)
        return JSONResponse(await self._site.do(told_again(self._brood(request), now, swam_up=when)))

    async def api_ended(self, request: Request) -> Response:
        body = read_body(BroodEndedBody, await request.body())
        return JSONResponse(await self._site.do(body.command(request.path_params["brood"], self._site.now)))

    async def api_eater(self, request: Request) -> Response:
        body = read_body(EaterBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._site.now)))

    # --- for people

    async def page(self, request: Request) -> Response:
        return self._list(request, {}, "")

    async def new(self, request: Request) -> Response:
        return self._form(request, {"fish": request.query_params.get("fish", "")[:40]}, "")

    async def add(self, request: Request, given: dict[str, str]) -> Response:
        try:
            entry = read_brood(given, self._site.desk.bench(), None)
            if any(one["id"] == entry.brood for one in self._site.desk.bench().get("broods") or []):
                raise invalid(
                    f"There is already a brood {entry.brood}. Give this one another name, or change that one."
                )
            await self._site.do(entry)
        except Trouble as trouble:
            return self._form(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: brood {entry.brood}.", to="/broods")

    async def one(self, request: Request) -> Response:
        return self._one(request, {}, "")

    async def tell(self, request: Request, given: dict[str, str]) -> Response:
        brood = self._brood(request)
        try:
            await self._site.do(read_brood({**given, "brood": brood["id"]}, self._site.desk.bench(), brood))
        except Trouble as trouble:
            return self._one(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {brood['id']} as you told it now.", to="/broods")

    async def counted(self, request: Request, given: dict[str, str]) -> Response:
        brood = self._brood(request)
        try:
            larvae = number("Larvae", given.get("count", ""))
            if larvae is None:
                raise invalid("Say how many larvae you counted.")
            when = self._site.when(given)
            await self._site.do(Counted(time=when, logged=self._site.now, brood=brood["id"], larvae=larvae))
        except Trouble as trouble:
            return self._one(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {whole(larvae)} larvae in {brood['id']}.", to="/broods")

    async def swam_up(self, request: Request, given: dict[str, str]) -> Response:
        brood = self._brood(request)
        try:
            when = day_of_form("Swam up", given.get("swam_up", ""), self._site.desk.bench(), brood["swam_up"])
            await self._site.do(told_again(brood, self._site.now, swam_up=when))
        except Trouble as trouble:
            return self._one(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {brood['id']} swims.", to="/broods")

    async def ended(self, request: Request, given: dict[str, str]) -> Response:
        brood = self._brood(request)
        how: Ending | None = next((one for one in get_args(Ending) if one == given.get("how")), None)
        try:
            if how is None:
                raise invalid("Say what became of them.")
            when = self._site.when(given)
            await self._site.do(BroodEnded(time=when, logged=self._site.now, brood=brood["id"], how=how))
        except Trouble as trouble:
            return self._one(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {brood['id']} needs no young brine shrimp any more.", to="/broods")

    async def eater(self, request: Request, given: dict[str, str]) -> Response:
        try:
            entry = self._eater(given)
            await self._site.do(entry)
        except Trouble as trouble:
            return self._list(request, given, trouble.detail, trouble.status)
        told = f"{whole(entry.nauplii_per_day)} a day" if entry.nauplii_per_day else "nothing any more"
        return self._site.back(request, f"Noted: {entry.eater} get {told}.", to="/broods")

    # --- helpers

    def _brood(self, request: Request) -> Mapping[str, Any]:
        return find_brood(self._site.desk.bench(), request.path_params["brood"])

    def _eater(self, given: dict[str, str]) -> Eater:
        now = self._site.now
        nauplii = number("Young brine shrimp a day", given.get("nauplii", ""))
        if nauplii is None:
            raise invalid("Say how many young brine shrimp they get in a day; 0 ends it.")
        meals = number("Meals", given.get("meals", ""))
        return Eater(
            time=now,
            logged=now,
            eater=own_name("Eater", given.get("eater", "")),
            nauplii_per_day=nauplii,
            meals=None if meals is None else round(meals),
            largest_um=number("Longest they take", given.get("largest_um", "")),
        )

    def _list(self, request: Request, given: dict[str, str], problem: str, status: int = 200) -> Response:
        view = make_broods(self._site.desk.bench())
        usual = {"eater": "", "nauplii": "", "meals": "", "largest_um": ""}
        flash = request.session.pop("flash", None)
        return self._site.page(
            request, "broods.html", status, view=view, given={**usual, **given}, problem=problem, flash=flash
        )

    def _form(self, request: Request, given: dict[str, str], problem: str, status: int = 200) -> Response:
        bench = self._site.desk.bench()
        return self._site.page(
            request,
            "brood_new.html",
            status,
            given={**given_of(bench, None), **given},
            tanks=bench.get("tanks") or [],
            fish=list(fish().values()),
            problem=problem,
        )

    def _one(self, request: Request, given: dict[str, str], problem: str, status: int = 200) -> Response:
        bench, brood = self._site.desk.bench(), self._brood(request)
        return self._site.page(
            request,
            "brood.html",
            status,
            view=make_brood(bench, brood),
            given={**given_of(bench, brood), **given},
            tanks=bench.get("tanks") or [],
            fish=list(fish().values()),
            endings=ENDINGS,
            problem=problem,
        )
