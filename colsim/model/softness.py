"""A soft-walled bottle as a technician can describe it, made into the closed form of a squeezed one."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

from colsim.errors import RangeError, ScenarioError
from colsim.model.checks import require_conditions, require_not_negative
from colsim.model.conditions import Conditions
from colsim.model.described import DescribedContainer
from colsim.model.spread import Spread, StandIn
from colsim.model.squeeze_test import SqueezeFit, fit_squeeze_test, height_under, require_readings, weight
from colsim.model.stand_ins import (
    ANY_WALL_THICKNESS,
    BODY_SHARE,
    CREEP_EXPONENT,
    END_STIFFNESS,
    HEADSPACE,
    MODULUS,
    SET_FRACTION,
    WALL_THICKNESS,
)
from colsim.theory.carbonation import COLDEST, HOTTEST, gauge_pressure
from colsim.theory.creep import creep_modulus
from colsim.theory.squeeze import ATMOSPHERE, Bottle

__all__ = [
    "ASSUMED_EMPTY",
    "SIZES_OF_SOFT",
    "SOFTENS",
    "HeightBand",
    "body_length_range",
    "bottle_of",
    "height_band",
    "heights_under",
    "pressure_at",
    "require_sizes_of_soft",
    "soft_ranges",
    "softest_and_stiffest",
    "squeeze_fit_of",
]

AnyContainer = TypeVar("AnyContainer", bound=DescribedContainer)

ASSUMED_EMPTY = 0.035
"""Share of the mass that is wall and cap where nobody weighed an empty one [-], assumed."""
POISSON = 0.38
"""Poisson's ratio of stretched polyester before it yields [-]: film bulletin; data sheet 0.381 to 0.396."""
DENSITY = 1.0
"""Of the drink, as of water [kg/L]; with sugar up to 4 % more (from memory), which counts as so much more drink."""
HEAVIEST = 1.1
"""Density above which a drink does not go into what was measured [kg/L], assumed."""
USUAL_TEMPERATURE = 20.0
"""Where no temperature is given [deg C], assumed."""
THINNEST_RATIO = 20.0
"""Diameter over wall at and above which the wall counts as thin [-]."""
SOFTENS = frozenset({"wall_thickness", "wall_feel", "squeeze_test"})
"""Fields of which one makes a container soft."""
SIZES_OF_SOFT = frozenset({"diameter", "mass", "empty_mass", "headspace", "inside_volume", "body_length", "length"})
"""Fields from which the ranges of a soft container's other sizes follow."""
_KELVIN = 273.15
_MINUTES = 24 * 60.0  # in a day
_LONGEST_BODY = 0.95  # share of the length that an assumed body is kept below
_LEAST_BODY, _GREATEST_BODY = 5.0, 400.0  # [mm], bounds of the field


# What is not measured


def soft_ranges(given: Mapping[str, Spread], words: Mapping[str, object]) -> dict[str, StandIn]:
    """Give the ranges of what nobody measured of a soft container.

    Parameters
    ----------
    given : mapping of str to Spread
        Numbers that were given, by field; plain ones as fixed.
    words : mapping of str to object
        All that was given, ``wall_feel`` and ``squeeze_test`` among it.

    Returns
    -------
    dict of str to StandIn
        By field. The length of the body follows from what the bottle holds, and the gas left in it from the body if
        that was measured, so that no end of a range contradicts the measurements.

    Notes
    -----
    A squeeze test overrides what the wall is made of: thickness, modulus and ends stay at their typical values, and
    the factor that is fitted to the readings carries what these miss.
    """
    tested = bool(words.get("squeeze_test"))
    ranges = {
        "modulus": MODULUS,
        "end_stiffness": END_STIFFNESS,
        "set_fraction": SET_FRACTION,
        "headspace": _headspace(given),
        "wall_thickness": WALL_THICKNESS.get(str(words.get("wall_feel")), ANY_WALL_THICKNESS),
    }
    if tested and "diameter" in given:
        ranges["tested_diameter"] = _fixed(given["diameter"].typical, "as diameter")
    if (body := body_length_range(given)) is not None:
        ranges["body_length"] = body
    overridden = {"modulus", "end_stiffness", "wall_thickness"} if tested else set()
    return {
        name: _fixed(spread.typical, "by the squeeze test") if name in overridden else spread
        for name, spread in ranges.items()
    }


