"""Friction from a tilting board or a sled, and the width of a set flat from a tilting board."""

from __future__ import annotations

import math
from dataclasses import dataclass

from colsim.theory._checks import require, require_not_negative, require_positive

__all__ = ["FrictionReading", "flat_width", "friction_from_board", "friction_from_sled", "rolling_angle"]


@dataclass(frozen=True)
class FrictionReading:
    """A coefficient of friction with its bounds from the reading error.

    Attributes
    ----------
    typical : float
        Coefficient at the reading itself [-].
    low : float
        Coefficient at the reading less its error, never below 0 [-].
    high : float
        Coefficient at the reading plus its error [-].
    """

    typical: float
    low: float
    high: float


def friction_from_board(angle: float, *, reading_error: float = 0.0) -> FrictionReading:
    r"""Give the friction from the angle at which something starts to slide on a tilting board.

    .. math:: \mu = \tan\alpha, \qquad \tan(\alpha - e) \le \mu \le \tan(\alpha + e)

    Parameters
    ----------
    angle : float
        Tilt of the board when it starts to slide [degrees].
    reading_error : float
        Most that the reading can be wrong by, either way [degrees].

    Returns
    -------
    FrictionReading
        Coefficient of friction with its bounds [-].

    Raises
    ------
    RangeError
        If angle or error is negative or not finite, or they come to 90 degrees or more together.

    Notes
    -----
    Coulomb friction, board tilted slowly. Lay a bottle with its axis along the slope, so that it cannot roll. The
    bounds hold the reading error only: the scatter between trials and between bottles is often larger. The rise over
    the board's length is the sine, not the tangent; over its level base it is the tangent.

    References
    ----------
    TAPPI T 815, inclined plane. Published values for one pair of materials differ by two to four times.

    Examples
    --------
    >>> reading = friction_from_board(15.0, reading_error=1.0)
    >>> round(reading.low, 3), round(reading.typical, 3), round(reading.high, 3)
    (0.249, 0.268, 0.287)
    """
    require_not_negative(angle=angle, reading_error=reading_error)
    require(
        angle + reading_error < 90,
        f"angle and reading_error together must stay below 90 degrees: got {angle:g} and {reading_error:g}. "
        "So steep a board does not measure friction; read the angle from level again",
    )
    low, typical, high = (
        math.tan(math.radians(reading)) for reading in (max(0.0, angle - reading_error), angle, angle + reading_error)
    )
    return FrictionReading(typical=typical, low=low, high=high)


def friction_from_sled(force: float, weight: float, *, reading_error: float = 0.0) -> FrictionReading:
    r"""Give the friction from the pull that moves a loaded sled along a level surface.

    .. math:: \mu = \frac{F}{w}, \qquad \frac{F - e}{w} \le \mu \le \frac{F + e}{w}

    Parameters
    ----------
    force : float
        Level pull F that moves the sled [N].
    weight : float
        Weight w of the sled with what it carries [N].
    reading_error : float
        Most that the pull can be misread by, either way [N].

    Returns
    -------
    FrictionReading
        Coefficient of friction with its bounds [-].

    Raises
    ------
    RangeError
        If force or error is negative or not finite, or the weight is not positive and finite.

    Notes
    -----
    Level surface, level pull. Any one unit of force may be used for all three (a luggage scale and a kitchen scale
    both in grams will do). The highest pull before it moves gives friction at rest, the steady pull friction in motion.

    References
    ----------
    The principle of ASTM D1894 and ISO 8295, plastic film on a sled; their results are not comparable with each other.

    Examples
    --------
    >>> friction_from_sled(0.5, 2.0, reading_error=0.1)
    FrictionReading(typical=0.25, low=0.2, high=0.3)
    """
    require_not_negative(force=force, reading_error=reading_error)
    require_positive(weight=weight)
    return FrictionReading(
        typical=force / weight,
        low=max(0.0, force - reading_error) / weight,
        high=(force + reading_error) / weight,
    )


def flat_width(diameter: float, angle: float) -> float:
    r"""Give the width of a set flat from the angle at which a bottle starts to roll on a tilting board.

    .. math:: \tan\alpha = \frac{b}{h}, \quad h = d - \frac{2b}{\pi}
        \qquad\Rightarrow\qquad b = \frac{d \tan\alpha}{1 + \frac{2}{\pi}\tan\alpha}

    Parameters
    ----------
    diameter : float
        Diameter d of the bottle where it is round [mm].
    angle : float
        Tilt of the board when the bottle starts to roll, its axis across the slope [degrees].

    Returns
    -------
    float
        Width b of the flat [mm]; 0 for a round bottle.

    Raises
    ------
    RangeError
        If the diameter is not positive and finite, or if not 0 <= angle < 90.

    Notes
    -----
    Two opposite flats, rim kept (a stadium of height h), mass in the middle of the section: brim-full or empty. If
    the bottle slides before it rolls, the flat is at least as wide as this; put a rougher sheet under it.

    References
    ----------
    Plane geometry: it rolls when its middle, h/2 above the board, comes over the end of the flat, b/2 from it.

    Examples
    --------
    >>> round(flat_width(66.0, 5.0), 2)
    5.47
    """
    require_positive(diameter=diameter)
    require(
        math.isfinite(angle) and 0 <= angle < 90,
        f"angle must be at least 0 and less than 90 degrees: got {angle!r}. Read it from level again",
    )
    slope = math.tan(math.radians(angle))
    return diameter * slope / (1 + 2 / math.pi * slope)


def rolling_angle(diameter: float, flat: float) -> float:
    r"""Give the angle at which a bottle with a set flat starts to roll on a tilting board.

    .. math:: \tan\alpha = \frac{b}{h}, \qquad h = d - \frac{2b}{\pi}

    Parameters
    ----------
    diameter : float
        Diameter d of the bottle where it is round [mm].
    flat : float
        Width b of the flat [mm].

    Returns
    -------
    float
        Tilt of the board [degrees], from 0 (round) to 90 (pressed quite flat).

    Raises
    ------
    RangeError
        If the diameter is not positive and finite, or if not 0 <= b < pi d / 2.

    Notes
    -----
    As for `flat_width`, whose inverse this is. It slides first if the friction is below the tangent of this angle.

    References
    ----------
    As for `flat_width`.

    Examples
    --------
    >>> round(rolling_angle(73.0, 4.7124), 2)
    3.85
    """
    require_positive(diameter=diameter)
    require(
        math.isfinite(flat) and 0 <= flat < math.pi * diameter / 2,
        f"flat must be at least 0 and less than half the rim: got {flat!r} mm (allowed 0 to below "
        f"{math.pi * diameter / 2:g} mm). Measure it again",
    )
    return math.degrees(math.atan2(flat, max(0.0, diameter - 2 * flat / math.pi)))
