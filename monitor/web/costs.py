"""What food has cost: a page, and the same for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

from starlette.routing import Route

from monitor.core.model import DAY
from monitor.web import cost_words as words
from monitor.web.asked import Query
from monitor.web.conditional import Content
from monitor.web.cost_gather import gather
from monitor.web.rights import Scope
from monitor.web.when import as_rfc3339

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.cost import Account, Group
    from monitor.core.cost_batch import BatchCost, Parts
    from monitor.core.cost_offers import Offer
    from monitor.web.site import Site

LONGEST: Final = 36_500
SHOWN: Final = 12
"""Batches on the page; programs get all."""


class CostPages:
    def __init__(self, site: Site) -> None:
        self._site = site

    def pages(self) -> list[Route]:
        return [Route("/costs", self._site.open_page(self.page))]

    def api(self) -> list[Route]:
        return [Route("/costs", self._site.api(self.told, Scope.READ))]

    async def page(self, request: Request) -> Response:
        days, told, offers = await self._asked(request)
        currency = self._site.options.costs.currency
        return self._site.page(
            request,
            "costs.html",
            told=told,
            offers=offers,
            batches=told.batches[:SHOWN],
            currency=currency,
            days=days,
            words=words,
            money=lambda amount: words.money(amount, currency),
            headline=words.headline(told, currency),
            cheapest=words.cheapest(offers, currency),
            missing=words.missing(told),
        )

    async def told(self, request: Request) -> Response:
        _, told, offers = await self._asked(request)
        return Content.of(document(told, offers, self._site.options.costs.currency)).answer(request)

    async def _asked(self, request: Request) -> tuple[str, Account, tuple[Offer, ...]]:
        query = Query(request, "days")
        days = query.whole("days", 1, LONGEST, 0)
        bench, costs = self._site.desk.bench(), self._site.options.costs
        since = bench["now_ms"] - days * DAY if days else 0
        told, offers = await self._site.look_up(lambda record: gather(record, bench, costs, since))
        return str(days or ""), told, offers


def document(told: Account, offers: tuple[Offer, ...], currency: str) -> dict[str, Any]:
    """Ready for JSON."""
    return {
        "text": words.headline(told, currency),
        "cheapest": words.cheapest(offers, currency),
        "missing": words.missing(told),
        "currency": currency,
        "per_million": told.per_million,
        "per_million_fed": told.per_million_fed,
        "wasted": told.wasted,
        "steps": [asdict(step) for step in told.steps],
        "offers": [asdict(offer) for offer in offers],
        "lots": [_group(one) for one in told.lots],
        "months": [_group(one) for one in told.months],
        "broods": [asdict(one) for one in told.broods],
        "batches": [_batch(one) for one in told.batches],
    }


def _parts(parts: Parts) -> dict[str, float]:
    return {**asdict(parts), "total": parts.total}


def _group(one: Group) -> dict[str, Any]:
    return {
        "name": one.name,
        "batches": one.batches,
        "failed": one.failed,
        "cysts_g": one.grams,
        "cost": _parts(one.parts),
        "nauplii": one.nauplii,
        "per_million": one.per_million,
    }


def _batch(one: BatchCost) -> dict[str, Any]:
    return {
        "id": one.batch,
        "lot": one.lot,
        "start": as_rfc3339(one.start),
        "ended": None if one.end is None else as_rfc3339(one.end),
        "how": one.how or None,
        "cysts_g": one.grams,
        "cost": _parts(one.parts),
        "nauplii": one.nauplii,
        "counted": one.counted,
        "priced": one.priced,
        "per_million": one.per_million,
    }
