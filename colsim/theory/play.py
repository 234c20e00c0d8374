"""Axial play: stop distances at which a tilted container can wedge between its end stops.

The container is a rectangle, length by diameter, in the plane through its axis. Tilted, it touches one stop with the
lower corner of its high end and the other with the upper corner of its low end. How steep the line between these two
contacts is decides whether friction can hold it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from colsim.theory._checks import require, require_not_negative, require_positive

__all__ = ["BindingWindow", "binding_window", "holds_own_weight", "self_locks", "wedge_slope"]


@dataclass(frozen=True)
class BindingWindow:
    """Stop distances at which a container can wedge: from least to below greatest.

    Attributes
    ----------
    least : float
        Least stop distance that can wedge [mm]. Where no play is safe it is the length itself.
    greatest : float
        Stop distance from which on no such wedge exists [mm]; not itself in the window. Without friction, or with
        ends rounded to half the diameter, least and greatest are the same, and nothing wedges.
    none_safe : bool
        Whether every stop distance that the container fits in, short of the greatest, can wedge.
    """

    least: float
    greatest: float
    none_safe: bool


def _inner_diagonal(length: float, diameter: float, corner_radius: float) -> float:
    """Give the diagonal of the rectangle of the corners' centres, once the numbers make sense."""
    require_positive(length=length, diameter=diameter)
    require(
        math.isfinite(corner_radius) and 0 <= corner_radius <= min(length, diameter) / 2,
        f"corner_radius must lie between 0 and half the shorter of length and diameter: got {corner_radius!r} mm "
        f"(allowed 0 to {min(length, diameter) / 2:g} mm). Measure it again",
    )
    return math.hypot(length - 2 * corner_radius, diameter - 2 * corner_radius)


def binding_window(length: float, diameter: float, friction: float, *, corner_radius: float = 0.0) -> BindingWindow:
    r"""Give the stop distances at which a tilted container can wedge between equal stops.

    Closer stops leave it so level that it slides down; further apart it can turn right over.

    .. math:: \frac{D}{\sqrt{1 + \mu^2}} \le S < D, \qquad D = \sqrt{L^2 + d^2}

    With rounded corners, :math:`D_c` being the diagonal between the corners' centres:

    .. math:: \frac{2c + \sqrt{(1 + \mu^2) D_c^2 - 4 c^2 \mu^2}}{1 + \mu^2} \le S < D_c + 2c, \qquad
        D_c = \sqrt{(L - 2c)^2 + (d - 2c)^2}

    Parameters
    ----------
    length : float
        Length L of what lies between the stops [mm].
    diameter : float
        Diameter d of the container at its ends [mm].
    friction : float
        Friction of container on stop [-].
    corner_radius : float
        Radius c of the container's corners in the plane through its axis [mm].

    Returns
    -------
    BindingWindow
        Least and greatest stop distance [mm], and whether no play is safe. Play is the stop distance less L.

    Raises
    ------
    RangeError
        If a length is not positive and finite, friction or corner radius is negative or not finite, or the
        corner radius is more than half the length or diameter.

    Notes
    -----
    Plane, rigid, flat parallel upright stops of one friction. No play is safe iff the friction is at least (d - 2c)/L.
    With unlike stops the smaller friction bounds where it locks under any load, the mean of the two where it
    can stay up under its own weight alone (rougher stop at the high end). A wedge of one corner on a stop and another
    on a ledge or a side wall is not covered.

    References
    ----------
    Two contacts lock when the line between them lies within both friction cones: wedging of a peg in a hole, Whitney,
    J. Dyn. Syst. Meas. Control 104 (1982) 65; V.-D. Nguyen, Int. J. Robotics Res. 7 (1988) 3 (both from memory).

    Examples
    --------
    >>> window = binding_window(210.0, 66.0, 0.25)
    >>> round(window.least - 210, 1), round(window.greatest - 210, 1), window.none_safe
    (3.6, 10.1, False)
    >>> binding_window(210.0, 66.0, 0.32).none_safe
    True
    """
    diagonal = _inner_diagonal(length, diameter, corner_radius)
    require_not_negative(friction=friction)
    rounding = 2 * corner_radius
    greatest = max(diagonal + rounding, length)
    if diameter <= rounding:
        return BindingWindow(least=greatest, greatest=greatest, none_safe=False)
    if friction * length >= diameter - rounding:
        return BindingWindow(least=length, greatest=greatest, none_safe=True)
    grip = math.hypot(1.0, friction)
    least = (rounding + math.sqrt((grip * diagonal) ** 2 - (friction * rounding) ** 2)) / grip**2
    return BindingWindow(least=min(max(least, length), greatest), greatest=greatest, none_safe=False)


