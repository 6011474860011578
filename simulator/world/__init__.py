"""An independent world in numpy: room, water, oxygen, cysts, pumps and probes. It knows no broker, file or clock."""

from simulator.world.probe import ProbeModel, Sample
from simulator.world.weather import SeriesTooShort
from simulator.world.world import STEP_S, Trace, World

__all__ = ["STEP_S", "ProbeModel", "Sample", "SeriesTooShort", "Trace", "World"]
