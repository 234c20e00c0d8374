"""What section a soft-walled container takes under what presses on it.

The load is the virial of the contact forces, so that a container on top of another, one pinched between a wall and its
neighbours, and anything between are one case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from colsim.physics.engines import FloatArray, IntArray
from colsim.theory.squeeze import Bottle

__all__ = ["Loads", "Squeezing", "bound_section", "loads"]

_LOST = np.concatenate([[0.0], np.geomspace(1e-6, 0.9, 120)])  # shares of the area at which sections are worked out


class Loads(NamedTuple):
    """What presses on each of several sections.

    Attributes
    ----------
    greatest, across : ndarray, shape (n,)
        Eigenvalues of the virial of the contact forces, the greater first [mN mm].
    angle : ndarray, shape (n,)
        Direction of the greater one [rad].
    """

    greatest: FloatArray
    across: FloatArray
    angle: FloatArray


def loads(virials: FloatArray) -> Loads:
    """Give what presses on each body, as one number along each of two axes.

    Parameters
    ----------
    virials : ndarray, shape (n, 2, 2)
        As `Engine.virials` gives them [mN mm].

    Returns
    -------
    Loads
        In the same order.
    """
    values, vectors = np.linalg.eigh(virials)
    return Loads(values[:, 1], values[:, 0], np.arctan2(vectors[:, 1, 1], vectors[:, 0, 1]))


@lru_cache(maxsize=256)
def _pressures(bottle: Bottle) -> FloatArray:
    """Give the gauge pressure at each share of the area lost [kPa]."""
    return np.array([bottle.pressure_when(lost) for lost in _LOST.tolist()])


class Squeezing:
    r"""How much lower sections are along the axis of the greater load.

    .. math:: b_i = \frac{F_i}{p L}, \qquad s = \frac{2}{\pi} (b_1 + b_2) - b_2, \qquad F_1 = p\,b_1 L + e k L s

    Parameters
    ----------
    bottles : sequence of Bottle
        Wall, gas and liquid of each.

    Notes
    -----
    Interpolated between sections of the same ratio of the loads, up to the one that has lost nine tenths of its area.
    Where a vacuum draws the section out of round without load, the most squeezed of the sections that carry it is
    taken, as it is the one that lasts. The ring bears along the greater load alone.

    References
    ----------
    Membrane theory, as `theory.squeeze.section_under`.
    """

    def __init__(self, bottles: Sequence[Bottle]) -> None:
        rows = [(bottle.diameter, bottle.length, bottle.ring_force(1.0)) for bottle in bottles]
        self._diameter, self._length, self._ring = np.array(rows).reshape(-1, 3).T[:, :, None]
        self._pressure = np.array([_pressures(bottle) for bottle in bottles]).reshape(-1, len(_LOST))

    def under(self, which: IntArray, along: FloatArray, across: FloatArray) -> FloatArray:
        """Give the squeeze of some of them under two loads.

        Parameters
        ----------
        which : ndarray of int, shape (k,)
            Their places among the bottles.
        along, across : ndarray, shape (k,)
            Forces along the two axes, the greater first [N]; below zero counts as none.

        Returns
        -------
        ndarray, shape (k,)
            Diameter less height along the greater load [mm].
        """
        along = np.maximum(along, 0.0)
        ratio = np.minimum(np.maximum(across, 0.0) / np.where(along > 0.0, along, np.inf), 1.0)[:, None]
        flat = self._diameter[which] / 2 * np.sqrt(math.pi * _LOST / ((1 + ratio) ** 2 / math.pi - ratio))
        squeeze = (2 / math.pi) * (1 + ratio) * flat - ratio * flat
        force = self._pressure[which] / 1000 * flat * self._length[which] + self._ring[which] * squeeze
        found = []
        for load, forces, squeezes in zip(along, force, squeeze, strict=True):
            begin = int(np.flatnonzero(forces <= 0.0)[-1])
            found.append(np.interp(load, forces[begin:], squeezes[begin:]))
        return np.array(found)


@lru_cache(maxsize=256)
def _bound(bottle: Bottle, width: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give squeezes [mm] from where the bulge meets both walls, and what top and sides then bear [N]."""
    girth = math.pi * bottle.diameter
    touching = (girth - 2 * width) / (math.pi - 2)
    heights = np.linspace(min(touching, bottle.diameter), max(girth / 2 - width, 0.0), 200)[:-1]
    forces = np.array([bottle.forces_between(width, height) for height in heights.tolist()])
    return bottle.diameter - heights, forces[:, 0], forces[:, 1]


def bound_section(bottle: Bottle, width: float, along: float) -> tuple[float, float]:
    """Give squeeze [mm] and force on each side [N] of a bottle that both walls keep from bulging.

    Parameters
    ----------
    bottle : Bottle
        Wall, gas and liquid.
    width : float
        Between the walls, not less than the diameter [mm].
    along : float
        Force on top [N].

    Returns
    -------
    squeeze, side : float
        Diameter less height, and force with which each wall is pressed; (0, 0) where the bulge does not reach them.

    References
    ----------
    `theory.squeeze.Bottle.forces_between`, interpolated.
    """
    squeezes, top, side = _bound(bottle, width)
    if along <= top[0] or len(squeezes) < 2:
        return 0.0, 0.0
    return float(np.interp(along, top, squeezes)), max(0.0, float(np.interp(along, top, side)))