def wedge_slope(stop_distance: float, length: float, diameter: float, *, corner_radius: float = 0.0) -> float:
    r"""Give the slope of the line between the two contacts of a tilted container.

    It is steepest with no play, and level when the container just reaches across with its diagonal.

    .. math:: \tan\beta = \frac{\sqrt{(L - 2c)^2 + (d - 2c)^2 - (S - 2c)^2}}{S}

    Parameters
    ----------
    stop_distance : float
        Distance S between the stops [mm].
    length : float
        Length L of what lies between them [mm].
    diameter : float
        Diameter d of the container at its ends [mm].
    corner_radius : float
        Radius c of the container's corners in the plane through its axis [mm].

    Returns
    -------
    float
        Tangent of the angle of that line to the stops' normals [-]: compare it with friction.

    Raises
    ------
    RangeError
        If a length is not positive and finite, the corner radius negative, not finite or too large, the stops
        closer than the length, or so far apart that the container never touches both.

    Notes
    -----
    As for `binding_window`. With length and diameter exchanged it holds for a container that lies askew
    between side walls, seen from above.

    References
    ----------
    Plane geometry: the tilted container reaches (L - 2c) cos t + (d - 2c) sin t + 2c = S across the stops.

    Examples
    --------
    >>> round(wedge_slope(90.0, 66.0, 200.0), 1)
    2.1
    """
    diagonal = _inner_diagonal(length, diameter, corner_radius)
    require_positive(stop_distance=stop_distance)
    reach, rounding = diagonal + 2 * corner_radius, 2 * corner_radius
    require(
        length <= stop_distance < reach,
        f"stop_distance must be at least the length and below the container's reach: got {stop_distance:g} mm "
        f"(allowed {length:g} to below {reach:g} mm). Closer, the container does not fit; further apart it turns "
        "over without touching both stops, and no such wedge exists",
    )
    return math.sqrt((reach - stop_distance) * (diagonal - rounding + stop_distance)) / stop_distance


def holds_own_weight(slope: float, friction_high: float, friction_low: float) -> bool:
    r"""Tell whether a tilted container can be at rest between its stops under its own weight alone.

    .. math:: \mu_1 > \tan\beta \quad\text{and}\quad \mu_1 + \mu_2 \ge 2\tan\beta

    Parameters
    ----------
    slope : float
        Tangent of the angle of the line between the contacts, from `wedge_slope` [-].
    friction_high : float
        Friction on the stop that the high end touches [-].
    friction_low : float
        Friction on the stop that the low end touches [-].

    Returns
    -------
    bool
        Whether contact forces exist that balance it.

    Raises
    ------
    RangeError
        If a number is negative or not finite.

    Notes
    -----
    Centre of mass in the middle. If such forces exist, they need not arise; if none exist, the container slides. For
    unlike stops check both directions of tilt.

    References
    ----------
    Balance with N on both stops: V1 + V2 = w and V1 - V2 = 2 N tan(beta), |V1| <= mu1 N, |V2| <= mu2 N.

    Examples
    --------
    >>> holds_own_weight(0.25, 0.35, 0.2), holds_own_weight(0.25, 0.2, 0.35)
    (True, False)
    """
    require_not_negative(slope=slope, friction_high=friction_high, friction_low=friction_low)
    return friction_high > slope and friction_high + friction_low >= 2 * slope


def self_locks(slope: float, friction_high: float, friction_low: float) -> bool:
    r"""Tell whether a tilted container, once jammed between its stops, stays jammed whatever the load.

    .. math:: \min(\mu_1, \mu_2) \ge \tan\beta

    Parameters
    ----------
    slope : float
        Tangent of the angle of the line between the contacts, from `wedge_slope` [-].
    friction_high : float
        Friction on the stop that the high end touches [-].
    friction_low : float
        Friction on the stop that the low end touches [-].

    Returns
    -------
    bool
        Whether the two contact forces can grow without bound.

    Raises
    ------
    RangeError
        If a number is negative or not finite.

    Notes
    -----
    Above the limit any force and torque is resisted. At the limit itself the container can be jammed, but
    nothing is left over for a load, its own weight included; it is counted as locking, to be on the safe side.

    References
    ----------
    As for `binding_window`.

    Examples
    --------
    >>> self_locks(0.25, 0.35, 0.2), self_locks(0.25, 0.35, 0.3)
    (False, True)
    """
    require_not_negative(slope=slope, friction_high=friction_high, friction_low=friction_low)
    return min(friction_high, friction_low) >= slope