def _fixed(value: float, origin: str) -> StandIn:
    return StandIn(kind="unknown", shape="fixed", typical=value, origin=origin)


def _headspace(given: Mapping[str, Spread]) -> StandIn:
    """Give the range of the headspace, from where the straight body alone does not hold more than the bottle."""
    if "body_length" not in given or "inside_volume" in given or not {"diameter", "mass"} <= given.keys():
        return HEADSPACE
    drink = _drink(given, "low")
    least = 1 - drink / _round_area(given["diameter"].high) / given["body_length"].high * 1000
    if not HEADSPACE.low < least < HEADSPACE.high:
        return HEADSPACE
    typical, high = max(HEADSPACE.typical, least), HEADSPACE.high
    origin = f"{HEADSPACE.origin}; the body holds too much for less"
    return StandIn(kind="unknown", low=least, typical=typical, high=high, origin=origin)


def body_length_range(given: Mapping[str, Spread]) -> StandIn | None:
    """Give the range of the length of the straight body, by what the bottle holds.

    Parameters
    ----------
    given : mapping of str to Spread
        As for `soft_ranges`.

    Returns
    -------
    StandIn or None
        [mm]; None where it does not follow from what was given.
    """
    if not {"diameter", "mass"} <= given.keys():
        return None
    gas = given.get("headspace", _headspace(given))

    def whole(volume: float, area: float) -> float:  # length at which the body would hold all [mm]
        return 1000 * volume / area

    if (inside := given.get("inside_volume")) is not None:
        least, typical = inside.low, inside.typical
    else:
        least, typical = _drink(given, "low") / (1 - gas.low), _drink(given, "typical") / (1 - gas.typical)
    longest = min(
        whole(typical, _round_area(given["diameter"].typical)),
        whole(least, _round_area(given["diameter"].high)) * 0.96 / BODY_SHARE.high,
    )
    if "length" in given:
        longest = min(longest, _LONGEST_BODY * given["length"].low / BODY_SHARE.high)
    if not 2 * _LEAST_BODY < longest < _GREATEST_BODY:
        return None  # what it follows from is out of bounds, which is told elsewhere
    low, middle, high = (share * longest for share in (BODY_SHARE.low, BODY_SHARE.typical, BODY_SHARE.high))
    return StandIn(kind="unknown", low=low, typical=middle, high=high, origin=BODY_SHARE.origin)


def _round_area(diameter: float) -> float:
    return math.pi / 4 * diameter**2


def _drink(given: Mapping[str, Spread], end: Literal["low", "typical"]) -> float:
    """Give the volume of the drink [ml] at its least or its typical."""
    mass = getattr(given["mass"], end)
    empty = ASSUMED_EMPTY * mass
    if "empty_mass" in given:
        empty = given["empty_mass"].high if end == "low" else given["empty_mass"].typical
    return float(1000 * (mass - empty) / DENSITY)


# Volume and pressure


def inside_volume(container: DescribedContainer) -> float:
    """Give the volume inside a soft container [ml]: as measured, or what it holds as water over 1 less headspace."""
    if container.inside_volume is not None:
        return container.inside_volume
    return 1000 * container.contents / DENSITY / (1 - _needed(container, "headspace"))


def body_share(container: DescribedContainer) -> float:
    """Give the share of the inside that lies in the straight body [-]; above 1 the sizes do not go together."""
    volume = _round_area(container.diameter) * _needed(container, "body_length") / 1000
    return volume / inside_volume(container)


def _needed(container: DescribedContainer, name: str) -> float:
    value = getattr(container, name)
    if value is None:
        raise ScenarioError(
            [(name, f"missing; a soft wall needs it, and it does not follow from the rest here: give {name}")]
        )
    return float(value)


