"""Answers that a program need not fetch twice: a strong ETag made of the content, and 304 when nothing is new (RFC 9110)."""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any, Final, Self
from urllib.parse import urlencode

from starlette.responses import Response

from monitor.core.light import light

if TYPE_CHECKING:
    from starlette.requests import Request

MEDIA: Final = "application/json"
CACHING: Final = "private, no-cache"
"""Keep it if you like, but for nobody else, and ask each time whether it still holds."""


@light
class Content:
    """Bytes as they go out, and the tag that names exactly these."""

    body: bytes
    tag: str
    media: str = MEDIA

    @classmethod
    def of(cls, document: Any) -> Self:
        """The JSON of a document; NaN and infinities are faults of ours and raise ValueError."""
        text = json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        return cls.of_bytes(text.encode())

    @classmethod
    def of_bytes(cls, body: bytes, media: str = MEDIA) -> Self:
        return cls(body, f'"{hashlib.sha256(body).hexdigest()[:24]}"', media)

    def answer(self, request: Request, headers: dict[str, str] | None = None) -> Response:
        """The content, or 304 to a program that has it."""
        told = {"ETag": self.tag, "Cache-Control": CACHING, **(headers or {})}
        if self._known(request.headers.getlist("if-none-match")):
            return Response(status_code=304, headers=told)
        return Response(self.body, media_type=self.media, headers=told)

    def _known(self, offered: list[str]) -> bool:
        """Compared weakly, as If-None-Match is: what a cache on the way has marked as weak still counts."""
        tags = [tag.strip().removeprefix("W/") for line in offered for tag in line.split(",")]
        return "*" in tags or self.tag in tags


def page_of(request: Request, items: list[dict[str, Any]], cursor: str | None, **more: Any) -> Response:
    """One page of a list; where there is more, the cursor of the next in the document and its address as a Link (RFC 8288)."""
    headers = {}
    if cursor is not None:
        asked = {name: value for name, value in request.query_params.items() if name != "after"}
        headers["Link"] = f'<{request.url.path}?{urlencode({**asked, "after": cursor})}>; rel="next"'
    return Content.of({**more, "items": items, "next": cursor}).answer(request, headers)
