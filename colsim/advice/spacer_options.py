"""The spacers that can be looked at, and what each is called."""

from __future__ import annotations

import math
from collections.abc import Iterable

from colsim.advice.option import Alternative
from colsim.advice.spacer_bounds import spacer_bounds, spacer_geometry
from colsim.errors import ScenarioError
from colsim.model import Scenario

__all__ = ["SPACER", "can_be_described", "default_spacers", "spacer_alternative", "spacer_in_words"]

SPACER = "rotor.spacer_thickness"
SPACER_STEP = 6.0  # [mm] between the spacers looked at when none are named


def default_spacers(scenario: Scenario) -> tuple[float, ...]:
    """List the scenario's own spacer, none, and those on hand, or else every 6 mm as far as the question goes.

    Beside the container that is the last that leaves it room; under it, the first on which it stands proud.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Returns
    -------
    tuple of float
        Thicknesses [mm], 0 for the bare pocket; the scenario's own may stand there twice.
    """
    if scenario.on_hand.spacers:
        wanted: Iterable[float] = (0.0, *scenario.on_hand.spacers)
    else:
        _, greatest = spacer_bounds(scenario)
        steps = max(0, math.floor(greatest / SPACER_STEP))
        last = steps if scenario.rotor.spacer_kind == "narrows_pocket" else steps + 1
        wanted = (SPACER_STEP * k for k in range(last + 1))
    return (scenario.rotor.spacer_thickness, *(s for s in wanted if can_be_described(scenario, s)))


def can_be_described(scenario: Scenario, thickness: float) -> bool:
    """Tell whether a spacer leaves a pocket, and room above it for what is loaded.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    thickness : float
        Of the spacer [mm].

    Returns
    -------
    bool
    """
    try:
        scenario.changed(**{SPACER: thickness})
    except ScenarioError:
        return False
    return True


def spacer_alternative(scenario: Scenario, thickness: float, bounds: tuple[float, float]) -> Alternative:
    """Make a choice of a spacer's thickness [mm].

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    thickness : float
        Of the spacer [mm]; 0 is the bare pocket.
    bounds : (float, float)
        As `spacer_bounds` gives them.

    Returns
    -------
    Alternative
    """
    where = "on the pocket's floor" if scenario.rotor.spacer_kind == "raises_floor" else "at the pocket's sides"
    return Alternative(
        label=spacer_in_words(thickness),
        changes={SPACER: thickness},
        order=f"Put in the {spacer_in_words(thickness)} ({where})." if thickness else "Leave the pocket bare.",
        geometry=spacer_geometry(thickness, bounds),
    )


def spacer_in_words(thickness: float) -> str:
    """Name a spacer, as it stands after "the".

    Parameters
    ----------
    thickness : float
        [mm]; 0 is the bare pocket.

    Returns
    -------
    str
    """
    return f"{thickness:g} mm spacer" if thickness else "bare pocket"
