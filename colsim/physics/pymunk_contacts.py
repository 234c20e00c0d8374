"""State of the reference engine as arrays, and its contacts: pymunk's points, filtered, merged and sorted.

The contact law counts a point where a corner of a core meets a piece, a side or a corner of another core, or where a
side of the core meets a corner. Contacts with several chords of one arc are one contact with the arc.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from colsim.physics.kernel.compiling import compiled, inlined

__all__ = ["FloatArray", "IntArray", "PymunkWorld", "StepData", "read_contacts"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Columns of a body.
X, Y, ANGLE, VX, VY, SPIN, INVERSE_MASS, INVERSE_MOMENT = 0, 1, 2, 3, 4, 5, 6, 7
SURFACE, DAMPING, REACH = 8, 9, 10
FLAT_ANGLE, HALF_FLAT, HALF_SIDE, RADIUS = 11, 12, 13, 14  # half sides of the core; distance of the outline from it
CONSTANT_STIFFNESS, LENGTH, HEADSPACE, BODY_SHARE, WALL_STRETCH, INITIAL_PRESSURE = 15, 16, 17, 18, 19, 20
ROUND_AREA, SET_DENT, SET_FRACTION = 21, 22, 23
CONTACT_PARAMETERS = slice(CONSTANT_STIFFNESS, SET_FRACTION + 1)  # in the order of scene.Body.contact_row
STIFFNESS, LAGGED_STIFFNESS, AREA_LOST, HEIGHT_LOST, BULGE = 24, 25, 26, 27, 28
BODY_COLUMNS = 29

# Columns of a piece: whether it is a convex arc, its middle direction and the cosine of its half angle; whether it is
# made of chords; whether it is on the drum.
ARC, MIDDLE_X, MIDDLE_Y, MIN_COSINE, CHORDS, ON_DRUM = 0, 1, 2, 3, 4, 5
PIECE_COLUMNS = 6

# Columns of a contact. Normal and forces are on its first body; the point is on the outline of that body, later on the
# dented surface. WEIGHT: share of the overlap of the pair; in `_merge`, sum of the overlaps with the chords of one arc.
NX, NY, AT_X, AT_Y, OVERLAP, WEIGHT, DENT_A, DENT_B = 0, 1, 2, 3, 4, 5, 6, 7
CONTACT_STIFFNESS, NORMAL_FORCE, FRICTION_FORCE = 8, 9, 10
CONTACT_COLUMNS = 11
FIRST, SECOND = 0, 1  # rows of both bodies
PARTNER = 2  # number of the piece, or the number of pieces plus the row of the other container
CORNER, PAIR_COLUMNS = 3, 4  # corner of the first body's core, or NO_CORNER
NO_CORNER = 4
TOLERANCE = 1e-6  # of equal positions [mm], and sine of equal directions [-]

# Columns of a pair that pymunk reports: ids and number of points; geometry, of which a second point follows the first.
ID_A, ID_B, POINTS = 0, 1, 2
NORMAL_X, NORMAL_Y, POINT_A, POINT_B, DISTANCE, POINT_STRIDE = 0, 1, 2, 4, 6, 5

RATE, TORQUE = 0, 1  # of the motor


class PymunkWorld(NamedTuple):
    """State of a scene.

    Attributes
    ----------
    bodies : ndarray, shape (n + 2, BODY_COLUMNS)
        Containers by index, then the fixed row, then the drum.
    pymunk_rows : ndarray of int, shape (n,)
        Row of each container in pymunk's list of bodies.
    drum_rows : ndarray of int, shape (d,)
        Rows of the pieces of the drum in that list.
    ids : ndarray of unsigned int, shape (n + k,)
        pymunk's ids of containers and pieces, sorted.
    rows_by_id : ndarray of int, shape (n + k,)
        For each id the row of a container, or -1 - k for piece k.
    pieces : ndarray, shape (k, PIECE_COLUMNS)
        Of walls, then of the drum in its own frame.
    piece_friction : ndarray, shape (k, surfaces)
        Friction of each piece with each surface of containers [-].
    body_friction : ndarray, shape (surfaces, surfaces)
        Friction between containers [-].
    slips : ndarray, shape (2, n, k + n)
        Stretch of the tangential spring of each pair, by first body and partner [mm], of the last step and of this one.
    contacts : ndarray, shape (2, c, CONTACT_COLUMNS)
        Sorted and merged contacts of the last step, and the points as read.
    pairs : ndarray of int, shape (2, c, PAIR_COLUMNS)
        Bodies, partner and corner of each.
    order : ndarray of int, shape (c,)
        Sorted order of the points as read.
    drum : ndarray, shape (2,)
        Target rate of the motor [rad/s], torque limit [mN mm].
    counts : ndarray of int, shape (1,)
        Number of contacts of the last step.
    """

    bodies: FloatArray
    pymunk_rows: IntArray
    drum_rows: IntArray
    ids: npt.NDArray[np.uint64]
    rows_by_id: IntArray
    pieces: FloatArray
    piece_friction: FloatArray
    body_friction: FloatArray
    slips: FloatArray
    contacts: FloatArray
    pairs: IntArray
    order: IntArray
    drum: FloatArray
    counts: IntArray


class StepData(NamedTuple):
    """Data that pymunk reports after a step, and velocities to be written back.

    Attributes
    ----------
    poses : ndarray, shape (b, 3)
        Centre [mm] and angle [rad] of all bodies in pymunk.
    pairs : ndarray of unsigned int, shape (c, 3)
        Ids of both bodies of each pair in contact, number of points.
    geometry : ndarray, shape (c, 12)
        Normal from the first to the second; for each of two points its place on both outlines, and distance [mm].
    velocities : ndarray, shape (b, 3)
        Output: velocity [mm/s] and spin [rad/s] of all bodies in pymunk.
    """

    poses: FloatArray
    pairs: npt.NDArray[np.uint64]
    geometry: FloatArray
    velocities: FloatArray


@compiled
def read_contacts(world: PymunkWorld, data: StepData) -> None:
    """Read, filter, sort and merge the contacts of this step.

    Parameters
    ----------
    world : PymunkWorld
        Its contacts, pairs, order and count are written, for which there must be room.
    data : StepData
        What pymunk reports of the step.
    """
    found = _read_points(world, data)
    _sort(world.pairs[1], world.contacts[1], world.order, found)
    world.counts[0] = _merge(world, found)


@inlined
def _row_of(world: PymunkWorld, body_id: int) -> int:
    """Give the row of a container, or -1 - k for piece k, by binary search."""
    low, high = 0, len(world.ids)
    while low < high:
        middle = (low + high) // 2
        if world.ids[middle] < body_id:
            low = middle + 1
        else:
            high = middle
    return int(world.rows_by_id[low])


@compiled
def _read_points(world: PymunkWorld, data: StepData) -> int:
    """List the points that the contact law counts, in pymunk's order; give how many."""
    bodies, contacts, pairs, fixed_row = world.bodies, world.contacts[1], world.pairs[1], len(world.pymunk_rows)
    found = 0
    for k in range(len(data.pairs)):
        first, other = _row_of(world, data.pairs[k, ID_A]), _row_of(world, data.pairs[k, ID_B])
        nx, ny, outline = -data.geometry[k, NORMAL_X], -data.geometry[k, NORMAL_Y], POINT_A
        if first < 0 or 0 <= other < first:
            first, other, nx, ny, outline = other, first, -nx, -ny, POINT_B
        if other < 0 and not _on_arc(world, -1 - other, nx, ny):
            continue
        for point in range(data.pairs[k, POINTS]):
            shift = POINT_STRIDE * point
            overlap = -data.geometry[k, DISTANCE + shift]
            x, y = data.geometry[k, outline + shift], data.geometry[k, outline + shift + 1]
            if overlap <= 0.0 or not _is_corner_contact(world, first, other, nx, ny, x, y):
                continue
            pairs[found, FIRST], pairs[found, CORNER] = first, _corner_at(bodies, first, nx, ny, x, y)
            if other < 0:
                pairs[found, SECOND] = fixed_row + int(world.pieces[-1 - other, ON_DRUM])
                pairs[found, PARTNER] = -1 - other
            else:
                pairs[found, SECOND], pairs[found, PARTNER] = other, len(world.pieces) + other
            contacts[found, NX], contacts[found, NY], contacts[found, OVERLAP] = nx, ny, overlap
            contacts[found, AT_X], contacts[found, AT_Y] = x, y
            found += 1
    return found


