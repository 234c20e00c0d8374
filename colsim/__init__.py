"""Simulates how bottles and cans jam in the stacked columns of a drink vending machine, and advises what to change."""

from colsim.advice import Decision, find_spacer
from colsim.errors import ColsimError, OutputError, RangeError, ScenarioError, SimulationError
from colsim.model import CATALOGUE, Column, Container, Liner, Loading, Rotor, Scenario, Target
from colsim.sampling import Fill, Fills, simulate_fill, simulate_fills
from colsim.version import __version__

__all__ = [
    "CATALOGUE",
    "ColsimError",
    "Column",
    "Container",
    "Decision",
    "Fill",
    "Fills",
    "Liner",
    "Loading",
    "OutputError",
    "RangeError",
    "Rotor",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "Target",
    "__version__",
    "find_spacer",
    "simulate_fill",
    "simulate_fills",
]
