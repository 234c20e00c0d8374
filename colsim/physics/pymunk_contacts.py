"""Contacts as pymunk finds them, brought to those that the law of contact knows, in an order that is always the same.

A contact is a corner of a core beside a piece or a side of another core, or a side of the core beside a corner. What
touches the chords of one arc touches one arc.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from colsim.physics.kernel.compiling import compiled, inlined

Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

# Columns of a body.
X, Y, ANGLE, VX, VY, SPIN, INVERSE_MASS, INVERSE_MOMENT = 0, 1, 2, 3, 4, 5, 6, 7
SURFACE, DAMPING, REACH = 8, 9, 10
FLAT_ANGLE, HALF_FLAT, HALF_SIDE, RADIUS = 11, 12, 13, 14  # halves of a core's sides, and how far the outline is off it
FIRM, LENGTH, HEADSPACE, BODY_SHARE, STRETCH, FILLED, ROUND_AREA, SET_DENT, SET_FRACTION = range(15, 24)
LAW = slice(FIRM, SET_FRACTION + 1)  # as scene.Body.law gives them
STIFFNESS, SHARING, AREA_LOST, SQUEEZED_UP, BULGE = 24, 25, 26, 27, 28
BODY_COLUMNS = 29

# Columns of a piece: whether a convex arc, the way to its middle and how far off it reaches; whether it is chords.
ARC, MIDDLE_X, MIDDLE_Y, LEAST_COSINE, CHORDS, ON_DRUM = 0, 1, 2, 3, 4, 5
PIECE_COLUMNS = 6

# Columns of a contact; normal and forces as on its first body, the point on its outline, later where both flats meet.
NX, NY, AT_X, AT_Y, OVERLAP, GROUP, DENT_A, DENT_B, STIFF, NORMAL, FRICTION = 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10
CONTACT_COLUMNS = 11
FIRST, SECOND, TOUCHED = 0, 1, 2  # rows of both bodies; the piece, or after the pieces the row of the other container
CORNER, PAIR_COLUMNS = 3, 4  # the corner of the first body's core that touches, or none
NO_CORNER, SAME = 4, 1e-6  # SAME: [mm] and sine within which two are the same

# Columns of what pymunk tells of a pair: whole numbers, and numbers.
BODY_A, BODY_B, POINTS = 0, 1, 2
FROM_A_X, FROM_A_Y, POINT_A, POINT_B, DISTANCE, ONE_POINT = 0, 1, 2, 4, 6, 5

RATE, TORQUE = 0, 1  # of the drum


class Loaded(NamedTuple):
    """What stays from step to step.

    Attributes
    ----------
    bodies : ndarray, shape (n + 2, BODY_COLUMNS)
        Containers by index, then what does not move, then the drum.
    places : ndarray of int, shape (n,)
        Row of each container in pymunk's own list of bodies.
    turning : ndarray of int, shape (d,)
        Rows of the pieces of the drum in that list.
    ids : ndarray of unsigned int, shape (n + k,)
        pymunk's numbers of containers and pieces, sorted.
    meant : ndarray of int, shape (n + k,)
        What each number stands for: the row of a container, or -1 - k for piece k.
    pieces : ndarray, shape (k, PIECE_COLUMNS)
        Of walls, then of the drum in its own frame.
    friction : ndarray, shape (k, surfaces)
        Of pieces against containers [-].
    between : ndarray, shape (surfaces, surfaces)
        Of containers on each other [-].
    slips : ndarray, shape (2, n, k + n)
        How far the tangential spring of each group is drawn, by first body and by what it touches [mm]: of the last
        step and of this one.
    contacts : ndarray, shape (2, c, CONTACT_COLUMNS)
        Those of the last step in order, and as they were read.
    pairs : ndarray of int, shape (2, c, PAIR_COLUMNS)
        Who they are between.
    order : ndarray of int, shape (c,)
        Order of what was read.
    drum : ndarray, shape (2,)
        Rate that the motor is told [rad/s], torque limit [mN mm].
    counts : ndarray of int, shape (1,)
        Contacts of the last step.
    """

    bodies: Array
    places: Whole
    turning: Whole
    ids: npt.NDArray[np.uint64]
    meant: Whole
    pieces: Array
    friction: Array
    between: Array
    slips: Array
    contacts: Array
    pairs: Whole
    order: Whole
    drum: Array
    counts: Whole


class Seen(NamedTuple):
    """What pymunk tells after a step, and is told.

    Attributes
    ----------
    places : ndarray, shape (b, 3)
        Of all its bodies: centre [mm], angle [rad].
    who : ndarray of unsigned int, shape (c, 3)
        Of all pairs that touch: numbers of both, number of points.
    how : ndarray, shape (c, 12)
        Normal out of the first into the second; of both points those on the two outlines, and the distance [mm].
    speeds : ndarray, shape (b, 3)
        To be written: velocity [mm/s], spin [rad/s].
    """

    places: Array
    who: npt.NDArray[np.uint64]
    how: Array
    speeds: Array


@compiled
def read_contacts(loaded: Loaded, seen: Seen) -> None:
    """Write down what touches now, in order."""
    found = _read_points(loaded, seen)
    _sort(loaded.pairs[1], loaded.contacts[1], loaded.order, found)
    loaded.counts[0] = _merge(loaded, found)


@inlined
def _meaning(loaded: Loaded, number: int) -> int:
    low, high = 0, len(loaded.ids)
    while low < high:
        middle = (low + high) // 2
        if loaded.ids[middle] < number:
            low = middle + 1
        else:
            high = middle
    return int(loaded.meant[low])


@compiled
def _read_points(loaded: Loaded, seen: Seen) -> int:
    """List what touches, in pymunk's order, but for what the law of contact does not know; give how many points."""
    bodies, contacts, pairs, still = loaded.bodies, loaded.contacts[1], loaded.pairs[1], len(loaded.places)
    found = 0
    for k in range(len(seen.who)):
        first, other = _meaning(loaded, seen.who[k, BODY_A]), _meaning(loaded, seen.who[k, BODY_B])
        nx, ny, outline = -seen.how[k, FROM_A_X], -seen.how[k, FROM_A_Y], POINT_A
        if first < 0 or 0 <= other < first:
            first, other, nx, ny, outline = other, first, -nx, -ny, POINT_B
        if other < 0 and not _on_arc(loaded, -1 - other, nx, ny):
            continue
        for point in range(seen.who[k, POINTS]):
            shift = ONE_POINT * point
            overlap = -seen.how[k, DISTANCE + shift]
            x, y = seen.how[k, outline + shift], seen.how[k, outline + shift + 1]
            if overlap <= 0.0 or not _counts(loaded, first, other, nx, ny, x, y):
                continue
            pairs[found, FIRST], pairs[found, CORNER] = first, _corner_at(bodies, first, nx, ny, x, y)
            if other < 0:
                pairs[found, SECOND] = still + int(loaded.pieces[-1 - other, ON_DRUM])
                pairs[found, TOUCHED] = -1 - other
            else:
                pairs[found, SECOND], pairs[found, TOUCHED] = other, len(loaded.pieces) + other
            contacts[found, NX], contacts[found, NY], contacts[found, OVERLAP] = nx, ny, overlap
            contacts[found, AT_X], contacts[found, AT_Y] = x, y
            found += 1
    return found


