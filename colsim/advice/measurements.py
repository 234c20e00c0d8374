"""What follows from the measurements alone, without simulating."""

from __future__ import annotations

import math

from colsim.advice.spacer import spacer_bounds, spacer_geometry
from colsim.errors import RangeError
from colsim.model import Scenario
from colsim.theory.nip import critical_friction, line_of_centres
from colsim.theory.packing import capacity
from colsim.theory.pocket import second_centre

__all__ = ["what_follows"]


def what_follows(scenario: Scenario) -> tuple[tuple[str, str], ...]:
    """Say in plain words what the measurements alone tell.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Returns
    -------
    tuple of (str, str)
        Subject and sentence, in the order a technician works.
    """
    return (
        ("fit", _fit(scenario)),
        ("bridging", _bridging(scenario)),
        ("capacity", _capacity(scenario)),
        ("pocket", _pocket(scenario)),
        ("spacer", _spacer(scenario)),
    )


def _fit(scenario: Scenario) -> str:
    d, width = scenario.container.height, scenario.column.width
    return (
        f"{scenario.container.name}, {d:.1f} mm, in a column of {width:.1f} mm ({width / d:.2f} diameters): "
        f"{width - d:.1f} mm of free width, neighbours touch {line_of_centres(width, d):.0f} deg above the horizontal."
    )


def _bridging(scenario: Scenario) -> str:
    column, container = scenario.column, scenario.container
    needed = critical_friction(column.width, container.height)
    frictions = [
        column.wall_friction,
        *(friction for wall in ("left", "right") for _, _, friction in column.liner_zones(wall)),
    ]
    grip = min(max(frictions), container.friction)
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
    where = "the converging floor and the throat's edge" if column.floor_height else "the throat's edge"
    return f"{text}. At {where} less is enough: simulate (colsim advise)."


def _capacity(scenario: Scenario) -> str:
    column, container = scenario.column, scenario.container
    try:
        inside = capacity(column.height - column.floor_height, container.height, column.width)
    except RangeError as error:
        return f"not given by a formula here: {error}."
    return f"about {inside} between the walls, besides the one in the pocket; you load {scenario.loading.count} in all."


def _pocket(scenario: Scenario) -> str:
    rotor, d = scenario.rotor, scenario.container.height
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
