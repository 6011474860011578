"""Salt: a page whose answer can be linked, and the same for programs. It reckons only; nothing is logged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.settings.units import plain
from monitor.web.bodies import USUAL_SALINITY, open_batches, read_body
from monitor.web.problems import Trouble
from monitor.web.rights import Scope
from monitor.web.salt_form import FIELDS, WAYS, read_form
from monitor.web.salted import SaltBody, document, reckoned

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.web.given import Fields
    from monitor.web.site import Site

REMEMBERED: Final = ("kind", "spoon", "tap", "share", "reference")
"""What a session keeps: a keeper's salt, spoon, tap and hydrometer stay the same."""
LONGEST: Final = 60  # of what is typed into a field
_KEPT: Final = "salt"


class Salts:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/salt", self._site.open_page(self.page))]

    def api(self) -> list[Route]:
        return [Route("/salt", self._site.api(self.api_salt, Scope.READ), methods=["POST"])]

    async def api_salt(self, request: Request) -> Response:
        return JSONResponse(document(reckoned(read_body(SaltBody, await request.body()))))

    async def page(self, request: Request) -> Response:
        asked = {name: request.query_params.get(name, "")[:LONGEST] for name in FIELDS}
        problem, status, answer = "", 200, None
        if asked["target"].strip() or asked["shown"].strip():
            try:
                answer = document(reckoned(read_form(asked)))
                request.session[_KEPT] = {name: asked[name] for name in REMEMBERED if asked[name].strip()}
            except Trouble as found:
                problem, status = found.detail, found.status
        elif "target" in request.query_params:
            problem, status = "Say which salinity you want, or what an instrument shows.", 422
        kept = _kept(request)
        usual = {"target": f"{USUAL_SALINITY:g} g/L", **kept} if not request.query_params else kept
        given = {name: asked[name] if name in request.query_params else usual.get(name, "") for name in FIELDS}
        measured = any(given[name].strip() for name in ("shown", "lost"))
        fine = any(given[name].strip() for name in ("at", "tap", "share", "spoon"))
        return self._site.page(
            request,
            "salt.html",
            status,
            problem=problem,
            given=given,
            answer=answer,
            ways=WAYS,
            measured=measured,
            fine=fine,
            batches=[] if answer else _batches(self._site.desk.bench(), kept),
        )


def _kept(request: Request) -> Fields:
    kept = request.session.get(_KEPT)
    return {name: str(kept[name]) for name in REMEMBERED if name in kept} if isinstance(kept, dict) else {}


def _batches(bench: Mapping[str, Any], kept: Fields) -> list[tuple[str, str]]:
    """Open batches, each with what asks for its water, with the salt and the spoon that were used last."""
    return [(batch["id"], urlencode({**kept, **_water(batch)})) for batch in open_batches(bench)]


def _water(batch: Mapping[str, Any]) -> dict[str, str]:
    return {"litres": f"{plain(batch['litres'])} L", "target": f"{plain(batch['salinity_g_l'])} g/L"}
