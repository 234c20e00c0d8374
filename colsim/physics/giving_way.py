"""How soft sections give way to what presses on them, number by number: Python that also compiles to machine code."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from colsim.physics.section_under_load import held_between, load_of, squeeze_under_loads
from colsim.theory.squeeze import BULGE_SHARE, corner_between

__all__ = ["SECTION", "GivingWay", "Pace", "beside", "follow_loads", "give_way", "slice_over", "towards"]

Sections = npt.NDArray[Any]
Array = npt.NDArray[np.float64]

SAME_LOAD = 0.02  # [N] by which a load may differ from one whose section is known
FLAT_STEP = 0.25  # [mm] in which a flat that sets grows
UNSEEN = 0.002  # [mm] between a section and what is wanted that is let be
SEEN = 0.01  # [mm] in which heights change for the engine
BOX_STEP = 0.05  # [mm] in which a box changes
GAP = 0.1  # [mm] by which a box is narrower than the column

SECTION = np.dtype(
    [
        ("place", "i8"),  # among the engine's bodies
        ("diameter", "f8"),  # without load, as all lengths [mm]
        ("length", "f8"),
        ("ring", "f8"),  # what the bare wall bears at a squeeze of 1 mm [N]
        ("own_flat", "f8"),  # that it has without having been squeezed
        ("width", "f8"),  # between walls that can both press on it, infinite if they cannot
        ("squeeze", "f8"),  # diameter less height, and what it goes towards: for the load alone, or as it is held
        ("free", "f8"),
        ("wanted", "f8"),
        ("flat", "f8"),  # that does not circulate, and what it goes towards
        ("flat_to_set", "f8"),
        ("flat_angle", "f8"),  # [rad], in the body's own frame as the next
        ("level", "f8"),
        ("side", "f8"),  # height of what lies against each wall, and the force there [N]
        ("side_force", "f8"),
        ("filled", "?"),  # whether it is as wide as it may be there
        ("grip", "f8"),  # with which both walls hold it back [mN], and whether that is new
        ("gripped_anew", "?"),
        ("along", "f8"),  # greater and lesser load whose section is known [N]
        ("across", "f8"),
        ("pressed_along", "f8"),  # direction of the greater load [rad]
        ("shown_squeeze", "f8"),  # what the engine has
        ("shown_flat", "f8"),
        ("shown_side", "f8"),
        ("shown_angle", "f8"),
        ("seen", "?"),  # whether that is new
        ("slices", "i8"),  # since it was put in, or its flat set
    ]
)
"""One soft section, as it is and as it is wanted."""


class GivingWay(NamedTuple):
    """Soft sections of a column, all in the order of the first.

    Attributes
    ----------
    sections : ndarray of SECTION, shape (m,)
        By index of their bodies.
    virials : ndarray, shape (m, 2, 2)
        Running means [mN mm].
    past : ndarray, shape (m, look_back, 2)
        Squeezes and flats of the last slices [mm]; the next goes to place ``slices`` modulo ``look_back``.
    slices : ndarray of int, shape (1,)
        How many there have been.
    pressures : ndarray, shape (m, LOST)
        Of `pressures_of`.
    held : ndarray, shape (m, 3, HEIGHTS)
        Of `held_table`; 0 where both walls cannot press.
    walls : ndarray, shape (w, 2)
        Where each straight wall begins and ends [mm].
    friction : ndarray, shape (m, w)
        Of each with each wall [-].
    """

    sections: Sections
    virials: Array
    past: Array
    slices: npt.NDArray[np.int64]
    pressures: Array
    held: Array
    walls: Array
    friction: Array


class Pace(NamedTuple):
    """How fast sections follow: steps of a slice, share of a mean that it keeps, share and most of a change [mm]."""

    steps: int
    keep: float
    share: float
    most: float


def slice_over(soft: GivingWay, virials: Array, angles: Array, heights: Array, pace: Pace) -> bool:
    """Have a slice of time act on sections; tell whether the engine is to be given any section or grip.

    Parameters
    ----------
    soft : GivingWay
        Changed in place; what the engine is to be given is marked as seen or gripped anew.
    virials : ndarray, shape (n, 2, 2)
        Of all bodies, as means over the slice [mN mm]: those of single steps jump, above all just after a section has
        changed.
    angles, heights : ndarray, shape (n,)
        How each body is turned [rad], and how high its centre stands [mm].
    pace : Pace
        How fast sections follow.
    """
    means = soft.virials
    for k in range(len(means)):  # element by element, which compiles in a fraction of the time of whole arrays
        place = soft.sections[k]["place"]
        for i in range(2):
            for j in range(2):
                means[k, i, j] = pace.keep * means[k, i, j] + (1.0 - pace.keep) * virials[place, i, j]
    soft.slices[0] += 1
    past = soft.past[:, (soft.slices[0] - 1) % soft.past.shape[1]]
    any_seen = give_way(soft.sections, past, pace.share, pace.most)
    return follow_loads(soft, angles, heights) or any_seen


def give_way(sections: Sections, past: Array, share: float, most: float) -> bool:
    """Have sections go a share of the way to what is wanted, not too far at once.

    Parameters
    ----------
    sections : ndarray of SECTION, shape (m,)
        Changed in place; what the engine is to be given is marked as seen.
    past : ndarray, shape (m, 2)
        Takes squeeze and flat as they were.
    share : float
        [-]
    most : float
        [mm]

    Returns
    -------
    bool
        Whether any is to be seen.
    """
    any_seen = False
    for k in range(len(sections)):
        row = sections[k]
        diameter, wanted, to_set = float(row["diameter"]), float(row["wanted"]), float(row["flat_to_set"])
        squeeze, flat, side = float(row["squeeze"]), float(row["flat"]), float(row["side"])
        past[k, 0], past[k, 1] = squeeze, flat
        row["slices"] += 1
        row["seen"] = False
        width = flat + diameter - squeeze - side
        squeeze += towards(wanted - squeeze, share, most)
        row["squeeze"] = squeeze
        bound = row["side_force"] > 0.0
        moved = abs(squeeze - row["shown_squeeze"])
        angle, growing = float(row["flat_angle"]), False
        if bound:
            if row["filled"] and moved < BOX_STEP:
                continue
            # Take the flats of a bulge that reaches both walls, but no more width than it may.
            angle = float(row["level"])
            height, free = diameter - squeeze, diameter + BULGE_SHARE * squeeze
            side = 0.0
            if free >= row["width"]:
                side = height - 2.0 * max(0.0, min(corner_between(row["width"], height, diameter), height / 2))
            fills = min(free, row["width"] - GAP)
            row["filled"] = width + most > fills
            flat = max(0.0, min(fills, width + most) - (height - side))
        elif side > 0.0:  # let go by the walls
            flat, side = min(flat, to_set), 0.0
            row["filled"] = False
        else:  # a stadium is wider than the disc that it was, so it too must come bit by bit
            flat += towards(to_set - flat, share, most)
        row["flat"], row["side"] = flat, side
        shown = flat
        if not bound:
            growing = abs(to_set - flat) > UNSEEN
            if growing:  # an engine may have to forget contacts to give it other ends
                shown = FLAT_STEP * round(flat / FLAT_STEP)
            if shown <= 0.0:
                shown = float(row["own_flat"])
        there = abs(wanted - squeeze) < UNSEEN and not growing
        off = max(moved, abs(side - row["shown_side"]), abs(shown - row["shown_flat"]))
        if off >= (BOX_STEP if bound else UNSEEN if there else SEEN):
            row["shown_squeeze"], row["shown_flat"], row["shown_side"], row["shown_angle"] = squeeze, shown, side, angle
            row["seen"] = any_seen = True
    return any_seen


def follow_loads(soft: GivingWay, angles: Array, heights: Array) -> bool:
    """Take up what the loads of now make: squeezes, at least those that have set, and what the walls hold.

    Parameters
    ----------
    soft : GivingWay
        Changed in place; where the grip is another it is marked so.
    angles, heights : ndarray, shape (n,)
        How each body is turned [rad], and how high its centre stands [mm].

    Returns
    -------
    bool
        Whether any grip is another.
    """
    any_anew = False
    for k in range(len(soft.sections)):
        row = soft.sections[k]
        diameter, squeeze = float(row["diameter"]), float(row["squeeze"])
        greatest, least, angle = load_of(soft.virials[k])
        along, across = greatest / (diameter - squeeze) / 1000.0, least / (diameter + squeeze / 2) / 1000.0
        row["level"], row["pressed_along"] = -angles[row["place"]], angle
        if max(abs(along - row["along"]), abs(across - row["across"])) > SAME_LOAD:
            row["along"], row["across"] = along, across
            row["free"] = squeeze_under_loads(
                soft.pressures[k], diameter, float(row["length"]), float(row["ring"]), along, across
            )
        has_set = 2.0 / math.pi * row["flat_to_set"]
        row["wanted"] = wanted = max(float(row["free"]), has_set)
        if math.isinf(row["width"]):
            continue
        # Where the walls end beside its flat sides only what is above the end presses; friction as the mean over them.
        height, half, side_force = heights[row["place"]], max(float(row["side"]), GAP) / 2, 0.0
        length, friction = beside(soft.walls, soft.friction[k], height - half, height + half)
        if length > 0.0 and diameter + BULGE_SHARE * wanted > row["width"]:
            squeeze, side_force = held_between(soft.held[k], along)
            row["wanted"] = max(squeeze, has_set)
        row["side_force"] = side_force
        grip = 1000.0 * (friction / (2 * half)) * side_force
        row["gripped_anew"] = grip != row["grip"]
        row["grip"] = grip
        any_anew = any_anew or row["gripped_anew"]
    return any_anew


def beside(walls: Array, frictions: Array, low: float, high: float) -> tuple[float, float]:
    """Give the length of wall beside these heights, both sides together, and its friction over that length [mm]."""
    length = friction = 0.0
    for k in range(len(walls)):
        both = max(0.0, min(high, walls[k, 1]) - max(low, walls[k, 0]))
        length, friction = length + both, friction + frictions[k] * both
    return length, friction


def towards(off: float, share: float, most: float) -> float:
    """Give by how much something goes towards what is so far off."""
    return min(max(share * off, -most), most) if abs(off) >= UNSEEN else 0.0
