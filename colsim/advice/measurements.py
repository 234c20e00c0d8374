"""What follows from the measurements alone, without simulating."""

from __future__ import annotations

import math
from typing import Literal

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

    Raises
    ------
    ScenarioError
        Where `Container.bottle` or `Container.board_stiffness` does, which is refused already when a scenario is made.
    """
    found: list[tuple[str, str]] = []
    for name, container in scenario.loaded_products.items():
        who = container.name if scenario.container is not None else name
        found += [
            ("fit", _fit(scenario, container, who)),
            ("stiffness", _stiffness(scenario, container)),
            ("bridging", _bridging(scenario, container, name)),
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


def _bridging(scenario: Scenario, container: Container, name: str) -> str:
    column = scenario.column
    needed, grip = _least_needed(scenario, name), _greatest_grip(scenario, name)
    text = (
        f"between plain walls a stack can hold itself up only if walls and containers grip more than {needed:.2f}; "
        f"yours grip {grip:.2f} at most"
    )
    if grip < needed:
        text += ", so the walls alone cannot do it"
    elif (flat := _end(scenario, _path(scenario, name, "set_flat"), container.set_flat, "high")) == 0:
        text += ", but round containers still roll down"
    else:
        text += f", and flats of {flat:g} mm hinder rolling: it may bridge"
    edges = [
        _end(scenario, f"column.liners.{k}.lifted_edge", liner.lifted_edge, "high")
        for k, liner in enumerate(column.liners)
    ]
    places = ["the lifted liner edge"] if any(edge > 0 for edge in edges) else []
    places += ["the converging floor"] if column.floor_height else []
    where = " and ".join([*places, "the throat's edge"])
    return f"{text}. At {where} less is enough: simulate (colsim advise)."


def _least_needed(scenario: Scenario, name: str) -> float:
    """Give the least friction of a bridge where the column is as wide and the container as small as they may be."""
    container = scenario.products[name]
    width = _end(scenario, "column.width", scenario.column.width, "high")
    diameter = _end(scenario, _path(scenario, name, "diameter"), container.diameter, "low")
    flat = _end(scenario, _path(scenario, name, "set_flat"), container.set_flat, "high")
    height = diameter - 2 * flat / math.pi
    return critical_friction(width, height) if width < 2 * height else 0.0


def _greatest_grip(scenario: Scenario, name: str) -> float:
    """Give the friction that walls, liners and containers may reach together, at the upper ends of what they may be."""
    container, column = scenario.products[name], scenario.column

    def on(own: str, otherwise: str, value: float) -> float:
        given = getattr(container, own)
        path = otherwise if given is None else _path(scenario, name, own)
        return _end(scenario, path, value if given is None else given, "high")

    walls = [on("wall_friction", "column.wall_friction", column.wall_friction)] + [
        on("liner_friction", f"column.liners.{k}.friction", liner.friction) for k, liner in enumerate(column.liners)
    ]
    return min(max(walls), _end(scenario, _path(scenario, name, "friction"), container.friction, "high"))


def _path(scenario: Scenario, name: str, field: str) -> str:
    return f"container.{field}" if scenario.container is not None else f"containers.{name}.{field}"


def _end(scenario: Scenario, path: str, value: float, end: Literal["low", "high"]) -> float:
    """Give an end of what a number may be, whether it varies or is unknown; the number itself if it is known."""
    spread = scenario.varying().get(path) or scenario.unknowns().get(path)
    return value if spread is None else float(getattr(spread, end))


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
