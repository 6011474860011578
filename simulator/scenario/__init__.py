"""What a scenario file says: the room, the vessels, what fails when, and what the probes send."""

from simulator.scenario.load import ScenarioError, load, scenario_from
from simulator.scenario.models import Scenario

__all__ = ["Scenario", "ScenarioError", "load", "scenario_from"]
