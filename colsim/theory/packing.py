"""Equal round containers stacked in a column narrower than two diameters."""

from __future__ import annotations

import math

from colsim.theory._checks import require, require_positive

__all__ = ["WIDEST_ZIGZAG", "capacity", "stack_height", "stack_pitch"]

WIDEST_ZIGZAG = 1.0 + math.sqrt(3.0) / 2.0
"""Greatest ratio of width to diameter of a zig-zag stack [-]; beyond it the next but one would overlap."""


def stack_pitch(diameter: float, width: float) -> float:
    r"""Give the height that each further container adds to a zig-zag stack.

    .. math:: q = \sqrt{d^2 - (W - d)^2} = \sqrt{W (2d - W)}

    Parameters
    ----------
    diameter : float
        Diameter d of the containers [mm].
    width : float
        Clear width W of the column [mm].

    Returns
    -------
    float
        Vertical distance between the centres of neighbours [mm].

    Raises
    ------
    RangeError
        If a length is not positive and finite, if W < d, or if W/d is beyond 1.866: there containers two
        places apart would overlap, and the stack takes another shape.

    Notes
    -----
    Equal, rigid, round containers that alternate between parallel walls, at rest.

    References
    ----------
    Irastorza, Carlevaro and Pugnaloni, arXiv:1311.1069 (discs in a narrow column).

    Examples
    --------
    >>> round(stack_pitch(66.0, 73.0), 5)
    65.62774
    """
    require_positive(diameter=diameter, width=width)
    require(
        diameter <= width,
        f"width must be at least the diameter: got width {width:g} mm with diameter {diameter:g} mm. "
        "The container does not fit this column",
    )
    require(
        width <= WIDEST_ZIGZAG * diameter,
        f"width/diameter must be at most 1.866: got {width / diameter:.4g} (width {width:g} mm, diameter "
        f"{diameter:g} mm). "
        "Beyond it containers two places apart would overlap, so the zig-zag formula does not hold; "
        "count the containers in a filled column instead",
    )
    return math.sqrt(width * (2.0 * diameter - width))


def stack_height(n: int, diameter: float, width: float) -> float:
    r"""Give the height of a zig-zag stack of n containers, from its lowest to its highest point.

    .. math:: H = d + (n - 1) q

    Parameters
    ----------
    n : int
        Number of containers, at least 1.
    diameter : float
        Diameter d of the containers [mm].
    width : float
        Clear width W of the column [mm].

    Returns
    -------
    float
        Height H [mm].

    Raises
    ------
    RangeError
        If n is not a whole number of at least 1, or where `stack_pitch` raises.

    Notes
    -----
    As for `stack_pitch`.

    References
    ----------
    As for `stack_pitch`.

    Examples
    --------
    >>> round(stack_height(8, 73.0, 80.0), 4)
    581.6453
    """
    require(
        isinstance(n, int) and not isinstance(n, bool) and n >= 1,
        f"n must be a whole number of containers, at least 1: got {n!r}. Count them again",
    )
    return diameter + (n - 1) * stack_pitch(diameter, width)


def capacity(height: float, diameter: float, width: float) -> int:
    r"""Give how many containers a column of this height holds.

    .. math:: n = 1 + \left\lfloor \frac{H - d}{q} \right\rfloor

    Parameters
    ----------
    height : float
        Clear height H of the column [mm].
    diameter : float
        Diameter d of the containers [mm].
    width : float
        Clear width W of the column [mm].

    Returns
    -------
    int
        Number of containers; 0 if not even one fits.

    Raises
    ------
    RangeError
        If a length is not positive and finite, or where `stack_pitch` raises (W < d, W/d beyond 1.866).

    Notes
    -----
    As for `stack_pitch`. A height within a millionth of a millimetre of a whole stack counts as enough.

    References
    ----------
    As for `stack_pitch`.

    Examples
    --------
    >>> capacity(600.0, 66.0, 73.0)
    9
    """
    require_positive(height=height)
    pitch = stack_pitch(diameter, width)
    return max(0, 1 + math.floor((height - diameter + 1e-6) / pitch))
