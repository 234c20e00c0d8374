"""How stiff a container is whose shape its gas holds, and when it is its wall that holds it."""

from __future__ import annotations

from collections.abc import Mapping

from colsim.errors import ScenarioError
from colsim.model.checks import require_conditions
from colsim.model.conditions import Conditions
from colsim.model.described import DescribedContainer
from colsim.model.softness import (
    SIZES_OF_SOFT,
    SOFTENS,
    USUAL_TEMPERATURE,
    body_length_range,
    pressure_at,
)
from colsim.model.spread import Spread, StandIn
from colsim.model.stand_ins import ANY_STIFFNESS, CAN_BODY, CARBONATION
from colsim.theory.contact import in_series, skin_stiffness

__all__ = ["NUMBERS_OF_SHAPE", "board_stiffness", "firm_ranges", "is_described_soft", "require_sizes_of_firm"]

STILL_CARBONATION = 1.0
"""Carbonation up to which a drink counts as still [volumes]: the gas that water takes up from one atmosphere of it at
some 15 deg C, so that in a cold machine it does not press (Henry's law)."""
STILL_PRESSURE = 5.0
"""Gauge pressure up to which a drink counts as still [kPa], assumed: 15 deg C less take as much off
sealed air (ideal gas law)."""
LEAST_STIFFNESS = 2.0
"""Between two boards, below which gas alone holds no shape [N/mm], assumed: the 5 N of one other on top take off
2.5 mm."""
NUMBERS_OF_SHAPE = SIZES_OF_SOFT | {"carbonation", "gauge_pressure"}
"""Numbers from which it follows whether a container is soft, and over what the rest of it is unknown."""


def is_described_soft(given: Mapping[str, Spread], words: Mapping[str, object]) -> bool:
    """Tell whether what was said of a container leaves it to its wall to hold its shape.

    Parameters
    ----------
    given : mapping of str to Spread
        Numbers that were given, by field; plain ones as fixed.
    words : mapping of str to object
        All that was given.

    Returns
    -------
    bool
        True if its wall or a squeeze test is described, or if it is still: the drink, or the low end of its
        carbonation or of its gauge pressure, whichever goes first. False if its stiffness is given.
    """
    if any(words.get(name) for name in SOFTENS):
        return True
    if words.get("stiffness") is not None:
        return False
    if words.get("gauge_pressure") is not None:
        return "gauge_pressure" in given and given["gauge_pressure"].low <= STILL_PRESSURE
    if words.get("carbonation") is not None:
        return "carbonation" in given and given["carbonation"].low <= STILL_CARBONATION
    drink = CARBONATION.get(str(words.get("drink")))
    return drink is not None and drink.low <= STILL_CARBONATION


def firm_ranges(given: Mapping[str, Spread], words: Mapping[str, object]) -> dict[str, StandIn]:
    """Give the ranges of what nobody measured of a container that is not soft.

    Parameters
    ----------
    given, words
        As for `is_described_soft`.

    Returns
    -------
    dict of str to StandIn
        Of its stiffness if nothing is said of it or of its gas. Of the length of its body if its gas is known: by the
        length of a can, else by what it holds. Nothing if its stiffness is given.
    """
    if words.get("stiffness") is not None:
        return {}
    if all(words.get(name) is None for name in ("gauge_pressure", "carbonation", "drink")):
        return {"stiffness": ANY_STIFFNESS}
    body = body_length_range(given)
    if str(words.get("surface")) == "can" and "length" in given:
        body = _share_of(given["length"].low)
    return {} if body is None else {"body_length": body}


def _share_of(length: float) -> StandIn:
    low, typical, high = (share * length for share in (CAN_BODY.low, CAN_BODY.typical, CAN_BODY.high))
    return StandIn(kind="unknown", low=low, typical=typical, high=high, origin=CAN_BODY.origin)


def require_sizes_of_firm(container: DescribedContainer) -> None:
    """Refuse a container held by its gas whose straight body is not known, or longer than the container.

    Parameters
    ----------
    container : Container
        One that is held by its gas.

    Raises
    ------
    ScenarioError
        As said.
    """
    body, length = container.body_length, container.length
    if body is None:
        text = "missing; its gas presses along it, and it does not follow from the rest here: give it, or stiffness"
        raise ScenarioError([("body_length", text)])
    if length is not None and body > length:
        text = f"got {body:g} mm; allowed: at most the length ({length:g} mm); measure the straight part again"
        raise ScenarioError([("body_length", text)])


def board_stiffness(container: DescribedContainer, conditions: Conditions | None = None) -> float:
    """Give the stiffness of a firm container between two boards; `Container.board_stiffness` is its front.

    Parameters
    ----------
    container : Container
        What was measured or stood in for.
    conditions : Conditions, optional
        As for `Container.board_stiffness`.

    Returns
    -------
    float
        Force over the height lost [N/mm].

    Raises
    ------
    ScenarioError
        If the conditions are something else; the container is soft; neither its stiffness nor the length of its body is
        known; its gas presses too little to hold any shape; or a drink with carbonation is colder or hotter than its
        pressure is known for.
    """
    require_conditions(conditions)
    if container.is_soft:
        text = "its wall holds it, so that no one number says how it gives way; ask for its bottle"
        raise ScenarioError(f"{container.name} is soft: {text}")
    if container.stiffness is not None:
        return container.stiffness
    body = container.body_length
    if body is None:  # refused when it was made
        raise ScenarioError([("body_length", "missing; give it, or stiffness")])
    pressure = pressure_at(container, conditions)
    one_side = skin_stiffness(pressure, body) if pressure > 0 else 0.0
    stiffness = in_series(one_side, one_side) if one_side else 0.0
    if stiffness < LEAST_STIFFNESS:
        raise ScenarioError([_no_shape(container, conditions, pressure, stiffness)])
    return stiffness


def _no_shape(
    container: DescribedContainer, conditions: Conditions | None, pressure: float, stiffness: float
) -> tuple[str, str]:
    service = None if conditions is None else conditions.service_temperature
    temperature = USUAL_TEMPERATURE if service is None else service
    name = "carbonation" if container.gauge_pressure is None else "gauge_pressure"
    return (
        name,
        f"got {getattr(container, name):g}, which at {temperature:g} deg C presses with {pressure:.0f} kPa and makes "
        f"{stiffness:.1f} N/mm between boards; allowed: {LEAST_STIFFNESS:g} N/mm or more, below which gas alone holds "
        "no shape; describe its wall (wall_feel, wall_thickness or squeeze_test), or measure its stiffness",
    )