def require_sizes_of_soft(container: DescribedContainer) -> None:
    """Refuse a soft container whose sizes do not go together.

    Parameters
    ----------
    container : Container
        A soft one.

    Raises
    ------
    ScenarioError
        If the wall is not thin, the body longer than the container, the body or the drink more than the inside, or
        the readings of the squeeze test make no sense.
    """
    d, wall = container.diameter, _needed(container, "wall_thickness")
    if wall * THINNEST_RATIO > d:
        raise ScenarioError(
            [
                (
                    "wall_thickness",
                    f"got {wall:g} mm; allowed: at most a twentieth of the diameter ({d / THINNEST_RATIO:g} mm); leave "
                    "out wall_thickness and wall_feel for a firm container, and measure its stiffness",
                )
            ]
        )
    inside, drink = inside_volume(container), 1000 * container.contents
    room = math.inf if container.length is None else _round_area(d) * container.length / 1000
    if drink > HEAVIEST * room:
        text = f"got {container.length:g} mm; {drink:.0f} g of drink do not go into that at {d:g} mm; measure all again"
        raise ScenarioError([("length", text)])
    body = _needed(container, "body_length")
    if container.length is not None and body > container.length:
        text = f"got {body:g} mm; allowed: at most the length ({container.length:g} mm); measure between the shoulders"
        raise ScenarioError([("body_length", text)])
    if drink > HEAVIEST * inside:
        text = f"got {inside:g} ml; {drink:.0f} g of drink do not go in; weigh it and fill it to the brim again"
        raise ScenarioError([("inside_volume", text)])
    if (share := body_share(container)) > 1 + 1e-9:
        text = (
            f"got {body:g} mm; with the diameter of {d:g} mm the body alone would hold {share * inside:.0f} ml, but "
            f"the bottle holds {inside:.0f} ml in all (from "
            f"{'inside_volume' if container.inside_volume is not None else 'mass, empty_mass and headspace'}); "
            f"allowed: at most {body / share:.1f} mm; measure the straight part between the shoulders, and these, again"
        )
        raise ScenarioError([("body_length", text)])
    if container.squeeze_test:
        require_readings(
            container.squeeze_test, container.mass, diameter=container.tested_diameter or container.diameter
        )


def pressure_at(container: DescribedContainer, conditions: Conditions | None, *, warm: bool = False) -> float:
    r"""Give the gauge pressure in a closed container before anything presses on it.

    .. math:: p = (p_f + p_a) \frac{T_s}{T_f} - p_a

    Parameters
    ----------
    container : Container
        With its gas: ``gauge_pressure`` at the temperature of loading, or a drink with carbonation, or still.
    conditions : Conditions or None
        Temperature of loading T_f and of service T_s; 20 deg C is assumed where one is not given.
    warm : bool
        Whether to give it at the temperature of loading in place of that of service.

    Returns
    -------
    float
        Gauge pressure p [kPa]: 0 if still and no temperature is given, negative if filled warm and served cold.

    Raises
    ------
    ScenarioError
        If a drink with carbonation is colder or hotter than its pressure is known for.

    Notes
    -----
    Gas in the headspace keeps its volume; vapour pressure of water (2 kPa at 20 deg C) and air going into solution are
    left out. The pressure of a carbonated drink is that of its gas in balance with it at the temperature asked for;
    below 1 volume it is in proportion (Henry's law), down to what sealed air makes alone (assumed: no drink is closed
    below the pressure of the air outside).

    References
    ----------
    Ideal gas law; `colsim.theory.carbonation.gauge_pressure`.
    """
    loading, service = (
        USUAL_TEMPERATURE if value is None else value
        for value in (
            (None, None) if conditions is None else (conditions.loading_temperature, conditions.service_temperature)
        )
    )
    now = loading if warm else service
    filled = container.gauge_pressure or 0.0
    sealed = (filled + ATMOSPHERE) * (now + _KELVIN) / (loading + _KELVIN) - ATMOSPHERE
    if container.gauge_pressure is not None or not container.carbonation:
        return sealed
    return max(sealed, _of_carbonation(container.carbonation, now, "loading" if warm else "service"))


