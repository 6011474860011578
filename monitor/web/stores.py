"""Cold stores on the page and in the API: what goes in, and that one is empty."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import Field
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.log import Chill, Emptied, Gas
from monitor.core.log_food import Drawn
from monitor.settings.units import Kind
from monitor.web import words
from monitor.web.bodies import Body, Name, read_body
from monitor.web.food_bodies import DrawnBody
from monitor.web.food_typed import some
from monitor.web.given import field, field_amount, field_count, invalid
from monitor.web.problems import Trouble
from monitor.web.rights import Scope
from monitor.web.store_view import KEPT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.core.model import Ms
    from monitor.web.site import Site

_WAYS: Final[dict[str, tuple[Gas, bool]]] = {
    "aerated": ("open", True),
    "still": ("open", False),
    "air": ("air", False),
    "oxygen": ("oxygen", False),
}
"""What can be said of how they are kept: gas, and whether it is aerated."""


class ChillBody(Body):
    """How much is too much, and what cannot be mixed, is for the core to say."""

    nauplii: Annotated[float, Field(gt=0, le=1e9)]
    litres: Annotated[float, Field(gt=0, le=1000)]
    gas: Gas = "open"
    gas_l: Annotated[float, Field(ge=0, le=1000)] = 0.0
    aerated: bool | None = None
    batch: Name | None = None

    def command(self, store: Mapping[str, Any], now: Ms) -> Chill:
        """What is open is taken for aerated where the store has a probe of its aeration, unless it is told."""
        aerated = self.aerated if self.aerated is not None else self.gas == "open" and bool(store["air_probe"])
        return Chill(
            time=self.when(now),
            logged=now,
            store=store["id"],
            nauplii=self.nauplii,
            litres=self.litres,
            gas=self.gas,
            gas_l=self.gas_l,
            aerated=aerated,
            batch=self.batch or "",
        )


class EmptiedBody(Body):
    def command(self, store: Mapping[str, Any], now: Ms) -> Emptied:
        return Emptied(self.when(now), now, store["id"])


def find_store(bench: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """Raises Trouble naming the stores there are."""
    stores = bench.get("stores") or []
    for store in stores:
        if store["id"] == name:
            found: Mapping[str, Any] = store
            return found
    known = ", ".join(store["id"] for store in stores) or "none; a [[cold_store]] in the configuration makes one"
    raise Trouble(404, f'There is no store "{name[:64]}"; there are: {known}.')


class Stores:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/stores/{store}", look(self.page, Scope.LOG)),
            Route("/stores/{store}/chill", form(self.chill), methods=["POST"]),
            Route("/stores/{store}/emptied", form(self.emptied), methods=["POST"]),
            Route("/stores/{store}/drawn", form(self.drawn), methods=["POST"]),
        ]

    def api(self) -> list[Route]:
        guard = self._site.api
        return [
            Route("/stores/{store}/chill", guard(self.api_chill, Scope.LOG), methods=["POST"]),
            Route("/stores/{store}/emptied", guard(self.api_emptied, Scope.LOG), methods=["POST"]),
            Route("/stores/{store}/drawn", guard(self.api_drawn, Scope.LOG), methods=["POST"]),
        ]

    # --- for programs

    async def api_chill(self, request: Request) -> Response:
        body = read_body(ChillBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._store(request), self._site.now)))

    async def api_emptied(self, request: Request) -> Response:
        body = read_body(EmptiedBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._store(request), self._site.now)))

    async def api_drawn(self, request: Request) -> Response:
        body = read_body(DrawnBody, await request.body())
        return JSONResponse(await self._site.do(body.command(self._store(request)["id"], self._site.now)))

    # --- for people

    async def page(self, request: Request) -> Response:
        return self._page(request, {}, "")

    async def chill(self, request: Request, given: dict[str, str]) -> Response:
        store = self._store(request)
        try:
            command = self._chilled(store, given)
            await self._site.do(command)
        except Trouble as trouble:
            return self._page(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {words.whole(command.nauplii)} nauplii went into {store['id']}.")

    async def emptied(self, request: Request, given: dict[str, str]) -> Response:
        store = self._store(request)
        try:
            await self._site.do(Emptied(self._site.when(given), self._site.now, store["id"]))
        except Trouble as trouble:
            return self._page(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {store['id']} is empty.")

    async def drawn(self, request: Request, given: dict[str, str]) -> Response:
        """``taken``: apart from what goes in, as both forms are on one page."""
        store = self._store(request)
        try:
            nauplii = field("Taken out", given.get("taken", "").strip(), some)
            why = given.get("why", "").strip()[:200]
            await self._site.do(
                Drawn(time=self._site.when(given), logged=self._site.now, store=store["id"], nauplii=nauplii, why=why)
            )
        except Trouble as trouble:
            return self._page(request, given, trouble.detail, trouble.status)
        return self._site.back(request, f"Noted: {words.whole(nauplii)} nauplii were taken out of {store['id']}.")

    # --- helpers

    def _store(self, request: Request) -> Mapping[str, Any]:
        return find_store(self._site.desk.bench(), request.path_params["store"])

    def _chilled(self, store: Mapping[str, Any], given: dict[str, str]) -> Chill:
        way = _WAYS.get(given.get("kept", ""))
        if way is None:
            raise invalid("Say how they are kept: aerated, still, or closed over air or oxygen.")
        nauplii = field_count(given)
        if nauplii is None:
            raise invalid("Say how many young brine shrimp; a guess is better than none.")
        gas, aerated = way
        text = given.get("gas_l", "").strip()
        if text and gas == "open":
            raise invalid("Gas: an open vessel has none; leave it empty, or say that it is closed.")
        return Chill(
            time=self._site.when(given),
            logged=self._site.now,
            store=store["id"],
            nauplii=nauplii,
            litres=field_amount("Water", given.get("litres", ""), Kind.VOLUME),
            gas=gas,
            gas_l=field_amount("Gas", text, Kind.VOLUME) if text else 0.0,
            aerated=aerated,
            batch=given.get("batch", "").strip()[:64],
        )

    def _page(self, request: Request, given: dict[str, str], problem: str, status: int = 200) -> Response:
        store = self._store(request)
        usual = {"nauplii": "", "litres": "", "gas_l": "", "batch": "", "when": "now", "taken": "", "why": ""}
        usual["kept"] = "aerated" if store["air_probe"] else "still"
        return self._site.page(
            request,
            "store.html",
            status,
            store=store["id"],
            holds=store["content"] is not None,
            problem=problem,
            ways=KEPT,
            given={**usual, **given},
        )
