"""Starting a batch, and letting a vessel settle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from starlette.routing import Route

from monitor.core.log import Settle, Start
from monitor.core.model import MINUTE
from monitor.settings.units import Kind
from monitor.web import words
from monitor.web.bench_vessel import start_again
from monitor.web.bodies import USUAL_SALINITY, find_vessel, usual_lot
from monitor.web.given import Fields, field_amount, invalid, way_back
from monitor.web.problems import Trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.model import Ms
    from monitor.web.site import Site


class Starting:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/vessels/{vessel}/start", look(self.start_form, Scope.LOG)),
            Route("/vessels/{vessel}/start", form(self.start), methods=["POST"]),
            Route("/vessels/{vessel}/settling", form(self.settling), methods=["POST"]),
        ]

    async def start_form(self, request: Request) -> Response:
        vessel = find_vessel(self._site.desk.bench(), request.path_params["vessel"])
        return self._start_page(request, {}, "", vessel["id"])

    async def start(self, request: Request, given: Fields) -> Response:
        bench = self._site.desk.bench()
        vessel = find_vessel(bench, request.path_params["vessel"])
        try:
            command = self._start_command(bench, vessel, given)
            await self._site.do(command)
        except Trouble as trouble:
            return self._start_page(request, given, trouble.detail, vessel["id"], trouble.status)
        return self._site.back(
            request,
            f"Noted: a batch in {vessel['id']}, {words.number(command.cysts_g, 2)} g of cysts.",
            to=way_back(request),
        )

    async def settling(self, request: Request, _given: Fields) -> Response:
        bench = self._site.desk.bench()
        vessel = find_vessel(bench, request.path_params["vessel"])
        now: Ms = bench["now_ms"]
        until = now + round(vessel["settling_minutes"] * MINUTE)
        told = words.clock(until, ZoneInfo(bench["timezone"]))
        try:
            await self._site.do(Settle(now, now, vessel["id"], until))
        except Trouble as trouble:
            return self._site.back(request, trouble.detail, "refused")
        return self._site.back(request, f"Noted: {vessel['id']} settles until {told}.")

    def _start_command(self, bench: dict[str, Any], vessel: Mapping[str, Any], given: Fields) -> Start:
        lot = given.get("lot", "").strip()[:64]
        if not lot:
            raise invalid("Say which tin the cysts come from.")
        litres = given.get("litres", "").strip()
        salinity = given.get("salinity", "").strip()
        return Start(
            time=self._site.when(given),
            logged=bench["now_ms"],
            batch="",
            vessel=vessel["id"],
            lot=lot,
            cysts_g=field_amount("Cysts", given.get("cysts", ""), Kind.MASS),
            litres=field_amount("Water", litres, Kind.VOLUME) if litres else float(vessel["litres"]),
            salinity_g_l=field_amount("Salt", salinity, Kind.SALINITY) if salinity else USUAL_SALINITY,
        )

    def _start_page(self, request: Request, given: Fields, problem: str, vessel: str, status: int = 200) -> Response:
        bench = self._site.desk.bench()
        place = find_vessel(bench, vessel)
        usual = {
            "cysts": "",
            "lot": usual_lot(bench) or "",
            "litres": f"{place['litres']:g} L",
            "salinity": f"{USUAL_SALINITY:g} g/L",
            "when": "now",
        }
        again = start_again(place)
        if again is not None:
            usual |= {name: getattr(again, name) for name in ("cysts", "lot", "litres", "salinity")}
        return self._site.page(
            request,
            "start.html",
            status,
            vessel=vessel,
            problem=problem,
            given={**usual, **given},
            lots=bench.get("lots") or [],
        )
