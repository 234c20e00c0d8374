"""What geometry and friction alone say of spacers."""

from __future__ import annotations

import math

from colsim.errors import RangeError
from colsim.model import Container, Scenario
from colsim.theory.pocket import greatest_spacer, least_spacer, second_nip_angle

__all__ = ["spacer_bounds", "spacer_geometry"]


def spacer_bounds(scenario: Scenario) -> tuple[float, float]:
    """Give the least and greatest spacer that geometry and friction alone allow for all that is loaded.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer does not matter.

    Returns
    -------
    (float, float)
        Thickness [mm]. The least is for a slow drum, and infinite if no spacer would do; the greatest is negative
        if a container stands proud of the bare pocket. Of several kinds the one that asks most counts at each end.
    """
    bounds = [_bounds_for(scenario, container) for container in scenario.loaded_products.values()]
    return max(least for least, _ in bounds), min(greatest for _, greatest in bounds)


def _bounds_for(scenario: Scenario, container: Container) -> tuple[float, float]:
    rotor = scenario.rotor
    if rotor.spacer_kind == "narrows_pocket":
        return _narrowing_bounds(scenario, container)
    try:
        least = least_spacer(
            rotor.pocket_width,
            rotor.pocket_depth,
            container.height,
            rotor_radius=rotor.radius,
            column_width=scenario.column.throat_width,
            friction=_wedge_friction(scenario, container),
        )
    except RangeError:
        least = math.inf
    greatest = greatest_spacer(
        rotor.pocket_width,
        rotor.pocket_depth,
        container.height,
        rotor_radius=rotor.radius,
        clearance=rotor.housing_clearance,
    )
    return least, greatest


def _narrowing_bounds(scenario: Scenario, container: Container) -> tuple[float, float]:
    rotor = scenario.rotor
    greatest = rotor.pocket_width - container.breadth
    wedge = 2 * math.degrees(math.atan(_wedge_friction(scenario, container)))
    for tenths in range(math.floor(greatest * 10) + 1):
        angle = second_nip_angle(
            rotor.pocket_width - tenths / 10,
            rotor.pocket_depth,
            container.height,
            rotor_radius=rotor.radius,
            column_width=scenario.column.throat_width,
        )
        if angle >= wedge:
            return tenths / 10, greatest
    return math.inf, greatest


def _wedge_friction(scenario: Scenario, container: Container) -> float:
    """Give the smaller of the frictions between which the second container is wedged: drum, and wall ahead of it."""
    wall = "right" if scenario.rotor.turn == "clockwise" else "left"
    on_drum = scenario.rotor.friction if container.rotor_friction is None else container.rotor_friction
    return min(on_drum, scenario.friction_on_wall(container, wall, container.height / 2))


def spacer_geometry(thickness: float, bounds: tuple[float, float]) -> str:
    """Say in words what the bounds say of one spacer.

    Parameters
    ----------
    thickness : float
        [mm]
    bounds : (float, float)
        As `spacer_bounds` gives them [mm].

    Returns
    -------
    str
    """
    least, greatest = bounds
    if thickness > greatest:
        return "too thick: the first stands proud of the drum" if greatest >= 0 else "the pocket is too shallow"
    if thickness < least:
        return "thin for a slow drum: a second sinks in and may be nipped"
    return "within the bounds"
