"""The rotor's pocket: how deep a second container sinks in, and which spacers prevent its being nipped.

The pocket is taken with sharp edges, the drum as turning slowly enough for the containers to follow it. Only
the geometry and one friction enter; the motor's torque, the stack's weight and a fast drum do not, and they move
the lower bound by several millimetres. Simulate to know.
"""

from __future__ import annotations

import math

from scipy.optimize import brentq

from colsim.theory._checks import require, require_positive

__all__ = ["greatest_spacer", "least_spacer", "second_centre", "second_nip_angle"]


def second_centre(pocket_width: float, diameter: float) -> float:
    r"""Give the height of the second container's centre above the pocket's floor.

    The first lies against one side of the pocket and the second rests on it against the other side.

    .. math:: z_2 = \frac{d}{2} + \sqrt{d^2 - (w - d)^2}

    Parameters
    ----------
    pocket_width : float
        Clear width w of the pocket [mm].
    diameter : float
        Diameter d of the containers [mm].

    Returns
    -------
    float
        Height above the floor, or above the spacer that lies on it [mm].

    Raises
    ------
    RangeError
        If a length is not positive and finite, or if not d <= w < 2 d.

    Notes
    -----
    Equal, rigid, round containers; pocket up and at rest.

    References
    ----------
    Plane geometry: the centres lie w - d apart sideways and d apart in all.

    Examples
    --------
    >>> round(second_centre(82.0, 58.0), 2)
    81.8
    """
    require_positive(pocket_width=pocket_width, diameter=diameter)
    require(
        diameter <= pocket_width < 2 * diameter,
        f"pocket_width must be at least one and less than two diameters: got {pocket_width:g} mm with diameter "
        f"{diameter:g} mm. Narrower, the container does not go in; wider, two lie abreast",
    )
    return diameter / 2 + math.sqrt(diameter**2 - (pocket_width - diameter) ** 2)


def greatest_spacer(
    pocket_width: float, pocket_depth: float, diameter: float, *, rotor_radius: float, clearance: float
) -> float:
    r"""Give the thickest floor spacer with which the first container still passes under the throat.

    Thicker, the container in the pocket stands proud of the housing and strikes the edge of the throat.

    .. math:: s = \sqrt{(R + c - d/2)^2 - \left(\tfrac{w - d}{2}\right)^2} - \tfrac{d}{2} - (R - t)

    Parameters
    ----------
    pocket_width : float
        Clear width w of the pocket [mm].
    pocket_depth : float
        Depth t of the bare pocket, floor to the drum's highest point [mm].
    diameter : float
        Diameter d of the container [mm].
    rotor_radius : float
        Radius R of the drum [mm].
    clearance : float
        Gap c between drum and housing [mm].

    Returns
    -------
    float
        Thickness [mm]; negative if the container stands proud of the bare pocket already.

    Raises
    ------
    RangeError
        If a length is not positive and finite, the container is wider than the pocket, or it cannot lie
        against the pocket's side inside the housing at all.

    Notes
    -----
    The container lies against one side of the pocket, where it reaches furthest out.

    References
    ----------
    Plane geometry: the centre's distance from the drum's axis plus d/2 equals R + c.

    Examples
    --------
    >>> round(greatest_spacer(82.0, 80.0, 73.0, rotor_radius=95.0, clearance=2.0), 2)
    8.83
    """
    require_positive(
        pocket_width=pocket_width,
        pocket_depth=pocket_depth,
        diameter=diameter,
        rotor_radius=rotor_radius,
        clearance=clearance,
    )
    require(
        diameter <= pocket_width,
        f"diameter must be at most pocket_width: got {diameter:g} mm with {pocket_width:g} mm. It does not go in",
    )
    reach, aside = rotor_radius + clearance - diameter / 2, (pocket_width - diameter) / 2
    require(
        reach > aside,
        f"a container of {diameter:g} mm against the side of a pocket of {pocket_width:g} mm lies outside a "
        "housing of radius "
        f"{rotor_radius + clearance:g} mm. Measure drum and pocket again",
    )
    return math.sqrt(reach**2 - aside**2) - diameter / 2 - (rotor_radius - pocket_depth)


