"""The configuration: a TOML file read, checked in full, and handed to the other parts as frozen objects.

>>> from monitor.settings import ConfigError, load
>>> settings = load("swimup.toml")  # doctest: +SKIP

What is listed here is loaded when it is asked for: a board that only publishes needs the forms, not the whole.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.settings.errors import ConfigError, Problem
    from monitor.settings.loader import Loaded, from_document, load, load_all
    from monitor.settings.settings import Settings

__all__ = ["ConfigError", "Loaded", "Problem", "Settings", "from_document", "load", "load_all"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = {"ConfigError": "errors", "Problem": "errors", "Settings": "settings"}.get(name, "loader")
    return getattr(import_module(f"{__name__}.{home}"), name)