@inlined
def _is_corner_contact(world: PymunkWorld, first: int, other: int, nx: float, ny: float, x: float, y: float) -> bool:
    """Tell whether a point is at a corner of the core, or at a corner that one of its sides meets.

    For every section with a side pymunk reports two points, the ends of the common length along the surface. One of
    them may be within a side: at the end of a chord, or beside two round ends in contact. Such points are left out.
    """
    bodies = world.bodies
    corner = _corner_at(bodies, first, nx, ny, x, y)
    if other < 0:
        chord = world.pieces[-1 - other, CHORDS] > 0.0
        return corner < NO_CORNER or (not chord and _normal_to_side(bodies, first, nx, ny))
    other_corner = _corner_at(bodies, other, nx, ny, x, y)
    if corner < NO_CORNER and other_corner < NO_CORNER:
        return True
    beside = _normal_to_side(bodies, first, nx, ny) or _normal_to_side(bodies, other, nx, ny)
    return beside and (corner < NO_CORNER or other_corner < NO_CORNER)


@inlined
def _corner_at(bodies: FloatArray, i: int, nx: float, ny: float, x: float, y: float) -> int:
    """Give the corner of a core with the same tangential coordinate as a point, or NO_CORNER; a disc has corner 0."""
    angle = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    cosine, sine = math.cos(angle), math.sin(angle)
    flat, side = bodies[i, HALF_FLAT] * (cosine * -ny + sine * nx), bodies[i, HALF_SIDE] * (sine * ny + cosine * nx)
    along = (y - bodies[i, Y]) * nx - (x - bodies[i, X]) * ny
    for corner in range(NO_CORNER):
        at = (flat if corner % 2 else -flat) + (side if corner // 2 else -side)
        if abs(along - at) < TOLERANCE:
            return corner
    return NO_CORNER


@inlined
def _normal_to_side(bodies: FloatArray, i: int, nx: float, ny: float) -> bool:
    """Tell whether a normal is perpendicular to a side of a core."""
    angle = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    along, across = nx * math.cos(angle) + ny * math.sin(angle), ny * math.cos(angle) - nx * math.sin(angle)
    return (bodies[i, HALF_FLAT] > 0.0 and abs(along) < TOLERANCE) or (
        bodies[i, HALF_SIDE] > 0.0 and abs(across) < TOLERANCE
    )


@inlined
def _on_arc(world: PymunkWorld, piece: int, nx: float, ny: float) -> bool:
    """Tell whether a normal is in the sector of a convex arc, for which pymunk has a whole circle; True for others."""
    pieces = world.pieces
    if pieces[piece, ARC] == 0.0:
        return True
    middle_x, middle_y = pieces[piece, MIDDLE_X], pieces[piece, MIDDLE_Y]
    if pieces[piece, ON_DRUM] > 0.0:
        angle = world.bodies[len(world.bodies) - 1, ANGLE]
        cosine, sine = math.cos(angle), math.sin(angle)
        middle_x, middle_y = cosine * middle_x - sine * middle_y, sine * middle_x + cosine * middle_y
    return bool(nx * middle_x + ny * middle_y >= pieces[piece, MIN_COSINE])


@compiled
def _sort(pairs: IntArray, contacts: FloatArray, order: IntArray, count: int) -> None:
    """Find a sorted order of the points (insertion sort); pymunk's own order depends on memory addresses."""
    for place in range(count):
        k = place
        while k > 0 and _precedes(pairs, contacts, place, order[k - 1]):
            order[k] = order[k - 1]
            k -= 1
        order[k] = place


@inlined
def _precedes(pairs: IntArray, contacts: FloatArray, one: int, other: int) -> bool:
    for column in range(PAIR_COLUMNS):
        if pairs[one, column] != pairs[other, column]:
            return bool(pairs[one, column] < pairs[other, column])
    for column in range(WEIGHT):
        if contacts[one, column] != contacts[other, column]:
            return bool(contacts[one, column] < contacts[other, column])
    return False


@compiled
def _merge(world: PymunkWorld, found: int) -> int:
    """Write the contacts in sorted order, those of a corner with the chords of one arc as one; give how many.

    The overlap of a merged contact is that with the nearest chord; point and normal are means weighted by overlap.
    """
    contacts, pairs, count = world.contacts[0], world.pairs[0], 0
    for place in range(found):
        k = world.order[place]
        partner, overlap = world.pairs[1, k, PARTNER], world.contacts[1, k, OVERLAP]
        same_arc = (
            count > 0
            and pairs[count - 1, FIRST] == world.pairs[1, k, FIRST]
            and pairs[count - 1, PARTNER] == partner
            and pairs[count - 1, CORNER] == world.pairs[1, k, CORNER] < NO_CORNER
            and partner < len(world.pieces)
            and world.pieces[partner, CHORDS] > 0.0
        )
        if not same_arc:
            pairs[count] = world.pairs[1, k]
            contacts[count] = 0.0
            count += 1
        for column in range(OVERLAP):
            contacts[count - 1, column] += overlap * world.contacts[1, k, column]
        contacts[count - 1, OVERLAP] = max(contacts[count - 1, OVERLAP], overlap)
        contacts[count - 1, WEIGHT] += overlap
    for k in range(count):
        for column in range(OVERLAP):
            contacts[k, column] /= contacts[k, WEIGHT]
        length = math.hypot(contacts[k, NX], contacts[k, NY])
        contacts[k, NX], contacts[k, NY] = contacts[k, NX] / length, contacts[k, NY] / length
        # The mean of points on a circle is inside it: by the sagitta of the outline.
        sagitta = world.bodies[pairs[k, FIRST], RADIUS] * (1.0 - length)
        contacts[k, AT_X] -= sagitta * contacts[k, NX]
        contacts[k, AT_Y] -= sagitta * contacts[k, NY]
    return count
