"""The state of the compiled engine, as arrays of numbers, which numba compiles to fast code.

A row of ``bodies`` is a container: a core of one corner (disc), two (stadium) or four (box), rounded by a radius. The
row after the last container stands for everything fixed, the one after that for the drum, so that every contact is
between two rows. A row of ``pieces`` is a piece of the scene.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["FloatArray", "IndexArray", "IntArray", "StepSettings", "World"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
IndexArray = npt.NDArray[np.uint64]

MAX_BODY_CONTACTS = 32  # points of one manifold, and warm-start impulses kept of one body
MAX_CONTACTS = 1024

# Columns of a body.
X, Y, ANGLE, VX, VY, SPIN, INVERSE_MASS, INVERSE_MOMENT = 0, 1, 2, 3, 4, 5, 6, 7
RADIUS, REACH, HALF_FLAT, HALF_SIDE, FLAT_ANGLE, CORNERS = 8, 9, 10, 11, 12, 13
SURFACE, INDEX, DAMPING = 14, 15, 16
CONSTANT_STIFFNESS, LENGTH, HEADSPACE, BODY_SHARE, WALL_STRETCH, INITIAL_PRESSURE = 17, 18, 19, 20, 21, 22
ROUND_AREA, SET_DENT, SET_FRACTION = 23, 24, 25
CONTACT_PARAMETERS = slice(CONSTANT_STIFFNESS, SET_FRACTION + 1)  # in the order of scene.Body.contact_row
CAN_BULGE = 26
STIFFNESS, LAGGED_STIFFNESS = 27, 28  # of each contact of the body
AREA_LOST, HEIGHT_LOST, BULGE = 29, 30, 31  # from the dents of the last step
BODY_COLUMNS = 32

# Columns of a piece: a line, a convex arc, a concave arc, or a convex corner between two pieces.
KIND, X0, Y0, SIZE = 0, 1, 2, 3  # start of a line or centre of an arc; length of a line or radius of an arc
MIDDLE_X, MIDDLE_Y, MIN_COSINE = 4, 5, 6  # sector of an arc or corner: its middle direction, cosine of its half angle
DIRECTION_X, DIRECTION_Y = 4, 5  # of a line
LEFT, RIGHT, BOTTOM, TOP, SIDE_WALL = 7, 8, 9, 10, 11  # bounding box; whether it is a side wall
PIECE_COLUMNS = 12
LINE, OUTSIDE, INSIDE, CORNER = 0.0, 1.0, 2.0, 3.0

# Columns of a contact. Impulses act on its first body; A and B are its first and second body.
NX, NY, AX, AY, BX, BY, OVERLAP, FRICTION = 0, 1, 2, 3, 4, 5, 6, 7  # AX to BY: contact point from each centre
PAIR_OVERLAP, CONTACT_STIFFNESS, DENT_A, DENT_B = 8, 9, 10, 11  # PAIR_OVERLAP: sum over the points of the pair
NORMAL_IMPULSE, FRICTION_IMPULSE = 12, 13
NORMAL_ARM_A, NORMAL_ARM_B, TANGENT_ARM_A, TANGENT_ARM_B = 14, 15, 16, 17  # lever arms about both centres
NORMAL_MASS, TANGENT_MASS, COUPLING = 18, 19, 20  # effective masses; sliding speed per normal impulse
SOFTNESS, TARGET_VELOCITY = 21, 22  # spring and damper as a soft constraint: added inverse mass, target normal velocity
DAMPER = 23
SLIP = 24  # stretch of the tangential spring of the explicit solver
SET_DENT_A, SET_DENT_B = 25, 26  # permanent dents at the contact
CONTACT_COLUMNS = 27
FIRST, SECOND = 0, 1
PIECE, FEATURE = 0, 1

# Columns of a point of a manifold; its normal NX, NY as of a contact.
DISTANCE, CORE_X, CORE_Y, POINT_FEATURE = 2, 3, 4, 5  # CORE_X, CORE_Y: the point of the first body's core
POINT_COLUMNS = 6

# The drum and its motor, and counts.
DRUM_REACH, RATE, TORQUE, MOTOR_IMPULSE, MOMENT = 0, 1, 2, 3, 4
CONTAINERS, FIXED_PIECES, ALL_PIECES, CONTACTS = 0, 1, 2, 3


class World(NamedTuple):
    """State of a scene.

    Attributes
    ----------
    bodies : ndarray, shape (n + 2, BODY_COLUMNS)
        Containers by index, then the fixed row, then the drum.
    corners : ndarray, shape (n + 2, 4, 2)
        Corners of each core in the scene's frame [mm].
    top_down : ndarray of unsigned int, shape (n + 2,)
        Rows of the containers, sorted from the top down.
    pieces : ndarray, shape (k, PIECE_COLUMNS)
        Fixed pieces, from the top down, then those of the drum in its own frame.
    piece_friction : ndarray, shape (k, surfaces)
        Friction of each piece with each surface of containers [-].
    body_friction : ndarray, shape (surfaces, surfaces)
        Friction between containers [-].
    contacts : ndarray, shape (MAX_CONTACTS, CONTACT_COLUMNS)
        Contacts of the last step.
    pairs : ndarray of unsigned int, shape (MAX_CONTACTS, 2)
        Rows of both bodies of each contact.
    features : ndarray of int, shape (MAX_CONTACTS, 2)
        Piece of each contact, or -1 between containers; and the number of its corner or edge pair.
    solve_order : ndarray of unsigned int, shape (MAX_CONTACTS,)
        Order in which the solver visits the contacts.
    manifold : ndarray, shape (MAX_BODY_CONTACTS, POINT_COLUMNS)
        Contact manifold of the pair that the narrow phase works on.
    warm_start, warm_start_keys, warm_start_counts : ndarray
        By body: normal impulse, friction impulse and slip of the last step; the key of each; how many.
    drum : ndarray, shape (5,)
        Reach of the drum [mm], target rate [rad/s], torque limit [mN mm], impulse of the motor, and moment of inertia
        [kg mm2], which is 0 without a drum.
    counts : ndarray, shape (4,)
        Containers, fixed pieces, all pieces, contacts.
    """

    bodies: FloatArray
    corners: FloatArray
    top_down: IndexArray
    pieces: FloatArray
    piece_friction: FloatArray
    body_friction: FloatArray
    contacts: FloatArray
    pairs: IndexArray
    features: IntArray
    solve_order: IndexArray
    manifold: FloatArray
    warm_start: FloatArray
    warm_start_keys: IntArray
    warm_start_counts: IntArray
    drum: FloatArray
    counts: IntArray


class StepSettings(NamedTuple):
    """Settings of a step: time step [s], solver iterations (0: explicit), gravity [mm/s2]."""

    step: float
    iterations: int
    gravity_x: float
    gravity_y: float
