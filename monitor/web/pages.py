"""The pages and their forms. Every form works without a script: it is sent, and the answer is a redirect."""

from __future__ import annotations

import ipaddress
import math
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from monitor.core.log import Discard, Harvest, Seen, Settle, Sight, Start
from monitor.core.model import MINUTE, Ms
from monitor.settings.units import Kind
from monitor.web import words
from monitor.web.bodies import USUAL_SALINITY, find_vessel, usual_lot
from monitor.web.given import field_amount, field_count, field_share, invalid
from monitor.web.problems import Trouble
from monitor.web.site import csrf_token
from monitor.web.view import make_view
from monitor.web.when import NotAnInstant, parse_when

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.web.desk import Command
    from monitor.web.site import Site

Fields = dict[str, str]


class Pages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/", look(self.bench)),
            Route("/vessels/{vessel}/start", look(self.start_form)),
            Route("/vessels/{vessel}/start", form(self.start), methods=["POST"]),
            Route("/vessels/{vessel}/settling", form(self.settling), methods=["POST"]),
            Route("/batches/{batch:path}", look(self.batch_form)),
            Route("/batches/{batch:path}/seen", form(self.seen), methods=["POST"]),
            Route("/batches/{batch:path}/harvest", form(self.harvest), methods=["POST"]),
            Route("/batches/{batch:path}/discard", form(self.discard), methods=["POST"]),
            Route("/login", self.login_form),
            Route("/login", form(self.login, before_login=True), methods=["POST"]),
            Route("/logout", form(self.logout), methods=["POST"]),
        ]

    # --- looking

    async def bench(self, request: Request) -> Response:
        site = self._site
        view = make_view(site.desk.bench())
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        parts = site.render_parts(view, csrf_token(request))
        return site.page(request, "bench.html", view=view, build=site.build(view), flash=flash, parts=parts)

    async def start_form(self, request: Request) -> Response:
        vessel = find_vessel(self._site.desk.bench(), request.path_params["vessel"])
        return self._start_page(request, {}, "", vessel["id"])

    async def batch_form(self, request: Request) -> Response:
        return self._batch_page(request, {}, "")

    # --- acting

    async def start(self, request: Request, given: Fields) -> Response:
        bench = self._site.desk.bench()
        vessel = find_vessel(bench, request.path_params["vessel"])
        try:
            command = self._start_command(bench, vessel, given)
            await self._site.do(command)
        except Trouble as trouble:
            return self._start_page(request, given, trouble.detail, vessel["id"], trouble.status)
        return self._site.back(
            request, f"Noted: a batch in {vessel['id']}, {words.number(command.cysts_g, 2)} g of cysts."
        )

    async def settling(self, request: Request, _given: Fields) -> Response:
        bench = self._site.desk.bench()
        vessel = find_vessel(bench, request.path_params["vessel"])
        now: Ms = bench["now_ms"]
        until = now + round(vessel["settling_minutes"] * MINUTE)
        told = words.clock(until, ZoneInfo(bench["timezone"]))
        return await self._tap(
            request, Settle(now, now, vessel["id"], until), f"Noted: {vessel['id']} settles until {told}."
        )

    async def seen(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            if given.get("what") not in set(Sight):
                raise invalid("Say what you see: none, first, some or most.")
            command = Seen(self._when(given), now, batch, Sight(given["what"]), field_share(given))
        except Trouble as trouble:
            return self._batch_page(request, given, trouble.detail, trouble.status)
        return await self._tap(request, command, f"Noted for {batch}: {words.SIGHTS[command.what]}.", given)

    async def harvest(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            command = Harvest(self._when(given), now, batch, field_share(given), field_count(given))
        except Trouble as trouble:
            return self._batch_page(request, given, trouble.detail, trouble.status)
        return await self._tap(request, command, f"Noted: {batch} is harvested.", given)

    async def discard(self, request: Request, given: Fields) -> Response:
        batch, now = request.path_params["batch"], self._site.desk.bench()["now_ms"]
        try:
            command = Discard(self._when(given), now, batch, given.get("reason", "").strip()[:200])
        except Trouble as trouble:
            return self._batch_page(request, given, trouble.detail, trouble.status)
        return await self._tap(request, command, f"Noted: {batch} is thrown away.", given)

    # --- coming in

    async def login_form(self, request: Request) -> Response:
        if not self._site.options.login_needed or request.session.get("in"):
            return RedirectResponse("/", 303)
        return self._site.page(request, "login.html", problem="")

    async def login(self, request: Request, given: Fields) -> Response:
        site, caller = self._site, _caller(request)
        if not site.options.login_needed:
            return RedirectResponse("/", 303)
        wait = site.attempts.wait(caller)
        if wait > 0:
            told = f"Too many wrong passwords. Try again in {words.duration(math.ceil(wait) * 1000)}."
            page = site.page(request, "login.html", 429, problem=told)
            page.headers["Retry-After"] = str(math.ceil(wait))
            return page
        # Counted before it is checked, so that many at once can't get round the limit.
        site.attempts.failed(caller)
        if not await run_in_threadpool(site.gate.knows_password, given.get("password", "")[:1024]):
            return site.page(request, "login.html", 401, problem="That is not the password.")
        site.attempts.succeeded(caller)
        request.session.clear()
        request.session["in"] = True
        return RedirectResponse("/", 303)

    async def logout(self, request: Request, _given: Fields) -> Response:
        request.session.clear()
        return RedirectResponse("/login", 303)

    # --- helpers

    async def _tap(self, request: Request, command: Command, noted: str, given: Fields | None = None) -> Response:
        """Do it and go back to the bench; a refusal is told where the keeper is."""
        try:
            await self._site.do(command)
        except Trouble as trouble:
            if given is not None and given.get("page") == "batch":
                return self._batch_page(request, given, trouble.detail, trouble.status)
            return self._site.back(request, trouble.detail, "refused")
        return self._site.back(request, noted)

    def _when(self, given: Fields) -> Ms:
        bench = self._site.desk.bench()
        try:
            return parse_when(given.get("when", ""), bench["now_ms"], ZoneInfo(bench["timezone"]))
        except NotAnInstant as problem:
            raise invalid(f"When: {problem}") from problem

    def _start_command(self, bench: dict[str, Any], vessel: Mapping[str, Any], given: Fields) -> Start:
        lot = given.get("lot", "").strip()[:64]
        if not lot:
            raise invalid("Say which tin the cysts come from.")
        litres = given.get("litres", "").strip()
        salinity = given.get("salinity", "").strip()
        return Start(
            time=self._when(given),
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
        litres = find_vessel(bench, vessel)["litres"]
        usual = {
            "cysts": "",
            "lot": usual_lot(bench) or "",
            "litres": f"{litres:g} L",
            "salinity": f"{USUAL_SALINITY:g} g/L",
            "when": "now",
        }
        return self._site.page(
            request,
            "start.html",
            status,
            vessel=vessel,
            problem=problem,
            given={**usual, **given},
            lots=bench.get("lots") or [],
        )

    def _batch_page(self, request: Request, given: Fields, problem: str, status: int = 200) -> Response:
        empty = {"what": "", "fraction": "", "nauplii": "", "reason": "", "when": "now"}
        return self._site.page(
            request,
            "batch.html",
            status,
            batch=request.path_params["batch"],
            problem=problem,
            given={**empty, **given},
        )


def _caller(request: Request) -> str:
    """Whom a log-in attempt is counted for: an address, or the network of an IPv6 one, which has addresses without end."""
    host = request.client.host if request.client else ""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if address.version == 6:
        return str(ipaddress.ip_network((int(address), 64), strict=False))
    return host
