"""The stream of events for programs: what of the bench has changed, and what alarms went through."""

from __future__ import annotations

import json
import secrets
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from sse_starlette import EventSourceResponse, ServerSentEvent

from monitor.core.light import light
from monitor.web.live import newer_or_closing
from monitor.web.past import transition_document
from monitor.web.problems import Trouble

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.core.model import Ms
    from monitor.store.record import PastTransition
    from monitor.web.site import Site

PING: Final = 15
"""Seconds after which a comment says that the link still stands."""
STREAMS: Final = 16
"""Open at one time: each holds a connection, and a program needs one."""
PAGE: Final = 200
NAMED: Final = ("vessels", "probes", "stores", "alarms", "phones", "lots", "tins")
"""Lists of the bench whose members have an id."""
CLOCKS: Final = {"now", "now_ms"}


@light
class Mark:
    """How far a program has heard: the view in this run of the service, and the newest transition, or from when on."""

    run: str
    version: int = -1
    transition: int = 0
    since: Ms = 0

    def __str__(self) -> str:
        return f"{self.run}.{self.version}.{self.transition}.{self.since}"

    @staticmethod
    def read(text: str) -> Mark | None:
        """None for what is none of ours."""
        run, *numbers = text.split(".")
        if len(numbers) != 3 or not all(part.isascii() and part.isdigit() and len(part) <= 15 for part in numbers):
            return None
        return Mark(run, *(int(part) for part in numbers))


def without_ages(value: Any) -> Any:
    """The same without what changes by itself as time goes by."""
    if isinstance(value, dict):
        return {key: without_ages(inner) for key, inner in value.items() if key != "age_s"}
    return [without_ages(inner) for inner in value] if isinstance(value, list) else value


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, list[str]]]:
    """What is new in a bench, and the ids of what is gone; ages alone are no news."""
    changed: dict[str, Any] = {}
    gone: dict[str, list[str]] = {}
    for key in after.keys() - CLOCKS:
        there, here = before.get(key), after[key]
        if key not in NAMED or there is None:
            if without_ages(there) != without_ages(here):
                changed[key] = here
            continue
        known = {one["id"]: without_ages(one) for one in there}
        news = [one for one in here if known.get(one["id"]) != without_ages(one)]
        missing = [name for name in known if name not in {one["id"] for one in here}]
        changed.update({key: news} if news else {})
        gone.update({key: missing} if missing else {})
    return changed, gone


class Events:
    def __init__(self, site: Site) -> None:
        self._site = site
        self._run = secrets.token_hex(4)
        self._open = 0

    async def events(self, request: Request) -> Response:
        """Raises Trouble when too many streams are open."""
        if self._open >= STREAMS:
            raise Trouble(503, f"{STREAMS} streams are open already; end one first.", headers={"Retry-After": "30"})
        heard = Mark.read(request.headers.get("last-event-id", ""))
        return EventSourceResponse(self._stream(request, heard), ping=PING, send_timeout=20)

    async def _stream(self, request: Request, heard: Mark | None) -> AsyncIterator[ServerSentEvent]:
        self._open += 1
        try:
            mark = heard or Mark(self._run, since=self._site.now)
            if mark.run != self._run:  # the service was started anew, and counts its views from the beginning
                mark = replace(mark, run=self._run, version=-1)
            before: Mapping[str, Any] = {}
            # Whoever may no longer look hears nothing more.
            while self._site.scopes(request) and not self._site.closing.is_set():
                version, bench = self._site.desk.version(), self._site.desk.bench()
                # Views of this run are only ever told as a whole first; a program that has this one already needs none.
                if not before and version == mark.version:
                    before = bench
                changed, gone = changes(before, bench)
                whole = not before
                mark = replace(mark, version=version)
                if changed or gone:
                    word = {"version": version, "now": bench["now"], "whole": whole, "changed": changed, "gone": gone}
                    yield _event("bench", word, mark)
                before = bench
                while past := await self._news(mark):
                    for one in past:
                        mark = replace(mark, transition=one.id)
                        yield _event("alarm", transition_document(one), mark)
                await newer_or_closing(self._site, version)
        finally:
            self._open -= 1

    async def _news(self, mark: Mark) -> list[PastTransition]:
        """What alarms went through since; a record that can't be read just now is asked again with the next view."""
        try:
            return await self._site.look_up(
                lambda record: record.transitions(since=mark.since, after=mark.transition, limit=PAGE)
            )
        except Trouble:
            return []


def _event(name: str, word: Mapping[str, Any], mark: Mark) -> ServerSentEvent:
    return ServerSentEvent(json.dumps(word, ensure_ascii=False), event=name, id=str(mark))