@inlined
def _counts(loaded: Loaded, first: int, other: int, nx: float, ny: float, x: float, y: float) -> bool:
    """Tell whether a point is a corner of a core, or a corner that a side of it meets.

    pymunk gives two points of every section with a side, the ends of what both have in common along the surface. One
    of them may lie within the side: where a chord ends, or beside two round ends that meet.
    """
    bodies = loaded.bodies
    corner = _corner_at(bodies, first, nx, ny, x, y)
    if other < 0:
        chord = loaded.pieces[-1 - other, CHORDS] > 0.0
        return corner < NO_CORNER or (not chord and _across_side(bodies, first, nx, ny))
    yours = _corner_at(bodies, other, nx, ny, x, y)
    if corner < NO_CORNER and yours < NO_CORNER:
        return True
    beside = _across_side(bodies, first, nx, ny) or _across_side(bodies, other, nx, ny)
    return beside and (corner < NO_CORNER or yours < NO_CORNER)


@inlined
def _corner_at(bodies: Array, i: int, nx: float, ny: float, x: float, y: float) -> int:
    """Give which corner of a core stands where a point is, as seen along the normal; a disc has one."""
    turned = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    cosine, sine = math.cos(turned), math.sin(turned)
    flat, side = bodies[i, HALF_FLAT] * (cosine * -ny + sine * nx), bodies[i, HALF_SIDE] * (sine * ny + cosine * nx)
    along = (y - bodies[i, Y]) * nx - (x - bodies[i, X]) * ny
    for corner in range(NO_CORNER):
        at = (flat if corner % 2 else -flat) + (side if corner // 2 else -side)
        if abs(along - at) < SAME:
            return corner
    return NO_CORNER


@inlined
def _across_side(bodies: Array, i: int, nx: float, ny: float) -> bool:
    """Tell whether a normal stands at a right angle to a side of a core."""
    turned = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    along, across = nx * math.cos(turned) + ny * math.sin(turned), ny * math.cos(turned) - nx * math.sin(turned)
    return (bodies[i, HALF_FLAT] > 0.0 and abs(along) < SAME) or (bodies[i, HALF_SIDE] > 0.0 and abs(across) < SAME)


@inlined
def _on_arc(loaded: Loaded, piece: int, nx: float, ny: float) -> bool:
    pieces = loaded.pieces
    if pieces[piece, ARC] == 0.0:
        return True
    middle_x, middle_y = pieces[piece, MIDDLE_X], pieces[piece, MIDDLE_Y]
    if pieces[piece, ON_DRUM] > 0.0:
        angle = loaded.bodies[len(loaded.bodies) - 1, ANGLE]
        cosine, sine = math.cos(angle), math.sin(angle)
        middle_x, middle_y = cosine * middle_x - sine * middle_y, sine * middle_x + cosine * middle_y
    return bool(nx * middle_x + ny * middle_y >= pieces[piece, LEAST_COSINE])


@compiled
def _sort(pairs: Whole, contacts: Array, order: Whole, count: int) -> None:
    """Put contacts in an order that does not depend on pymunk's, which is by where things lie in memory."""
    for place in range(count):
        k = place
        while k > 0 and _comes_before(pairs, contacts, place, order[k - 1]):
            order[k] = order[k - 1]
            k -= 1
        order[k] = place


@inlined
def _comes_before(pairs: Whole, contacts: Array, one: int, other: int) -> bool:
    for column in range(PAIR_COLUMNS):
        if pairs[one, column] != pairs[other, column]:
            return bool(pairs[one, column] < pairs[other, column])
    for column in range(GROUP):
        if contacts[one, column] != contacts[other, column]:
            return bool(contacts[one, column] < contacts[other, column])
    return False


@compiled
def _merge(loaded: Loaded, found: int) -> int:
    """Write contacts in order, a corner's with the chords of one arc as the one that they stand for; give how many.

    It is as deep as with the nearest chord, and its normal the mean by overlap.
    """
    contacts, pairs, count = loaded.contacts[0], loaded.pairs[0], 0
    for place in range(found):
        k = loaded.order[place]
        touched, overlap = loaded.pairs[1, k, TOUCHED], loaded.contacts[1, k, OVERLAP]
        again = (
            count > 0
            and pairs[count - 1, FIRST] == loaded.pairs[1, k, FIRST]
            and pairs[count - 1, TOUCHED] == touched
            and pairs[count - 1, CORNER] == loaded.pairs[1, k, CORNER] < NO_CORNER
            and touched < len(loaded.pieces)
            and loaded.pieces[touched, CHORDS] > 0.0
        )
        if not again:
            pairs[count] = loaded.pairs[1, k]
            contacts[count] = 0.0
            count += 1
        for column in range(OVERLAP):
            contacts[count - 1, column] += overlap * loaded.contacts[1, k, column]
        contacts[count - 1, OVERLAP] = max(contacts[count - 1, OVERLAP], overlap)
        contacts[count - 1, GROUP] += overlap
    for k in range(count):
        for column in range(OVERLAP):
            contacts[k, column] /= contacts[k, GROUP]
        length = math.hypot(contacts[k, NX], contacts[k, NY])
        contacts[k, NX], contacts[k, NY] = contacts[k, NX] / length, contacts[k, NY] / length
        # The mean of points on a round outline lies inside it.
        inside = loaded.bodies[pairs[k, FIRST], RADIUS] * (1.0 - length)
        contacts[k, AT_X] -= inside * contacts[k, NX]
        contacts[k, AT_Y] -= inside * contacts[k, NY]
    return count
