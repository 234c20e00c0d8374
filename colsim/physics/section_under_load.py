"""What section a soft-walled container takes under what presses on it: tables of a bottle, and how they are read.

The load is the virial of the contact forces, so that a container on top of another, one pinched between a wall and its
neighbours, and anything between are one case. What reads the tables also compiles to machine code.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from colsim.theory.squeeze import Bottle

__all__ = ["Held", "Pressures", "held_between", "held_table", "load_of", "pressures_of", "squeeze_under_loads"]

Array = npt.NDArray[np.float64]
Pressures = Array
"""Gauge pressure at each share of the area lost [kPa], of shape (LOST,)."""
Held = Array
"""Squeezes [mm], what top and sides then bear [N], of shape (3, HEIGHTS)."""

_LOST = np.concatenate([[0.0], np.geomspace(1e-6, 0.9, 120)])  # shares of the area at which sections are worked out
LOST, HEIGHTS = len(_LOST), 199
_FLAT = np.sqrt(math.pi * _LOST)  # flats that lose so much, over those of a load that loses 1/pi


@lru_cache(maxsize=256)
def pressures_of(bottle: Bottle) -> Pressures:
    """Give the gauge pressure of a bottle at each share of the area lost [kPa], which rises with it."""
    return np.array([bottle.pressure_when(lost) for lost in _LOST.tolist()])


@lru_cache(maxsize=256)
def held_table(bottle: Bottle, width: float) -> Held:
    """Give what a bottle bears between two walls, by its squeeze, from where its bulge meets both.

    Parameters
    ----------
    bottle : Bottle
        Wall, gas and liquid.
    width : float
        Between the walls, not less than the diameter [mm].

    Returns
    -------
    ndarray, shape (3, HEIGHTS)
        Diameter less height [mm], and the forces on top and on each side [N], as `theory.squeeze.Bottle.forces_between`
        gives them.
    """
    girth = math.pi * bottle.diameter
    touching = (girth - 2 * width) / (math.pi - 2)
    heights = np.linspace(min(touching, bottle.diameter), max(girth / 2 - width, 0.0), HEIGHTS + 1)[:-1]
    forces = np.array([bottle.forces_between(width, height) for height in heights.tolist()])
    return np.stack((bottle.diameter - heights, forces[:, 0], forces[:, 1]))


def load_of(virial: Array) -> tuple[float, float, float]:
    """Give what presses on a body, as one number along each of two axes.

    Parameters
    ----------
    virial : ndarray, shape (2, 2)
        As `Engine.virials` gives it [mN mm].

    Returns
    -------
    greatest, across, angle : float
        Its eigenvalues, the greater first [mN mm], and the direction of the greater one [rad].
    """
    x, y, shear = float(virial[0, 0]), float(virial[1, 1]), float(virial[0, 1])
    middle, half = (x + y) / 2, math.hypot((x - y) / 2, shear)
    return middle + half, middle - half, math.atan2(2.0 * shear, x - y) / 2


def squeeze_under_loads(
    pressures: Pressures, diameter: float, length: float, ring: float, along: float, across: float
) -> float:
    r"""Give how much lower a section is along the axis of the greater load.

    .. math:: b_i = \frac{F_i}{p L}, \qquad s = \frac{2}{\pi} (b_1 + b_2) - b_2, \qquad F_1 = p\,b_1 L + e k L s

    Parameters
    ----------
    pressures : ndarray, shape (LOST,)
        Of `pressures_of`.
    diameter, length : float
        Of the bottle [mm].
    ring : float
        What the bare wall bears at a squeeze of 1 mm [N].
    along, across : float
        Forces along the two axes, the greater first [N]; below zero counts as none.

    Returns
    -------
    float
        Squeeze s, diameter less height along the greater load [mm].

    Notes
    -----
    Interpolated between sections of the same ratio of the loads, up to the one that has lost nine tenths of its area.
    Where a vacuum draws the section out of round without load, the most squeezed of the sections that carry it is
    taken, as it is the one that lasts. The ring bears along the greater load alone.

    References
    ----------
    Membrane theory, as `theory.squeeze.section_under`.
    """
    along = max(along, 0.0)
    ratio = min(max(across, 0.0) / along, 1.0) if along > 0.0 else 0.0
    wide = diameter / 2 * math.sqrt(1.0 / ((1.0 + ratio) ** 2 / math.pi - ratio))  # its flats at an area lost of 1/pi
    lower = 2.0 / math.pi * (1.0 + ratio) - ratio  # squeeze over flat
    # Pressure rises with the area lost, and so does the force from where it is no longer below zero: halve twice.
    first, beyond = 0, LOST
    while beyond - first > 1:
        half = (first + beyond) // 2
        if pressures[half] / 1000.0 * length + ring * lower <= 0.0:
            first = half
        else:
            beyond = half
    low, high = first, LOST
    while high - low > 1:
        half = (low + high) // 2
        if wide * _FLAT[half] * (pressures[half] / 1000.0 * length + ring * lower) <= along:
            low = half
        else:
            high = half
    if high == LOST:
        return lower * wide * float(_FLAT[low])
    force_low = wide * _FLAT[low] * (pressures[low] / 1000.0 * length + ring * lower)
    force_high = wide * _FLAT[high] * (pressures[high] / 1000.0 * length + ring * lower)
    share = (along - force_low) / (force_high - force_low)
    return lower * wide * float(_FLAT[low] + share * (_FLAT[high] - _FLAT[low]))


def held_between(table: Held, along: float) -> tuple[float, float]:
    """Give squeeze [mm] and force on each side [N] of a bottle that both walls keep from bulging.

    Parameters
    ----------
    table : ndarray, shape (3, HEIGHTS)
        Of `held_table`.
    along : float
        Force on top [N].

    Returns
    -------
    squeeze, side : float
        Diameter less height, and force with which each wall is pressed; (0, 0) where the bulge does not reach them.
    """
    low, high = 0, table.shape[1] - 1
    if along <= table[1, 0]:
        return 0.0, 0.0
    if along >= table[1, high]:
        return float(table[0, high]), max(0.0, float(table[2, high]))
    while high - low > 1:
        half = (low + high) // 2
        if table[1, half] <= along:
            low = half
        else:
            high = half
    share = (along - table[1, low]) / (table[1, high] - table[1, low])
    squeeze = table[0, low] + share * (table[0, high] - table[0, low])
    return float(squeeze), max(0.0, float(table[2, low] + share * (table[2, high] - table[2, low])))
