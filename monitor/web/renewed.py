"""Whoever asks for a page gets the newest there is, though views are rare while nobody looks."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from monitor.web.desk import Desk


class Renewed:
    """Middleware: lets the desk renew its view before a request is answered; files are the same at any time."""

    def __init__(self, app: ASGIApp, desk: Desk) -> None:
        self._app = app
        self._desk = desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and not scope["path"].startswith("/static/"):
            await self._desk.look()
        await self._app(scope, receive, send)
