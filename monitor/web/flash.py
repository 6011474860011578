"""What was just done, said once on the page that follows."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.requests import Request


def flash_of(request: Request) -> dict[str, str] | None:
    return request.session.pop("flash", None) if "flash" in request.session else None
