"""Grip of a round body between two surfaces: the angle of nip and the friction it needs."""

from __future__ import annotations

import math

from colsim.theory._checks import require, require_positive

__all__ = ["critical_friction", "line_of_centres", "roll_nip_angle"]


def _require_single_file(width: float, diameter: float) -> None:
    require_positive(width=width, diameter=diameter)
    require(
        diameter <= width < 2 * diameter,
        f"width must be at least one and less than two diameters: got width {width:g} mm with diameter "
        f"{diameter:g} mm (allowed {diameter:g} to below {2 * diameter:g} mm). Narrower, the container does not fit; "
        "wider, two lie abreast",
    )


def line_of_centres(width: float, diameter: float) -> float:
    r"""Give the tilt of the line between two neighbours of a zig-zag stack.

    Two equal round containers, each against its own wall, touch along a line that makes this angle with
    the horizontal. The angle is 90 degrees when they stand straight above each other, and falls to
    zero as they come to lie side by side.

    .. math:: \cos\theta = \frac{W}{d} - 1

    Parameters
    ----------
    width : float
        Clear width W of the column [mm].
    diameter : float
        Diameter d of the containers [mm].

    Returns
    -------
    float
        Angle above the horizontal [degrees].

    Raises
    ------
    RangeError
        If a length is not positive and finite, or if not d <= W < 2 d.

    Notes
    -----
    Assumes equal, rigid, round containers that alternate between parallel walls.

    References
    ----------
    Plane geometry: the centres lie W - d apart sideways and d apart in all. The same angle measured from
    the vertical stands in the literature of discs in a narrow strip, for example Irastorza, Carlevaro and
    Pugnaloni, arXiv:1311.1069.

    Examples
    --------
    >>> round(line_of_centres(90.0, 60.0), 6)
    60.0
    """
    _require_single_file(width, diameter)
    return math.degrees(math.acos(width / diameter - 1.0))


def critical_friction(width: float, diameter: float) -> float:
    r"""Give the least friction at which a zig-zag stack can hold itself up.

    Below this friction no bridge of alternating equal containers between plain parallel walls can exist.
    Above it a bridge can exist **if** something resists rolling (set flats, panels); perfectly round
    containers roll down however rough the walls are.

    .. math:: \mu_c = \tan\frac{\theta}{2} = \sqrt{\frac{2d - W}{W}}

    Parameters
    ----------
    width : float
        Clear width W of the column [mm].
    diameter : float
        Diameter d of the containers [mm].

    Returns
    -------
    float
        Coefficient of friction [-], from 1 (W = d) to 0 (W = 2 d).

    Raises
    ------
    RangeError
        If a length is not positive and finite, or if not d <= W < 2 d.

    Notes
    -----
    Same friction at walls and between containers, plain parallel walls, alternating loading. A throat corner, a
    converging floor or a lifted liner edge can hold a stack at less.

    References
    ----------
    Half-angle identity applied to `line_of_centres`; the wedge criterion mu >= tan(half the included angle)
    is the one of crushing rolls: Coulson and Richardson, Chemical Engineering, vol. 2, section 2.3 (the
    attribution is from memory).

    Examples
    --------
    >>> round(critical_friction(104.0, 64.0), 3)
    0.48
    """
    _require_single_file(width, diameter)
    return math.sqrt((2.0 * diameter - width) / width)


def roll_nip_angle(roll_diameter: float, gap: float, particle_diameter: float) -> float:
    r"""Give the full angle of nip of a round particle between two equal rolls.

    The rolls draw the particle in without slip if the friction is at least the tangent of half this angle.

    .. math:: \cos\frac{\alpha}{2} = \frac{D + g}{D + p}

    Parameters
    ----------
    roll_diameter : float
        Diameter D of each roll [mm].
    gap : float
        Least gap g between the rolls [mm], zero or more.
    particle_diameter : float
        Diameter p of the particle [mm]; at least the gap.

    Returns
    -------
    float
        Full angle between the two tangents at the contacts [degrees].

    Raises
    ------
    RangeError
        If a diameter is not positive and finite, the gap is negative, or the particle is smaller than
        the gap and would fall through.

    Notes
    -----
    Any one unit of length may be used for all three. Several web pages print other formulas, such as
    arccos(r / 2D); they are wrong.

    References
    ----------
    Coulson and Richardson, Chemical Engineering, vol. 2, section 2.3, crushing rolls (attribution from memory).

    Examples
    --------
    A 25 mm radius particle between rolls of 1 m diameter set 12.5 mm apart:

    >>> round(roll_nip_angle(1000.0, 12.5, 50.0), 3)
    30.718
    """
    require_positive(roll_diameter=roll_diameter, particle_diameter=particle_diameter)
    require(
        math.isfinite(gap) and 0 <= gap <= particle_diameter,
        f"gap must lie between 0 and the particle's diameter: got gap {gap:g} with a particle of "
        f"{particle_diameter:g}. A particle smaller than the gap falls through without being gripped",
    )
    return math.degrees(2.0 * math.acos((roll_diameter + gap) / (roll_diameter + particle_diameter)))
