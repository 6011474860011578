"""The versions of what runs here; asked for once, as it takes a moment."""

from __future__ import annotations

import platform
import sqlite3
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from typing import Final

from monitor.core.checkup_facts import Versions

MATTER: Final = ("paho-mqtt", "starlette", "uvicorn", "apprise", "numpy", "tzdata")
"""Packages that talk to the outside, reckon, or know the zones."""


@cache
def versions() -> Versions:
    return Versions(
        ours=_of("swimup") or "unknown",
        python=platform.python_version(),
        sqlite=sqlite3.sqlite_version,
        system=_system(),
        packages=tuple((name, found) for name in MATTER if (found := _of(name))),
    )


def _of(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""


def _system() -> str:
    try:
        name = platform.freedesktop_os_release().get("PRETTY_NAME", "")
    except OSError:
        name = platform.system()
    return f"{name}, {platform.machine()}".strip(", ")
