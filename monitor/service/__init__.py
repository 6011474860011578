"""The daemon: one supervisor wires the parts together, and one thread decides.

What is listed here is loaded when it is asked for: the word to the service manager is of use without all the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.service.clock import Clock, SimulatedClock, SystemClock
    from monitor.service.supervisor import Supervisor
    from monitor.service.wiring import Wiring

__all__ = ["Clock", "SimulatedClock", "Supervisor", "SystemClock", "Wiring"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = "clock" if name.endswith("Clock") else name.lower()
    return getattr(import_module(f"{__name__}.{home}"), name)
