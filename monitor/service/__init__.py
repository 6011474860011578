"""The daemon: one supervisor wires the parts together, and one thread decides."""

from monitor.service.clock import Clock, SimulatedClock, SystemClock
from monitor.service.supervisor import Supervisor, Wiring

__all__ = ["Clock", "SimulatedClock", "Supervisor", "SystemClock", "Wiring"]
