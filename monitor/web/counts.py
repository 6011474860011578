"""Counting drops: a page whose answer can be linked, and the same for programs. It reckons only; nothing is logged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from monitor.core.counting import USUAL_DROP_ML, Sample, Uncountable
from monitor.settings.units import Kind, plain
from monitor.web import count_typed as typed
from monitor.web.bodies import open_batches, read_body
from monitor.web.count_words import view
from monitor.web.counted import CountBody, cysts_of, document, reckoned
from monitor.web.given import Fields, field, field_amount
from monitor.web.problems import Trouble, field_trouble
from monitor.web.rights import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from monitor.web.site import Site

FIELDS: Final = ("drops", "drop", "dilution", "litres", "cysts", "tin", "cysts_per_g")
LONGEST: Final = 400  # of what is typed into a field: sixty drops and their commas
REMEMBERED: Final = "drop_ml"
"""Where a session keeps the size of the drop that was used last."""


class Counts:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/count", self._site.open_page(self.page))]

    def api(self) -> list[Route]:
        return [Route("/count", self._site.api(self.api_count, Scope.READ), methods=["POST"])]

    async def api_count(self, request: Request) -> Response:
        body = read_body(CountBody, await request.body())
        try:
            sample = body.sample(self._site.desk.bench())
        except Uncountable as problem:
            raise field_trouble(problem.field, str(problem)) from problem
        return JSONResponse(document(reckoned(sample)))

    async def page(self, request: Request) -> Response:
        bench = self._site.desk.bench()
        asked = {name: request.query_params.get(name, "")[:LONGEST] for name in FIELDS}
        problem, status, answer = "", 200, None
        if asked["drops"].strip():
            try:
                sample = read_sample(
                    bench,
                    asked,
                    litres=_amount("Water", asked["litres"], Kind.VOLUME),
                    cysts_g=_amount("Cysts", asked["cysts"], Kind.MASS),
                    tin=asked["tin"],
                )
                answer = view(document(reckoned(sample)))
                remember(request, sample)
            except Trouble as trouble_found:
                problem, status = trouble_found.detail, trouble_found.status
        elif "drops" in request.query_params:
            problem, status = "Say what you counted: one number for each drop.", 422
        usual = {"drop": usual_drop(request), "dilution": "1"}
        given = {name: asked[name] or usual.get(name, "") for name in FIELDS}
        return self._site.page(
            request,
            "count.html",
            status,
            problem=problem,
            given=given,
            answer=answer,
            lots=bench.get("lots") or [],
            batches=[] if answer else _batches(bench),
        )


def read_sample(
    bench: Mapping[str, Any], given: Fields, *, litres: float | None, cysts_g: float | None, tin: str
) -> Sample:
    """What was counted, as it was typed into a form. Raises Trouble."""
    return Sample(
        field("Counted", given.get("drops", ""), typed.drops),
        field("One drop", given.get("drop", ""), typed.drop_ml),
        field("Diluted", given.get("dilution", ""), typed.dilution),
        litres,
        cysts_g,
        cysts_of(bench, tin.strip(), field("Cysts in a gram", given.get("cysts_per_g", ""), typed.cysts_per_g)),
    )


def remember(request: Request, sample: Sample) -> None:
    """The next form begins with this drop."""
    request.session[REMEMBERED] = sample.drop_ml


def usual_drop(request: Request) -> str:
    """The drop that was used last, as it is typed."""
    kept = request.session.get(REMEMBERED)
    return typed.written(kept if isinstance(kept, float | int) else USUAL_DROP_ML)


def _amount(name: str, text: str, kind: Kind) -> float | None:
    return field_amount(name, text, kind) if text.strip() else None


def _batches(bench: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Open batches, each with what fills the form in."""
    return [(batch["id"], count_query(batch)) for batch in open_batches(bench)]


def count_query(batch: Mapping[str, Any]) -> str:
    """The form's query with a batch's water, cysts and tin."""
    amounts = {"litres": f"{plain(batch['litres'])} L", "cysts": f"{plain(batch['cysts_g'])} g"}
    return urlencode({**amounts, "tin": batch["lot"]})
