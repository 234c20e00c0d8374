"""What follows from the measurements alone, without simulating."""

from __future__ import annotations

import math

from colsim.advice.spacer_bounds import spacer_bounds, spacer_geometry
from colsim.errors import RangeError
from colsim.model import Container, Scenario
from colsim.model.softness import heights_under
from colsim.model.squeeze_test import weight
from colsim.theory.nip import critical_friction, line_of_centres
from colsim.theory.pocket import second_centre

__all__ = ["BEHIND", "what_follows"]

BEHIND = {
    "fit": "cos of that angle = W/d - 1 for width W and diameter d: two touching discs, each on its wall.",
    "stiffness": "a taut skin under a pressure p lies flat over pi/2 of the height s that it loses, so F = (pi/2) p L "
    "s on a straight length L (Tire Science and Technology 3 (1975) 29: an inflated ring between plates).",
    "bridging": "the line from wall contact over pair contact to wall contact makes half that angle with each normal, "
    "so it locks only above tan(angle/2) = sqrt((2d - W)/W); without resistance to rolling it never does, for every "
    "disc can then roll down its wall with no contact sliding.",
    "capacity": "1 + (H - d)/q rounded down, with the zig-zag's pitch q = sqrt(W (2d - W)) (as in arXiv:1311.1069).",
    "pocket": "the middle of a second one lies d/2 + sqrt(d^2 - (w - d)^2) above the floor of a pocket of width w.",
    "spacer": "at most: the first, in a corner of the floor, still clears the housing; at least: drum and wall meet "
    "the second at more than twice atan(friction), as between rolls (Coulson and Richardson vol. 2, section 2.3, from "
    "memory), so that it is pushed out and not nipped.",
}
"""What theory stands behind each number of `what_follows`, by subject."""


def what_follows(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """Say in plain words what the measurements alone tell.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Returns
    -------
    tuple of (str, str)
        Subject and sentence, in the order a technician works; for each kind of container that is loaded.
    """
    found: list[tuple[str, str]] = []
    for name, container in scenario.loaded_products.items():
        who = container.name if scenario.container is not None else name
        found += [
            ("fit", _fit(scenario, container, who)),
            ("stiffness", _stiffness(scenario, container)),
            ("bridging", _bridging(scenario, container)),
            ("capacity", _capacity(scenario, container)),
            ("pocket", _pocket(scenario, container)),
        ]
    return (*found, ("spacer", _spacer(scenario)))


def _fit(scenario: Scenario, container: Container, who: str) -> str:
    d, width = container.height, scenario.column.width
    return (
        f"{who}, {d:.1f} mm, in a column of {width:.1f} mm ({width / d:.2f} diameters): "
        f"{width - d:.1f} mm of free width, neighbours touch {line_of_centres(width, d):.0f} deg above the horizontal."
    )


def _stiffness(scenario: Scenario, container: Container) -> str:
    if container.is_soft:
        (height,) = heights_under(container, [weight(container.mass)], scenario.conditions)
        return (
            f"its wall holds it: one of the same on top presses it {container.diameter - height:.1f} mm flat between "
            "boards, with all that is unknown at its typical value."
        )
    why = "by its gas, with all that is unknown at its typical value" if container.is_held_by_gas else "as measured"
    if "stiffness" in container.spreads:
        why = "a typical value; what is known of its gas or a scale and two boards would tell"
    return f"firm: {container.board_stiffness(scenario.conditions):.0f} N take 1 mm off between boards ({why})."


def _bridging(scenario: Scenario, container: Container) -> str:
    column = scenario.column
    needed = critical_friction(column.width, container.height)
    zones = [zone for wall in ("left", "right") for zone in column.liner_zones(wall)]
    on_wall = column.wall_friction if container.wall_friction is None else container.wall_friction
    on_liners = [zone.friction if container.liner_friction is None else container.liner_friction for zone in zones]
    grip = min(max([on_wall, *on_liners]), container.friction)
    text = (
        f"between plain walls a stack can hold itself up only if walls and containers grip more than {needed:.2f}; "
        f"yours grip {grip:.2f} at most"
    )
    if grip < needed:
        text += ", so the walls alone cannot do it"
    elif container.set_flat == 0:
        text += ", but round containers still roll down"
    else:
        text += f", and flats of {container.set_flat:g} mm hinder rolling: it may bridge"
    places = ["the lifted liner edge"] if any(zone.lifted_edge > 0 for zone in zones) else []
    places += ["the converging floor"] if column.floor_height else []
    where = " and ".join([*places, "the throat's edge"])
    return f"{text}. At {where} less is enough: simulate (colsim advise)."


def _capacity(scenario: Scenario, container: Container) -> str:
    try:
        inside = scenario.column.capacity(container.height)
    except RangeError as error:
        return f"not given by a formula here: {error}."
    return f"about {inside} between the walls, besides the one in the pocket; you load {scenario.load}."


def _pocket(scenario: Scenario, container: Container) -> str:
    rotor, d = scenario.rotor, container.height
    try:
        above = second_centre(rotor.clear_width, d) - rotor.clear_depth
    except RangeError:
        return f"{rotor.clear_width:g} mm wide, at least two containers of {d:g} mm: two can lie in it side by side."
    side = "above" if above >= 0 else "below"
    return (
        f"at rest a second container's middle lies {abs(above):.0f} mm {side} the drum's highest point, "
        f"with the {rotor.spacer_thickness:g} mm spacer described."
    )


def _spacer(scenario: Scenario) -> str:
    least, greatest = spacer_bounds(scenario)
    if greatest < 0:
        return f"none: the container stands {-greatest:.1f} mm proud of the bare pocket and strikes the throat's edge."
    low = (
        "no spacer keeps a slow drum from nipping the second"
        if math.isinf(least)
        else f"at least {least:.1f} mm with a slow drum"
    )
    if least == 0:
        low = "none needed"
    now = spacer_geometry(scenario.rotor.spacer_thickness, (least, greatest))
    return f"{low}, at most {greatest:.1f} mm. You have {scenario.rotor.spacer_thickness:g} mm: {now}."
