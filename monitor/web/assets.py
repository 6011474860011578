"""Style, script and icon under names that carry a hash of their content, so that a browser may keep them for ever."""

from __future__ import annotations

import hashlib
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from starlette.exceptions import HTTPException
from starlette.responses import Response

if TYPE_CHECKING:
    from starlette.requests import Request

_KINDS: Final = {"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml"}
_FOR_EVER: Final = "public, max-age=31536000, immutable"


class Assets:
    """The files of ``static/``, read once."""

    def __init__(self) -> None:
        self._content: dict[str, tuple[bytes, str]] = {}
        self._hashed: dict[str, str] = {}
        folder = files("monitor.web").joinpath("static")
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
            stem, _, kind = file.name.rpartition(".")
            if kind in _KINDS:
                content = file.read_bytes()
                hashed = f"{stem}.{hashlib.sha256(content).hexdigest()[:12]}.{kind}"
                self._hashed[file.name] = hashed
                self._content[hashed] = (content, _KINDS[kind])
        self.build = hashlib.sha256("".join(self._content).encode()).hexdigest()[:12]

    def path(self, name: str) -> str:
        """The address of ``bench.css`` and its like. Raises KeyError for a name that is not there."""
        return f"/static/{self._hashed[name]}"

    def content(self, name: str) -> Response:
        """A file under an address that must stay the same, so that a browser has to ask whether there is a newer one."""
        content, kind = self._content[self._hashed[name]]
        return Response(content, media_type=kind, headers={"Cache-Control": "no-cache"})

    async def serve(self, request: Request) -> Response:
        found = self._content.get(request.path_params["name"])
        if found is None:
            raise HTTPException(404)
        content, kind = found
        return Response(content, media_type=kind, headers={"Cache-Control": _FOR_EVER})
