"""Feedings: one meal of several broods on the page, and for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

from starlette.responses import JSONResponse
from starlette.routing import Route

from monitor.core.log_food import Fed
from monitor.core.undo import standing_of
from monitor.web import words
from monitor.web.asked import Query
from monitor.web.bodies import read_body
from monitor.web.feeding_view import guests, sources
from monitor.web.food_bodies import FeedingsBody
from monitor.web.food_typed import Place, past_instant, some
from monitor.web.given import field, invalid, way_back
from monitor.web.problems import REFUSED, Trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.feeding_view import Guest
    from monitor.web.given import Fields
    from monitor.web.site import Site


ROWS: Final = 15
"""So many are asked for at most, as a form takes 40 fields; others are typed as somebody else."""


class Feeding:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [
            Route("/feed", self._site.open_page(self.page, Scope.LOG)),
            Route("/feed", self._site.form(self.feed), methods=["POST"]),
        ]

    def api(self) -> list[Route]:
        return [Route("/feedings", self._site.api(self.api_feed, Scope.LOG), methods=["POST"])]

    async def api_feed(self, request: Request) -> Response:
        commands = read_body(FeedingsBody, await request.body()).commands(self._site.now)
        return JSONResponse({"done": await self._do(commands)}, 201)

    async def page(self, request: Request) -> Response:
        """``brood``: only this one eats; ``source``: from there; ``back``: to which page it leads back."""
        query = Query(request, "brood", "source", "back")
        given = {} if query.text("source") is None else {"source": query.text("source") or ""}
        return await self._page(request, given, "", only=query.text("brood") or "")

    async def feed(self, request: Request, given: Fields) -> Response:
        try:
            commands = self._typed(given)
            await self._do(commands)
        except Trouble as trouble:
            return await self._page(request, given, trouble.detail, trouble.status)
        meals = " and ".join(f"{words.whole(one.nauplii)} to {one.brood or 'nobody in particular'}" for one in commands)
        return self._site.back(request, f"Noted: {meals}.", to=way_back(request))

    # --- helpers

    async def _do(self, commands: Sequence[Fed]) -> list[dict[str, Any]]:
        """Raises Trouble; where several are fed, it says which were noted before."""
        self._enough(commands)
        done: list[dict[str, Any]] = []
        for command in commands:
            try:
                done.append(await self._site.do(command))
            except Trouble as trouble:
                if done:
                    noted = ", ".join(one.brood or "nobody in particular" for one in commands[: len(done)])
                    told = f"Noted for {noted}; then, for {command.brood or 'nobody in particular'}: {trouble.detail}"
                    raise Trouble(trouble.status, told, trouble.kind, headers=trouble.headers) from trouble
                raise
        return done

    def _enough(self, commands: Sequence[Fed]) -> None:
        """All of a meal or nothing: raises Trouble where it takes more out of a store than that holds."""
        for store in self._site.desk.bench().get("stores") or []:
            taken = sum(one.nauplii for one in commands if one.store == store["id"])
            held = 0.0 if store["content"] is None else float(store["content"]["nauplii"])
            if taken > held and len(commands) > 1:
                raise Trouble(
                    409,
                    f"{store['id']} holds about {words.whole(held)}, and that is {words.whole(taken)} in all. Nothing was "
                    "noted: feed less, take the rest from elsewhere, or say first what went in.",
                    REFUSED,
                )

    def _place(self) -> Place:
        bench = self._site.desk.bench()
        return Place(int(bench["now_ms"]), ZoneInfo(bench["timezone"]))

    def _typed(self, given: Fields) -> list[Fed]:
        place, source = self._place(), given.get("source", "")
        kind, _, name = source.partition(":")
        when = field("When", given.get("when", "").strip(), lambda text: past_instant(text, place))
        rows = [
            (given[f"who-{n}"].strip(), given.get(f"nauplii-{n}", "").strip())
            for n in range(ROWS + 2)
            if f"who-{n}" in given
        ]
        fed = [
            (who, field(who or "Young brine shrimp", number, some))
            for who, number in rows
            if number.replace(" ", "") not in ("", "0")
        ]
        if not fed:
            raise invalid("Say how many were fed, beside at least one name; a guess is better than none.")
        if any(not who for who, _ in fed) and not name:
            raise invalid("Say who was fed, or where they came from.")
        return [
            Fed(
                time=when,
                logged=place.now + n,  # an entry is named by what it is about and when it was logged
                brood=who[:64],
                nauplii=number,
                store=name if kind == "store" else "",
                batch=name if kind == "batch" else "",
            )
            for n, (who, number) in enumerate(fed)
        ]

    async def _page(
        self, request: Request, given: Fields, problem: str, status: int = 200, *, only: str = ""
    ) -> Response:
        place, bench = self._place(), self._site.desk.bench()
        rows = await self._guests(place)
        if only and only not in [one.id for one in rows]:
            rows = [*rows, *guests({"eaters": [{"id": only}]}, [], place)]
        typed = [
            (
                one,
                given.get(f"nauplii-{n}", one.need if only in ("", one.id) else ""),
            )
            for n, one in enumerate(rows)
        ]
        from_where = sources(bench, place)
        return self._site.page(
            request,
            "feed.html",
            status,
            problem=problem,
            rows=typed,
            other=(given.get(f"who-{len(rows)}", ""), given.get(f"nauplii-{len(rows)}", "")),
            sources=from_where,
            given={"source": next(iter(from_where)), "when": "now", **given},
        )

    async def _guests(self, place: Place) -> list[Guest]:
        """Without the log those of the food document are known."""
        try:
            entries = await self._site.look_up(lambda record: standing_of(one.entry for one in record.entries()))
        except Trouble:
            entries = []
        return guests(self._site.desk.food(), entries, place)[:ROWS]