def _of_carbonation(volumes: float, temperature: float, when: str) -> float:
    if not COLDEST <= temperature <= HOTTEST:
        raise ScenarioError(
            [
                (
                    f"conditions.{when}_temperature",
                    f"got {temperature:g} deg C for a drink of {volumes:g} volumes; allowed: {COLDEST:g} to "
                    f"{HOTTEST:g} deg C, where its pressure is known; or give the container's gauge_pressure",
                )
            ]
        )
    at_one = gauge_pressure(max(volumes, 1.0), temperature)
    return min(volumes, 1.0) * (at_one + ATMOSPHERE) - ATMOSPHERE


# The bottle


def bottle_of(container: DescribedContainer, conditions: Conditions | None = None) -> Bottle | None:
    """Make the closed form of a squeezed bottle; `Container.bottle` is its front.

    Parameters
    ----------
    container : Container
        What was measured or stood in for.
    conditions : Conditions, optional
        As for `Container.bottle`.

    Returns
    -------
    Bottle or None
        None if the container is not soft.

    Raises
    ------
    ScenarioError
        If the conditions are something else; a size that a soft wall needs is missing; a drink with carbonation is
        colder or hotter than its pressure is known for; or numbers are outside the range where the closed form holds.
    """
    require_conditions(conditions)
    if not container.is_soft:
        return None
    fit = squeeze_fit_of(container, conditions)
    bottle = _as_described(container, conditions)
    if fit is not None:
        bottle = replace(bottle, end_stiffness=fit.end_stiffness, pressure=bottle.pressure + fit.pressure_shift)
    return _after_days(bottle, container, conditions)


def _after_days(bottle: Bottle, container: DescribedContainer, conditions: Conditions | None) -> Bottle:
    """Let the wall creep for the days in the column; last, as a squeeze test is made on a fresh bottle in minutes."""
    if conditions is None or conditions.days == 0:
        return bottle
    exponent = CREEP_EXPONENT.typical if container.creep_exponent is None else container.creep_exponent
    return replace(bottle, modulus=creep_modulus(bottle.modulus, conditions.days * _MINUTES, exponent))


def _as_described(container: DescribedContainer, conditions: Conditions | None) -> Bottle:
    """Make the fresh bottle of what was measured of wall, gas and sizes, leaving the squeeze test aside."""
    try:
        return Bottle(
            diameter=container.diameter,
            length=_needed(container, "body_length"),
            wall_thickness=_needed(container, "wall_thickness"),
            modulus=_needed(container, "modulus"),
            poisson=POISSON,
            headspace=_needed(container, "headspace"),
            body_share=min(1.0, body_share(container)),
            pressure=pressure_at(container, conditions),
            end_stiffness=_needed(container, "end_stiffness"),
        )
    except RangeError as error:
        raise ScenarioError(f"{container.name} as a soft bottle: {error}") from None


# The squeeze test


def squeeze_fit_of(container: DescribedContainer, conditions: Conditions | None = None) -> SqueezeFit | None:
    """Fit a container's squeeze test; `Container.squeeze_fit` is its front.

    Parameters
    ----------
    container : Container
        What was measured or stood in for.
    conditions : Conditions, optional
        As for `Container.squeeze_fit`.

    Returns
    -------
    SqueezeFit or None
        None without a test.

    Raises
    ------
    ScenarioError
        As `bottle_of`, or if there are fewer than three readings.
    """
    require_conditions(conditions)
    if not container.squeeze_test:
        return None
    bottle = _as_described(container, conditions)
    tested = container.diameter if container.tested_diameter is None else container.tested_diameter
    share = min(1.0, bottle.body_share * (tested / bottle.diameter) ** 2)
    pressures = tuple(
        pressure_at(container, conditions, warm=reading.temperature == "warm") for reading in container.squeeze_test
    )
    # Between boards the top bears the load and the bottom the bottle too: on average half of it.
    own = weight(container.mass) / 2
    loads = tuple(reading.load_on_top(container.mass) + own for reading in container.squeeze_test)
    heights = tuple(reading.height for reading in container.squeeze_test)
    as_tested = replace(bottle, diameter=tested, body_share=share, end_stiffness=1.0)
    return fit_squeeze_test(
        as_tested, loads, heights, pressures=pressures, fit_pressure=container.gauge_pressure is None
    )


