"""Forces at contacts that pymunk found: the law of contact, by springs, dampers and tangential springs, explicitly.

All forces of a step follow from the places and speeds before it (Cundall and Strack, Geotechnique 29 (1979) 47). All
that touches between the same two, such as both ends of a flat, is one group: each point bears its part of one spring,
and one tangential spring is drawn by all of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from colsim.physics import contact_law
from colsim.physics.contact_law import (
    TANGENTIAL_DAMPING,
    area_lost_by,
    bulge_of,
    contact_stiffness,
    damped_force,
    damper_of,
    lies_on_flat,
    on_set_flat,
    series_of,
    share_of,
    sharing_after,
    sharing_power,
    tangential_stiffness,
)
from colsim.physics.kernel.compiling import also_compiled, compiled, entry, inlined, stamp_of
from colsim.theory import squeeze

__all__ = ["LAY_ON", "Acting", "Loaded", "Seen"]

Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]

MAX_SPEED = 1e7  # [mm/s], far above anything in a column; beyond it the simulation has diverged

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

also_compiled(squeeze.sealed_pressure)
also_compiled(area_lost_by, bulge_of, contact_stiffness, damped_force, damper_of)
also_compiled(on_set_flat, series_of, share_of)


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


class Acting(NamedTuple):
    """A step [s], gravity [mm/s2], and tangential over normal stiffness [-]."""

    step: float
    gravity_x: float
    gravity_y: float
    tangential_share: float


@compiled
def _step(loaded: Loaded, seen: Seen, acting: Acting) -> bool:
    _take_places(loaded, seen)
    found = _read(loaded, seen)
    _sort(loaded.pairs[1], loaded.contacts[1], loaded.order, found)
    loaded.counts[0] = _merge(loaded, found)
    _share_out(loaded)
    _stiffen(loaded, acting.step)
    _find_forces(loaded, acting)
    # Gravity after that: a damper that saw what it adds in a step would bear part of the weight of what lies still.
    _apply(loaded, acting.step)
    for i in range(len(loaded.places)):
        loaded.bodies[i, VX] += acting.gravity_x * acting.step
        loaded.bodies[i, VY] += acting.gravity_y * acting.step
    _turn_drum(loaded, acting.step)
    return _write_speeds(loaded, seen)


@compiled
def _take_places(loaded: Loaded, seen: Seen) -> None:
    bodies, places = loaded.bodies, loaded.places
    for i in range(len(places)):
        for column in range(3):
            bodies[i, X + column] = seen.places[places[i], column]
    if len(loaded.turning) > 0:
        bodies[len(places) + 1, ANGLE] = seen.places[loaded.turning[0], 2]


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
def _read(loaded: Loaded, seen: Seen) -> int:
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
            corner = _corner_at(bodies, first, nx, ny, x, y)
            if overlap <= 0.0 or not _counts(loaded, first, other, corner, nx, ny, x, y):
                continue
            pairs[found, FIRST], pairs[found, CORNER] = first, corner
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
def _counts(loaded: Loaded, first: int, other: int, corner: int, nx: float, ny: float, x: float, y: float) -> bool:
    """Tell whether a point is a corner of a core, or a corner that a side of it meets.

    pymunk gives two points of every section with a side, the ends of what both have in common along the surface. One
    of them may lie within the side: where a chord ends, or beside two round ends that meet.
    """
    bodies = loaded.bodies
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


@inlined
def _end_of_group(pairs: Whole, begin: int, count: int) -> int:
    end = begin + 1
    while end < count and pairs[end, FIRST] == pairs[begin, FIRST] and pairs[end, TOUCHED] == pairs[begin, TOUCHED]:
        end += 1
    return end


@compiled
def _share_out(loaded: Loaded) -> None:
    """Share each overlap out between both bodies, by their stiffnesses so far, and add up what they lose."""
    bodies, contacts, pairs, count = loaded.bodies, loaded.contacts[0], loaded.pairs[0], loaded.counts[0]
    containers = len(loaded.places)
    for i in range(containers):
        bodies[i, AREA_LOST], bodies[i, SQUEEZED_UP] = 2.0 * area_lost_by(bodies[i, SET_DENT]), 0.0
    begin = 0
    while begin < count:
        end = _end_of_group(pairs, begin, count)
        together = 0.0
        for k in range(begin, end):
            together += contacts[k, OVERLAP]
        a, b = pairs[begin, FIRST], pairs[begin, SECOND]
        share = share_of(bodies[a, SHARING], bodies[b, SHARING])
        for k in range(begin, end):
            overlap, nx, ny = contacts[k, OVERLAP], contacts[k, NX], contacts[k, NY]
            weight, dent_a = overlap / together, overlap * share
            contacts[k, GROUP], contacts[k, DENT_A], contacts[k, DENT_B] = weight, dent_a, overlap - dent_a
            contacts[k, AT_X] += nx * dent_a
            contacts[k, AT_Y] += ny * dent_a
            _dent(bodies, a, dent_a, weight, nx, ny)
            if b < containers:
                _dent(bodies, b, overlap - dent_a, weight, nx, ny)
        begin = end


@inlined
def _dent(bodies: Array, i: int, dent: float, weight: float, nx: float, ny: float) -> None:
    set_dent = bodies[i, SET_DENT] if _on_flat(bodies, i, nx, ny) else 0.0
    bodies[i, AREA_LOST] += weight * (area_lost_by(set_dent + dent) - area_lost_by(set_dent))
    bodies[i, SQUEEZED_UP] += weight * dent * ny * ny


@inlined
def _on_flat(bodies: Array, i: int, nx: float, ny: float) -> bool:
    if bodies[i, SET_DENT] <= 0.0:
        return False
    return lies_on_flat(nx, ny, bodies[i, ANGLE] + bodies[i, FLAT_ANGLE])


@compiled
def _stiffen(loaded: Loaded, step: float) -> None:
    """Give each container the stiffness of its gas as all its dents press it, and each contact its own."""
    bodies, contacts, pairs = loaded.bodies, loaded.contacts[0], loaded.pairs[0]
    for i in range(len(loaded.places)):
        bodies[i, STIFFNESS] = contact_stiffness(
            bodies[i, FIRM],
            bodies[i, LENGTH],
            bodies[i, HEADSPACE],
            bodies[i, BODY_SHARE],
            bodies[i, STRETCH],
            bodies[i, FILLED],
            bodies[i, AREA_LOST] / bodies[i, ROUND_AREA],
        )
        bodies[i, SHARING] = sharing_after(bodies[i, SHARING], bodies[i, STIFFNESS], sharing_power(step))
        bodies[i, BULGE] = bulge_of(bodies[i, SQUEEZED_UP])
    for k in range(loaded.counts[0]):
        a, b = pairs[k, FIRST], pairs[k, SECOND]
        of_a = _stiffness_at(bodies, a, contacts[k, DENT_A], contacts[k, NX], contacts[k, NY])
        of_b = _stiffness_at(bodies, b, contacts[k, DENT_B], contacts[k, NX], contacts[k, NY])
        contacts[k, STIFF] = series_of(of_a, of_b) * contacts[k, GROUP]


@inlined
def _stiffness_at(bodies: Array, i: int, dent: float, nx: float, ny: float) -> float:
    if _on_flat(bodies, i, nx, ny):
        return on_set_flat(bodies[i, STIFFNESS], dent, bodies[i, SET_DENT], bodies[i, SET_FRACTION])
    return float(bodies[i, STIFFNESS])


@compiled
def _find_forces(loaded: Loaded, acting: Acting) -> None:
    """Find the force of every contact from the speeds as they are: normal, then friction within its limit."""
    pairs, count = loaded.pairs[0], loaded.counts[0]
    before, now = loaded.slips[0], loaded.slips[1]
    now[:] = 0.0
    begin = 0
    while begin < count:
        end = _end_of_group(pairs, begin, count)
        first, touched = pairs[begin, FIRST], pairs[begin, TOUCHED]
        now[first, touched] = _forces_of_group(loaded, acting, begin, end, before[first, touched])
        begin = end
    before[:] = now


@compiled
def _forces_of_group(loaded: Loaded, acting: Acting, begin: int, end: int, slip: float) -> float:
    """Find the forces of a group, and give how far its tangential spring is drawn now [mm].

    Beyond Coulomb's limit the spring is as far drawn as the limit draws it.
    """
    bodies, contacts = loaded.bodies, loaded.contacts[0]
    a, b, touched = loaded.pairs[0, begin, FIRST], loaded.pairs[0, begin, SECOND], loaded.pairs[0, begin, TOUCHED]
    surface, pieces = int(bodies[a, SURFACE]), len(loaded.pieces)
    if touched < pieces:
        friction, damping = loaded.friction[touched, surface], bodies[a, DAMPING]
    else:
        friction = loaded.between[surface, int(bodies[b, SURFACE])]
        damping = (bodies[a, DAMPING] + bodies[b, DAMPING]) / 2.0
    spring = pressing = slides = inverse_mass = 0.0
    for k in range(begin, end):
        leaving, sliding = _speeds(bodies, contacts, k, a, b)
        across, along = _inverse_masses(bodies, contacts, k, a, b)
        stiffness, weight = contacts[k, STIFF], contacts[k, GROUP]
        damper = weight * damper_of(stiffness / weight, across, damping)  # its part of one damper, as of the spring
        contacts[k, NORMAL] = damped_force(stiffness, damper, contacts[k, OVERLAP], leaving)
        pressing += contacts[k, NORMAL]
        spring += stiffness
        slides += weight * sliding
        inverse_mass += weight * along
    if pressing == 0.0:
        for k in range(begin, end):
            contacts[k, FRICTION] = 0.0
        return 0.0
    tangential = tangential_stiffness(spring, acting.tangential_share)
    slip += slides * acting.step
    most = friction * pressing
    held = -tangential * slip - damper_of(tangential, inverse_mass, TANGENTIAL_DAMPING) * slides
    together = min(max(held, -most), most)
    for k in range(begin, end):  # each bears the share of it that it bears of the normal force
        contacts[k, FRICTION] = together * contacts[k, NORMAL] / pressing
    return slip if abs(held) <= most else -together / tangential


@inlined
def _speeds(bodies: Array, contacts: Array, k: int, a: int, b: int) -> tuple[float, float]:
    """Give the speed at which two part where they touch, and of the first sliding to the left of the normal."""
    nx, ny, x, y = contacts[k, NX], contacts[k, NY], contacts[k, AT_X], contacts[k, AT_Y]
    vx = bodies[a, VX] - bodies[a, SPIN] * (y - bodies[a, Y]) - bodies[b, VX] + bodies[b, SPIN] * (y - bodies[b, Y])
    vy = bodies[a, VY] + bodies[a, SPIN] * (x - bodies[a, X]) - bodies[b, VY] - bodies[b, SPIN] * (x - bodies[b, X])
    return vx * nx + vy * ny, vy * nx - vx * ny


@inlined
def _inverse_masses(bodies: Array, contacts: Array, k: int, a: int, b: int) -> tuple[float, float]:
    """Give the inverse masses that a contact moves across and along the surface [1/kg]."""
    nx, ny, x, y = contacts[k, NX], contacts[k, NY], contacts[k, AT_X], contacts[k, AT_Y]
    across = along = 0.0
    for i in (a, b):
        arm_x, arm_y = x - bodies[i, X], y - bodies[i, Y]
        across += bodies[i, INVERSE_MASS] + bodies[i, INVERSE_MOMENT] * (arm_x * ny - arm_y * nx) ** 2
        along += bodies[i, INVERSE_MASS] + bodies[i, INVERSE_MOMENT] * (arm_x * nx + arm_y * ny) ** 2
    return across, along


@compiled
def _apply(loaded: Loaded, step: float) -> None:
    """Have all forces act for a step."""
    bodies, contacts, pairs = loaded.bodies, loaded.contacts[0], loaded.pairs[0]
    for k in range(loaded.counts[0]):
        nx, ny, normal, friction = contacts[k, NX], contacts[k, NY], contacts[k, NORMAL], contacts[k, FRICTION]
        px, py = (nx * normal - ny * friction) * step, (ny * normal + nx * friction) * step
        for side, way in ((FIRST, 1.0), (SECOND, -1.0)):
            i = pairs[k, side]
            arm_x, arm_y = contacts[k, AT_X] - bodies[i, X], contacts[k, AT_Y] - bodies[i, Y]
            bodies[i, VX] += way * bodies[i, INVERSE_MASS] * px
            bodies[i, VY] += way * bodies[i, INVERSE_MASS] * py
            bodies[i, SPIN] += way * bodies[i, INVERSE_MOMENT] * (arm_x * py - arm_y * px)


@compiled
def _turn_drum(loaded: Loaded, step: float) -> None:
    """Have the motor bring the drum to its rate, as far as its torque goes."""
    drum = loaded.bodies[len(loaded.bodies) - 1]
    if drum[INVERSE_MOMENT] > 0.0:
        most = loaded.drum[TORQUE] * step
        impulse = (loaded.drum[RATE] - drum[SPIN]) / drum[INVERSE_MOMENT]
        drum[SPIN] += drum[INVERSE_MOMENT] * min(max(impulse, -most), most)


@compiled
def _write_speeds(loaded: Loaded, seen: Seen) -> bool:
    """Write all speeds for pymunk; False if one is NaN or absurd."""
    bodies, places = loaded.bodies, loaded.places
    for i in range(len(places)):
        if not abs(bodies[i, VX]) + abs(bodies[i, VY]) + abs(bodies[i, SPIN]) < MAX_SPEED:
            return False
        for column in range(3):
            seen.speeds[places[i], column] = bodies[i, VX + column]
    spin = bodies[len(places) + 1, SPIN]
    for k in range(len(loaded.turning)):
        seen.speeds[loaded.turning[k], 2] = spin
    return bool(abs(spin) < MAX_SPEED)


def _entry(stamp: int) -> Callable[[Loaded, Seen, Acting], bool]:
    """Make what is called from Python, with a stamp of all the code that it compiles in."""

    @entry
    def lay_on(loaded: Loaded, seen: Seen, acting: Acting) -> bool:
        """Lay on the forces of a step and write the speeds that come of them; False if it diverged."""
        return _step(loaded, seen, acting) if stamp else False

    return lay_on


LAY_ON: Callable[[Loaded, Seen, Acting], Any] = _entry(stamp_of(contact_law, squeeze))
"""Lay on the forces of a step and write the speeds that come of them; False if it diverged."""
