"""The API's addresses of the past. The record is asked, and long answers are written, in another thread."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from starlette.routing import Route

from monitor.core.chronicle import chronicle
from monitor.core.log import Start, Undo, subject_of
from monitor.core.model import DAY
from monitor.core.undo import without_undone
from monitor.store.records import LARGEST
from monitor.web.asked import Query, fault
from monitor.web.batch_gather import known_of
from monitor.web.conditional import Content, page_of
from monitor.web.past import (
    batch_document,
    batches_of,
    endings_of,
    known_probe,
    noted_document,
    reading_document,
    sentence_document,
    told_document,
    transition_document,
    trend_document,
)
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.chronicle import Chronicle
    from monitor.core.log import Deed
    from monitor.store.record import Noted, Record
    from monitor.web.site import Site

POINTS: Final = 2000
PAGE: Final = 200
LONGEST_PAGE: Final = 2000
LARGEST_ID: Final = 10**15


class History:
    def __init__(self, site: Site) -> None:
        self._site = site

    def routes(self) -> list[Route]:
        """Before those that act: of two addresses that fit, the first answers."""
        addresses = (
            ("/probes", self.probes),
            ("/probes/{probe}/trend", self.trend),
            ("/readings", self.readings),
            ("/batches", self.batches),
            ("/batches/{batch:path}", self.batch),
            ("/log", self.log),
            ("/transitions", self.transitions),
            ("/told", self.told),
        )
        return [Route(path, self._site.api(handler)) for path, handler in addresses]

    # --- probes

    async def probes(self, request: Request) -> Response:
        Query(request)
        kept = {probe.id: probe for probe in await self._site.look_up(lambda record: record.probes())}
        specs = self._specs()
        told = [known_probe(name, specs.get(name), kept.get(name)) for name in [*specs, *(kept.keys() - specs.keys())]]
        return Content.of({"now": self._site.desk.bench()["now"], "probes": told}).answer(request)

    async def trend(self, request: Request) -> Response:
        query = Query(request, "since", "until", "points")
        since, until = query.span(self._site.now, DAY)
        points = query.whole("points", 2, POINTS, POINTS)
        name = request.path_params["probe"]
        await self._know(name)
        spec = self._specs().get(name)

        def question(record: Record) -> Content:
            return Content.of(trend_document(record.trend(name, since, until, points), spec))

        return (await self._site.look_up(question)).answer(request)

    async def readings(self, request: Request) -> Response:
        query = Query(request, "probe", "since", "until", "after", "limit")
        since, until = query.span(self._site.now, DAY)
        limit, after, name = _limit(query), _after(query), query.text("probe")
        if name is not None:
            await self._know(name)
        specs = self._specs()

        def question(record: Record) -> tuple[list[dict[str, Any]], str | None]:
            found = record.readings(since, until, name, after, limit + 1)
            items = [reading_document(reading, specs.get(reading.probe)) for _, reading in found[:limit]]
            return items, str(found[limit - 1][0]) if len(found) > limit else None

        return page_of(request, *await self._site.look_up(question))

    def _specs(self) -> dict[str, dict[str, Any]]:
        return {probe["id"]: probe for probe in self._site.desk.bench().get("probes") or []}

    async def _know(self, name: str) -> None:
        """Raises Trouble for a probe that is neither configured nor on record."""
        known = set(self._specs())
        if name not in known:
            known |= {probe.id for probe in await self._site.look_up(lambda record: record.probes())}
        if name not in known:
            told = ", ".join(sorted(known)[:20]) or "none"
            raise Trouble(404, f'There is no probe "{name[:64]}"; there are: {told}.')

    # --- batches and the log

    async def batches(self, request: Request) -> Response:
        query = Query(request, "after", "limit")
        limit, after = _limit(query), query.text("after")
        noted = await self._site.look_up(lambda record: record.entries())
        told = batches_of(_standing(noted))
        ids = [batch["id"] for batch in told]
        if after is not None and after not in ids:
            raise fault("after", "is no cursor of this list; take the one of the page before")
        begin = 0 if after is None else ids.index(after) + 1
        items = told[begin : begin + limit]
        return page_of(request, items, items[-1]["id"] if len(told) > begin + limit else None)

    async def batch(self, request: Request) -> Response:
        Query(request)
        name = request.path_params["batch"]

        bench = self._site.desk.bench()

        def question(record: Record) -> tuple[list[Noted], list[Any], Chronicle | None]:
            known = known_of(record, bench, name)
            return record.entries(), record.told(name), None if known is None else chronicle(known)

        noted, told, story = await self._site.look_up(question)
        entries = _standing(noted)
        start = next((entry for entry in entries if isinstance(entry, Start) and entry.batch == name), None)
        if start is None:
            raise Trouble(404, f'There is no batch "{name[:64]}"; /api/v1/batches lists all.')
        now = next((one["batch"] for one in bench["vessels"] if one["batch"] and one["batch"]["id"] == name), None)
        told_last = told_document(told[-1]) if told else None
        about = [one for one in noted if name in (subject_of(one.entry), getattr(one.entry, "batch", None))]
        document = {
            **batch_document(start, endings_of(entries).get(name)),
            "now": now,
            "log": _documents(about, noted),
            "told_last": told_last,
            "summary": "" if story is None else " ".join(story.summary),
            "story": [] if story is None else [sentence_document(one) for one in story.sentences],
        }
        return Content.of(document).answer(request)

    async def log(self, request: Request) -> Response:
        query = Query(request, "after", "limit")
        limit, after = _limit(query), query.whole("after", 0, LARGEST_ID, 0)
        noted = await self._site.look_up(lambda record: record.entries())
        later = sorted((one for one in noted if one.id > after), key=lambda one: one.id)
        return page_of(request, _documents(later[:limit], noted), _next(later, limit))

    # --- alarms and estimates

    async def transitions(self, request: Request) -> Response:
        query = Query(request, "since", "until", "after", "limit")
        since, until = query.span(self._site.now, self._site.now)
        limit, after = _limit(query), query.whole("after", 0, LARGEST_ID, 0)
        found = await self._site.look_up(lambda record: record.transitions(since, until, after, limit + 1))
        return page_of(request, [transition_document(one) for one in found[:limit]], _next(found, limit))

    async def told(self, request: Request) -> Response:
        query = Query(request, "batch", "after", "limit")
        limit, after, batch = _limit(query), query.whole("after", 0, LARGEST_ID, 0), query.text("batch")
        found = await self._site.look_up(lambda record: record.told(batch, after, limit + 1))
        return page_of(request, [told_document(one) for one in found[:limit]], _next(found, limit))


def _standing(noted: list[Noted]) -> list[Deed]:
    """Without what was undone."""
    return without_undone(one.entry for one in noted)


def _documents(some: list[Noted], all_noted: list[Noted]) -> list[dict[str, Any]]:
    standing = {id(entry) for entry in _standing(all_noted)}
    return [
        noted_document(one, undone=not isinstance(one.entry, Undo) and id(one.entry) not in standing) for one in some
    ]


def _limit(query: Query) -> int:
    return query.whole("limit", 1, LONGEST_PAGE, PAGE)


def _next(found: list[Any], limit: int) -> str | None:
    """The id with which a page of ``limit`` ends, when there is more."""
    return str(found[limit - 1].id) if len(found) > limit else None


def _after(query: Query) -> int | None:
    """Where the page of readings before ended. Raises Trouble for what no page ends with."""
    return None if query.text("after") is None else query.whole("after", 0, LARGEST - 1, 0)