def second_nip_angle(
    pocket_width: float, pocket_depth: float, diameter: float, *, rotor_radius: float, column_width: float
) -> float:
    r"""Give the angle of the wedge in which the drum catches the second container.

    As the drum turns, the first container lies against the leading side and the second on it, against the wall
    ahead. The pocket's trailing edge comes up and touches the second. Between edge and wall it then sits in a wedge
    of this angle: it is pushed up and out if the friction is below the tangent of half the angle, and nipped if not.

    Parameters
    ----------
    pocket_width : float
        Clear width of the pocket [mm].
    pocket_depth : float
        Clear depth of the pocket, spacer in, to the drum's highest point [mm].
    diameter : float
        Diameter of the containers [mm].
    rotor_radius : float
        Radius of the drum [mm].
    column_width : float
        Clear width between the walls above the drum, centred on it [mm].

    Returns
    -------
    float
        Angle above the horizontal from the edge to the second's centre at first touch [degrees]: 90 if the edge
        passes under it, 0 or less if it is caught level or from above and driven into the pocket.

    Raises
    ------
    RangeError
        If a length is not positive and finite, the container is wider than pocket or column, the pocket
        is as deep as the drum's radius, or it is as wide as the drum.

    Notes
    -----
    Slow drum, sharp edge, plain wall. Found by following the drum in steps of 0.05 degrees to the first touch.

    References
    ----------
    The criterion is that of a weightless disc in a wedge: both forces lie along the chord between the contacts,
    half the included angle from each normal.

    Examples
    --------
    >>> angle = second_nip_angle(82.0, 68.0, 58.0, rotor_radius=95.0, column_width=90.0)
    >>> 20 < angle < 25
    True
    """
    require_positive(
        pocket_width=pocket_width,
        pocket_depth=pocket_depth,
        diameter=diameter,
        rotor_radius=rotor_radius,
        column_width=column_width,
    )
    require(
        diameter <= min(pocket_width, column_width),
        f"diameter must be at most pocket_width and column_width: got {diameter:g} mm with {pocket_width:g} mm and "
        f"{column_width:g} mm",
    )
    require(
        pocket_depth < rotor_radius and pocket_width < 2 * rotor_radius,
        f"the pocket must lie inside the drum: got {pocket_width:g} x {pocket_depth:g} mm with radius "
        f"{rotor_radius:g} mm. Measure again",
    )
    radius = diameter / 2
    x2 = column_width / 2 - radius

    def second_and_edge(turned: float) -> tuple[float, float, float]:
        """Give the second's height where it rests on the first (nan if it falls past), and the edge's place."""
        c, s = math.cos(turned), math.sin(turned)
        x, y = pocket_width / 2 - radius, rotor_radius - pocket_depth + radius
        x, y = x * c + y * s, y * c - x * s
        height = y + math.sqrt(diameter**2 - (x - x2) ** 2) if abs(x - x2) <= diameter else math.nan
        angle = turned - math.asin(pocket_width / 2 / rotor_radius)
        return height, rotor_radius * math.sin(angle), rotor_radius * math.cos(angle)

    last = math.asin(pocket_width / 2 / rotor_radius) + math.asin(min(1.0, x2 / rotor_radius))
    steps = math.ceil(math.degrees(last) / 0.05)
    for k in range(steps + 1):
        y2, edge_x, edge_y = second_and_edge(last * k / steps)
        if math.isnan(y2):
            return 0.0
        if math.hypot(x2 - edge_x, y2 - edge_y) <= radius:
            return math.degrees(math.atan2(y2 - edge_y, x2 - edge_x))
    return 90.0


def least_spacer(
    pocket_width: float,
    pocket_depth: float,
    diameter: float,
    *,
    rotor_radius: float,
    column_width: float,
    friction: float,
) -> float:
    r"""Give the thinnest floor spacer with which a slow drum pushes the second container out again.

    Thinner, the second sinks in so far that the drum's trailing edge nips it against the wall, or lets it through.

    .. math:: \mu = \tan\frac{\theta(s)}{2}

    Parameters
    ----------
    pocket_width : float
        Clear width of the pocket [mm].
    pocket_depth : float
        Depth of the bare pocket, floor to the drum's highest point [mm].
    diameter : float
        Diameter of the containers [mm].
    rotor_radius : float
        Radius of the drum [mm].
    column_width : float
        Clear width between the walls above the drum, centred on it [mm].
    friction : float
        The smaller of the frictions at wall and drum [-].

    Returns
    -------
    float
        Thickness [mm]; 0 if none is needed.

    Raises
    ------
    RangeError
        As `second_nip_angle`, or if the friction is negative or not finite, or no spacer would do.

    Notes
    -----
    As for `second_nip_angle`, whose angle is theta. A fast drum catches the second before it has sunk in, and
    needs less; a weak motor under a high stack needs more.

    References
    ----------
    As for `second_nip_angle`.

    Examples
    --------
    >>> least_spacer(82.0, 80.0, 73.0, rotor_radius=95.0, column_width=90.0, friction=0.25)
    0.0
    """
    require(
        math.isfinite(friction) and friction >= 0, f"friction must be zero or more: got {friction!r}. Measure it again"
    )
    wedge = 2 * math.degrees(math.atan(friction))

    def margin(spacer: float) -> float:
        return (
            second_nip_angle(
                pocket_width, pocket_depth - spacer, diameter, rotor_radius=rotor_radius, column_width=column_width
            )
            - wedge
        )

    if margin(0.0) >= 0:
        return 0.0
    thickest = pocket_depth - diameter / 2
    require(
        thickest > 0 and margin(thickest) >= 0,
        f"no spacer keeps the second of {diameter:g} mm from being nipped at friction {friction:g}. Lower the "
        "friction or take another rotor",
    )
    return float(brentq(margin, 0.0, thickest, xtol=0.01))
