"""The event stream that keeps open pages fresh: at each event only the parts that have changed for this page.

A page says which view it holds, in the address or, when a browser comes back by itself, as Last-Event-ID.
"""

from __future__ import annotations

import asyncio
import json
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from sse_starlette import EventSourceResponse, ServerSentEvent

from monitor.web.rights import Scope, allows

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from starlette.requests import Request
    from starlette.responses import Response

    from monitor.web.desk import Desk
    from monitor.web.site import Site

HEARTBEAT: Final = 5.0
"""Seconds after which a page hears something even when nothing is new, so that silence means a lost link."""
GAP: Final = 0.5
"""Seconds between two events at least: a phone on the window sill all night needn't redraw more often."""


class Live:
    def __init__(self, site: Site) -> None:
        self._site = site

    async def events(self, request: Request) -> Response:
        shown = request.headers.get("last-event-id") or request.query_params.get("shown", "")
        return EventSourceResponse(self._stream(request, shown), ping=60, send_timeout=20)

    async def _stream(self, request: Request, shown: str) -> AsyncIterator[ServerSentEvent]:
        site = self._site
        sent, scopes = site.known_parts(shown), site.scopes(request)
        while scopes and not site.closing.is_set():
            newest = site.newest(may_act=allows(scopes, Scope.LOG))
            changed = {key: html for key, html in newest.parts.items() if sent.get(key) != newest.marks[key]}
            sent = newest.marks
            word = {
                "build": site.build(newest.view),
                "now": newest.view.now,
                "speed": newest.view.speed,
                "parts": changed,
            }
            yield ServerSentEvent(json.dumps(word), event="bench", id=newest.name)
            await newer_or_closing(site, newest.version)
            scopes = site.scopes(request)  # nothing, once its password was changed or its token revoked


async def newer_or_closing(site: Site, version: int) -> None:
    """Until there is a newer view, the heartbeat is due or the service stops; a moment at least."""
    closing = asyncio.create_task(site.closing.wait())
    try:
        await asyncio.wait({closing}, timeout=GAP)
        newer = asyncio.create_task(_wait(site.desk, version))
        try:
            await asyncio.wait({closing, newer}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            await _cancel(newer)
    finally:
        await _cancel(closing)


async def _wait(desk: Desk, version: int) -> int:
    return await desk.wait(version, HEARTBEAT)


async def _cancel(task: asyncio.Task[Any]) -> None:
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task
