"""Simulates how bottles and cans jam in the stacked columns of a drink vending machine, and advises what to change."""

from colsim.advice import Comparison, Decision, Sweep, compare_containers, find_count, find_spacer, simulate_sweep
from colsim.errors import ColsimError, OutputError, RangeError, ScenarioError, SimulationError
from colsim.model import CATALOGUE, Column, Container, Layer, Liner, Loading, Rotor, Scenario, Spread, Target
from colsim.sampling import Fill, Fills, simulate_fill, simulate_fills
from colsim.version import __version__

__all__ = [
    "CATALOGUE",
    "ColsimError",
    "Column",
    "Comparison",
    "Container",
    "Decision",
    "Fill",
    "Fills",
    "Layer",
    "Liner",
    "Loading",
    "OutputError",
    "RangeError",
    "Rotor",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "Spread",
    "Sweep",
    "Target",
    "__version__",
    "compare_containers",
    "find_count",
    "find_spacer",
    "simulate_fill",
    "simulate_fills",
    "simulate_sweep",
]
