"""The bench as a page and as a local API.

The names below are loaded when first asked for: the command line uses the words of this package and must start quickly.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.web.access import ensure_token
    from monitor.web.app import make_app
    from monitor.web.desk import Command, Desk
    from monitor.web.options import WebOptions, WebProblem
    from monitor.web.server import WebServer

__all__ = ["Command", "Desk", "WebOptions", "WebProblem", "WebServer", "ensure_token", "make_app"]

_HOMES = {
    "Command": "desk",
    "Desk": "desk",
    "WebOptions": "options",
    "WebProblem": "options",
    "WebServer": "server",
    "ensure_token": "access",
    "make_app": "app",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
