"""What a step of the compiled engine reads and writes, as arrays, since that is what is compiled.

A body is a row: a core of one corner (a disc), two (a stadium) or four (a box), rounded by a radius. A piece of the
scene is a row too. The row after the last body stands for all that does not move, the one after that for the drum, so
that no contact is a special case.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["Array", "Rows", "StepSettings", "Whole", "World"]

Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Rows = npt.NDArray[np.uint64]

MOST_OF_ONE = 32  # contacts of one body with one thing, and that it keeps impulses of
MOST_CONTACTS = 1024

# Columns of a body.
X, Y, ANGLE, VX, VY, SPIN, INVERSE_MASS, INVERSE_MOMENT = 0, 1, 2, 3, 4, 5, 6, 7
RADIUS, REACH, HALF_FLAT, HALF_SIDE, FLAT_ANGLE, CORNERS = 8, 9, 10, 11, 12, 13
SURFACE, NUMBER, DAMPING = 14, 15, 16
FIRM, LENGTH, HEADSPACE, BODY_SHARE, STRETCH, FILLED, ROUND_AREA, SET_DENT, SET_FRACTION = range(17, 26)
LAW = slice(FIRM, SET_FRACTION + 1)  # as scene.Body.law gives them
BULGES = 26
STIFFNESS, SHARING = 27, 28  # of one contact: now, and as it goes into the sharing of overlaps
AREA_LOST, SQUEEZED_UP, BULGE = 29, 30, 31  # sums over contacts; of the last step
BODY_COLUMNS = 32

# Columns of a piece: a line, an arc seen from outside or inside, or a corner that stands out between two pieces.
KIND, X0, Y0, ROUND = 0, 1, 2, 3  # of a line its length, of an arc its radius
MIDDLE_X, MIDDLE_Y, LEAST_COSINE = 4, 5, 6  # of an arc or corner: the way to its middle, and how far off it reaches
ALONG_X, ALONG_Y = 4, 5  # of a line: its direction
LEFT, RIGHT, BOTTOM, TOP, SIDE_WALL = 7, 8, 9, 10, 11
PIECE_COLUMNS = 12
LINE, OUTSIDE, INSIDE, CORNER = 0.0, 1.0, 2.0, 3.0

# Columns of a contact: impulses are on its first body.
NX, NY, AX, AY, BX, BY, OVERLAP, FRICTION = 0, 1, 2, 3, 4, 5, 6, 7
GROUP, CONTACT_STIFFNESS, DENT_A, DENT_B = 8, 9, 10, 11  # summed overlap of its group; dents of the two
NORMAL_IMPULSE, FRICTION_IMPULSE = 12, 13
NORMAL_A, NORMAL_B, ALONG_A, ALONG_B = 14, 15, 16, 17  # lever arms of normal and friction about both centres
NORMAL_MASS, TANGENT_MASS, COUPLING = 18, 19, 20  # coupling: sliding that a normal impulse makes
SOFTNESS, TARGET = 21, 22  # of the spring as a constraint: added inverse mass, speed at which it wants the two to part
DAMPER = 23
SLIP = 24  # how far a tangential spring is drawn, of the explicit solver
CONTACT_COLUMNS = 25
FIRST, SECOND = 0, 1
PIECE, FEATURE = 0, 1

# Columns of a hit, where a body touches something; its normal as of a contact.
OFF, AT_X, AT_Y, WHICH = 2, 3, 4, 5
HIT_COLUMNS = 6

# The drum and its motor, and counts.
DRUM_REACH, RATE, TORQUE, MOTOR_IMPULSE, MOMENT = 0, 1, 2, 3, 4
CONTAINERS, STILL_PIECES, ALL_PIECES, CONTACTS = 0, 1, 2, 3


class World(NamedTuple):
    """All that a step reads and writes.

    Attributes
    ----------
    bodies : ndarray, shape (n + 2, BODY_COLUMNS)
        Containers, then what does not move, then the drum.
    corners : ndarray, shape (n + 2, 4, 2)
        Corners of each core, as it lies now [mm].
    order : ndarray of unsigned int, shape (n + 2,)
        Rows of the containers from the top down.
    pieces : ndarray, shape (k, PIECE_COLUMNS)
        Those that stand still, from the top down, then those of the drum in its own frame.
    piece_friction : ndarray, shape (k, surfaces)
        [-]
    between : ndarray, shape (surfaces, surfaces)
        Friction of containers on each other [-].
    contacts : ndarray, shape (MOST_CONTACTS, CONTACT_COLUMNS)
        Those of the last step.
    pairs : ndarray of unsigned int, shape (MOST_CONTACTS, 2)
        Rows of both bodies of each.
    where : ndarray of int, shape (MOST_CONTACTS, 2)
        Piece of each, or -1 between containers, and what of the two touches.
    sequence : ndarray of unsigned int, shape (MOST_CONTACTS,)
        Order in which contacts are solved.
    hits : ndarray, shape (MOST_OF_ONE, HIT_COLUMNS)
        Where the two touch that are looked at.
    kept, kept_key, kept_count : ndarray
        By body: impulses and slip of the last step with the key of each.
    drum : ndarray, shape (5,)
        Reach of the drum [mm], rate that it is told [rad/s], torque limit [mN mm], impulse of the motor, moment of
        inertia [kg mm2], which is 0 where there is no drum.
    counts : ndarray, shape (4,)
        Containers, pieces that stand still, all pieces, contacts.
    """

    bodies: Array
    corners: Array
    order: Rows
    pieces: Array
    piece_friction: Array
    between: Array
    contacts: Array
    pairs: Rows
    where: Whole
    sequence: Rows
    hits: Array
    kept: Array
    kept_key: Whole
    kept_count: Whole
    drum: Array
    counts: Whole


class StepSettings(NamedTuple):
    """What a step needs of the engine's settings: step [s], solver rounds (0: explicit), gravity [mm/s2]."""

    step: float
    rounds: int
    gravity_x: float
    gravity_y: float
