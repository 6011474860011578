"""The page "Food": whether there is enough for each meal, what to start when, and a tap that starts it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.routing import Route

from monitor.core.food import SkipStart
from monitor.core.log import Start
from monitor.settings.units import Kind
from monitor.web import words
from monitor.web.food_view import make_food
from monitor.web.given import Fields, field_amount
from monitor.web.packing import packed
from monitor.web.problems import Trouble
from monitor.web.site import UNDONE_FOR

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.site import Site


class FoodPage:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        look, form = self._site.open_page, self._site.form
        return [
            Route("/food", look(self.page)),
            Route("/food/starts/{start}/start", form(self.start), methods=["POST"]),
            Route("/food/starts/{start}/skip", form(self.skip), methods=["POST"]),
        ]

    async def page(self, request: Request) -> Response:
        flash = request.session.pop("flash", None) if "flash" in request.session else None
        return self._show(request, flash=flash)

    async def start(self, request: Request, given: Fields) -> Response:
        """As planned, or with other grams or at an earlier time where these were typed. Nothing typed is lost."""
        planned = self._planned(request)
        try:
            command = self._command(planned, given)
            done = await self._site.do(command)
        except Trouble as trouble:
            return self._show(request, trouble.status, problem=trouble.detail, given={**given, "id": planned["id"]})
        told = f"Noted: {words.number(command.cysts_g, 2)} g of {command.lot} in {command.vessel}"
        batch = f", batch {done['batch']}" if done.get("batch") else ""
        return self._site.back(request, f"{told}{batch}. {UNDONE_FOR}", to="/food")

    async def skip(self, request: Request, _given: Fields) -> Response:
        planned = self._planned(request)
        try:
            await self._site.do(SkipStart(time=self._site.now, start=planned["id"]))
        except Trouble as trouble:
            return self._show(request, trouble.status, problem=trouble.detail)
        told = f"Noted: not {planned['vessel']} now. The next plan does without it, and tells whether that is enough."
        return self._site.back(request, told, to="/food")

    def _planned(self, request: Request) -> Mapping[str, Any]:
        """Raises Trouble when the plan has no such start any more."""
        wanted = request.path_params["start"]
        plan = self._site.desk.food().get("plan") or {"starts": []}
        for start in plan["starts"]:
            if start["id"] == wanted:
                found: Mapping[str, Any] = start
                return found
        raise Trouble(404, "The plan has changed and does not ask for this any more. Look at the page Food again.")

    def _command(self, planned: Mapping[str, Any], given: Fields) -> Start:
        cysts = given.get("cysts", "").strip()
        return Start(
            time=self._site.when(given),
            logged=self._site.now,
            batch="",
            vessel=planned["vessel"],
            lot=planned["lot"],
            cysts_g=field_amount("Cysts", cysts, Kind.MASS) if cysts else float(planned["grams"]),
            litres=float(planned["litres"]),
            salinity_g_l=float(planned["salinity_g_l"]),
        )

    def _show(
        self, request: Request, status: int = 200, *, flash: Any = None, problem: str = "", given: Fields | None = None
    ) -> Response:
        values = food_values(self._site)
        said = {"undo": self._site.newest().view.undo, "flash": flash, "problem": problem}
        values |= said | {"given": values["given"] | (given or {})}
        return packed(request, self._site.page(request, "food.html", status, here="/food", **values))


def food_values(site: Site) -> dict[str, Any]:
    """What the page shows when nothing was just said or typed. ``kept``: from when it is, in a copy for later."""
    view = make_food(site.desk.food(), site.desk.bench())
    given = {"id": "", "cysts": "", "when": "now"}
    return {"view": view, "undo": None, "flash": None, "problem": "", "given": given, "kept": ""}
