"""Simulates how bottles and cans jam in the stacked columns of a drink vending machine, and advises what to change."""

from importlib import import_module
from typing import TYPE_CHECKING

from colsim.version import __version__

if TYPE_CHECKING:
    from colsim.advice import (
        Advice,
        Comparison,
        Decision,
        Sweep,
        advise,
        compare_containers,
        find_count,
        find_spacer,
        simulate_sweep,
    )
    from colsim.errors import ColsimError, OutputError, RangeError, ScenarioError, SimulationError, StoppedError
    from colsim.model import CATALOGUE, Column, Container, Layer, Liner, Loading, Rotor, Scenario, Spread, Target
    from colsim.sampling import Fill, Fills, Replay, replay, simulate_fill, simulate_fills

__all__ = [
    "CATALOGUE",
    "Advice",
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
    "Replay",
    "Rotor",
    "Scenario",
    "ScenarioError",
    "SimulationError",
    "Spread",
    "StoppedError",
    "Sweep",
    "Target",
    "__version__",
    "advise",
    "compare_containers",
    "find_count",
    "find_spacer",
    "replay",
    "simulate_fill",
    "simulate_fills",
    "simulate_sweep",
]

# A name loads its room when it is first asked for, so that `import colsim` alone loads none.
_ROOMS = {
    "advice": (
        "Advice",
        "Comparison",
        "Decision",
        "Sweep",
        "advise",
        "compare_containers",
        "find_count",
        "find_spacer",
        "simulate_sweep",
    ),
    "errors": ("ColsimError", "OutputError", "RangeError", "ScenarioError", "SimulationError", "StoppedError"),
    "model": (
        "CATALOGUE",
        "Column",
        "Container",
        "Layer",
        "Liner",
        "Loading",
        "Rotor",
        "Scenario",
        "Spread",
        "Target",
    ),
    "sampling": ("Fill", "Fills", "Replay", "replay", "simulate_fill", "simulate_fills"),
}
_ROOM_OF = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> object:
    if name not in _ROOM_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(f"colsim.{_ROOM_OF[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
