"""Style, script and icon under names that carry a hash of their content, so that a browser may keep them for ever."""

from __future__ import annotations

import gzip
import hashlib
from importlib.metadata import PackageNotFoundError, distribution
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.exceptions import HTTPException
from starlette.responses import Response

if TYPE_CHECKING:
    from starlette.requests import Request

_KINDS: Final = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
}
_FOR_EVER: Final = "public, max-age=31536000, immutable"
CHARTS: Final = "charts.js"
"""The charting library. It comes out of its installed package, so that the repository holds no copy of it."""
_CHARTS_PACKAGE: Final = ("dygraphs", "dygraphs/assets/dygraph-combined.js")


class Assets:
    """The files of ``static/`` and the charting library, read once."""

    def __init__(self) -> None:
        self._content: dict[str, tuple[bytes, str]] = {}
        self._packed: dict[str, bytes] = {}
        self._hashed: dict[str, str] = {}
        folder = files("monitor.web").joinpath("static")
        for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
            self._take(file.name, file.read_bytes())
        self.build = hashlib.sha256("".join(self._content).encode()).hexdigest()[:12]
        library = _charts()
        if library is not None:
            self._take(CHARTS, library)

    def _take(self, name: str, content: bytes) -> None:
        stem, _, kind = name.rpartition(".")
        if kind in _KINDS:
            hashed = f"{stem}.{hashlib.sha256(content).hexdigest()[:12]}.{kind}"
            self._hashed[name] = hashed
            self._content[hashed] = (content, _KINDS[kind])

    def __contains__(self, name: str) -> bool:
        return name in self._hashed

    def path(self, name: str) -> str:
        """The address of ``bench.css`` and its like. Raises KeyError for a name that is not there."""
        return f"/static/{self._hashed[name]}"

    def text(self, name: str) -> str:
        """What a file holds, for what is served under an address that stays the same. Raises KeyError."""
        return self._content[self._hashed[name]][0].decode()

    async def serve(self, request: Request) -> Response:
        name = request.path_params["name"]
        found = self._content.get(name)
        if found is None:
            raise HTTPException(404)
        content, kind = found
        headers = {"Cache-Control": _FOR_EVER, "Vary": "Accept-Encoding"}
        if takes_gzip(request) and kind != "image/png":
            if name not in self._packed:
                self._packed[name] = gzip.compress(content, 9, mtime=0)
            content, headers["Content-Encoding"] = self._packed[name], "gzip"
        return Response(content, media_type=kind, headers=headers)


def takes_gzip(request: Request) -> bool:
    """Whether whoever asks can unpack."""
    offered = request.headers.get("accept-encoding", "").replace(" ", "").lower().split(",")
    return any(one == "gzip" or (one.startswith("gzip;q=") and one[7:] not in ("0", "0.0")) for one in offered)


def _charts() -> bytes | None:
    """The library as its package has it, which is not imported for it; None where it is not installed."""
    package, place = _CHARTS_PACKAGE
    try:
        return Path(str(distribution(package).locate_file(place))).read_bytes()
    except (PackageNotFoundError, OSError):
        return None
