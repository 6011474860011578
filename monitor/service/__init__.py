"""The daemon: one supervisor wires the parts together, and one thread decides.

What is listed here is loaded when it is asked for: the word to the service manager is of use without all the rest.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from monitor.service.clock import Clock, SimulatedClock, SystemClock
    from monitor.service.supervisor import Supervisor
    from monitor.service.wiring import Wiring

_HOMES: Final = {
    "Clock": "clock",
    "SimulatedClock": "clock",
    "Supervisor": "supervisor",
    "SystemClock": "clock",
    "Wiring": "wiring",
}
__all__ = ["Clock", "SimulatedClock", "Supervisor", "SystemClock", "Wiring"]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{home}"), name)