# How far it could be from that


def heights_under(
    container: DescribedContainer, loads_on_top: Sequence[float], conditions: Conditions | None = None
) -> list[float]:
    """Give the height of a soft container between two boards.

    Parameters
    ----------
    container : Container
        A soft one.
    loads_on_top : sequence of float
        What presses from above [N]; half of its own weight is added.
    conditions : Conditions, optional
        As for `Container.bottle`.

    Returns
    -------
    list of float
        Heights [mm]; 0 where it lies flat.

    Raises
    ------
    ScenarioError
        If the container is not soft, or a load is no finite number or below 0; or as `bottle_of`.
    """
    require_not_negative(loads_on_top=loads_on_top)
    bottle = bottle_of(container, conditions)
    if bottle is None:
        raise ScenarioError(f"{container.name} has no soft wall; give wall_thickness, wall_feel or squeeze_test of it")
    return [height_under(bottle, load + weight(container.mass) / 2) for load in loads_on_top]


@dataclass(frozen=True)
class HeightBand:
    """Heights of a soft container under several loads on top [mm]: lowest, typical and highest that may be."""

    lowest: tuple[float, ...]
    typical: tuple[float, ...]
    highest: tuple[float, ...]


def height_band(
    container: DescribedContainer, loads_on_top: Sequence[float], conditions: Conditions | None = None
) -> HeightBand:
    """Give the height of a soft container between two boards, and how far it could be from that.

    Parameters
    ----------
    container, loads_on_top, conditions
        As for `heights_under`.

    Returns
    -------
    HeightBand
        Between what `softest_and_stiffest` gives for the least, the middle and the greatest of the loads.

    Raises
    ------
    ScenarioError
        As `heights_under` and `softest_and_stiffest`.
    """
    require_not_negative(loads_on_top=loads_on_top)
    loads = sorted(loads_on_top)
    ends = [
        end
        for load in dict.fromkeys((loads[0], loads[len(loads) // 2], loads[-1]))
        for end in softest_and_stiffest(container, conditions, load=load)
    ]
    typical = heights_under(container, loads_on_top, conditions)
    curves = [typical, *(heights_under(end, loads_on_top, conditions) for end in ends)]
    lowest, highest = (tuple(pick(heights) for heights in zip(*curves, strict=True)) for pick in (min, max))
    return HeightBand(lowest, tuple(typical), highest)


def softest_and_stiffest(
    container: AnyContainer, conditions: Conditions | None = None, *, load: float = 50.0
) -> tuple[AnyContainer, AnyContainer]:
    """Give the container with each unknown at the end that makes it softer, and at the one that makes it stiffer.

    Parameters
    ----------
    container : Container
        A soft one, with its spreads.
    conditions : Conditions, optional
        As for `Container.bottle`.
    load : float
        Load on top under which softer and stiffer are told apart, one unknown at a time [N].

    Returns
    -------
    tuple of (Container, Container)
        Without spreads.

    Raises
    ------
    ScenarioError
        If the container is not soft, or the ends do not go together.
    """
    ends: dict[str, tuple[float, float]] = {}
    for name, spread in container.spreads.items():
        if spread.kind == "unknown" and spread.low < spread.high:
            at_low, at_high = (
                heights_under(container.with_known({name: end}), [load], conditions)[0]
                for end in (spread.low, spread.high)
            )
            ends[name] = (spread.low, spread.high) if at_low <= at_high else (spread.high, spread.low)
    softest, stiffest = ({name: pair[k] for name, pair in ends.items()} for k in (0, 1))
    return container.with_known(softest), container.with_known(stiffest)
