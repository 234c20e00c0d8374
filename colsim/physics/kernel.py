"""The time step of the compiled engine, as machine code: move, find contacts, prepare, solve, correct.

Everything lies in arrays, since that is what is compiled. A body is a row: a core of one corner (a disc), two (a
stadium) or four (a box), rounded by a radius. A piece of the scene is a row too. The row after the last body stands for
all that does not move, the one after that for the drum, so that no contact is a special case.

Contacts are solved one after the other, from the top containers down, several times over, each time the normal impulse
first and then friction within its limit (projected Gauss-Seidel, warm start, over-relaxed). Overlaps are let out by
velocities of their own, which are forgotten after the step, so that nothing is thrown back by them.
"""

from __future__ import annotations

import inspect
import math
import zlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
import numpy.typing as npt
from numba.extending import register_jitable

from colsim.physics import giving_way, section_under_load, watching
from colsim.physics.giving_way import GivingWay, Pace, beside, follow_loads, give_way, slice_over, towards
from colsim.physics.section_under_load import held_between, load_of, squeeze_under_loads
from colsim.physics.watching import (
    AGAIN,
    ONE_LEFT,
    OVER,
    Watch,
    after_look,
    any_left,
    has_left,
    has_settled,
    judge_rest,
    next_look,
    note_extremes,
)
from colsim.theory import squeeze
from colsim.theory.squeeze import corner_between

__all__ = [
    "MOST_CONTACTS",
    "MOST_OF_ONE",
    "World",
    "advance",
    "advance_giving_way",
    "advance_loaded",
    "drive",
    "greatest",
    "grip",
    "is_compiled",
    "look_on",
    "shape",
    "virials",
]

Function = TypeVar("Function", bound=Callable[..., object])
Array = npt.NDArray[np.float64]
Whole = npt.NDArray[np.int64]
Rows = npt.NDArray[np.uint64]

MOST_OF_ONE = 16  # contacts that a body may own
MOST_CONTACTS = 1024
OVER_RELAXATION = 1.3
RELEASED = 0.1  # share of an overlap that is let out in a step
PASSES = 2  # over the overlaps
LEFT_ALONE = 1e-3  # [mm] that an overlap may be too deep
SOLVED = 1e-2  # [mm/s] by which no velocity changes any more in a round
MAD = 1e7  # [mm/s] which nothing in a column reaches
STILL = 1e-9  # [mm/s] below which nothing moves: what only ever halves ends in numbers that processors are slow with

# Columns of a body.
X, Y, ANGLE, VX, VY, SPIN, INVERSE_MASS, INVERSE_MOMENT = 0, 1, 2, 3, 4, 5, 6, 7
OUT_X, OUT_Y, OUT_SPIN = 8, 9, 10  # velocities that let overlaps out
RADIUS, REACH, RESTITUTION, HALF_FLAT, HALF_SIDE, FLAT_ANGLE = 11, 12, 13, 14, 15, 16
GRIP, GRIP_X, GRIP_Y, SURFACE, NUMBER, CORNERS = 17, 18, 19, 20, 21, 22
BODY_COLUMNS = 23

# Columns of a piece: a line, an arc seen from outside or inside, or a corner that stands out between two pieces.
KIND, X0, Y0, X1, Y1, ROUND = 0, 1, 2, 3, 4, 5  # of a line its length, of an arc its radius
MIDDLE_X, MIDDLE_Y, LEAST_COSINE = 6, 7, 8  # of an arc or corner: the way to its middle, and how far off it reaches
LEFT, RIGHT, BOTTOM, TOP = 9, 10, 11, 12
PIECE_COLUMNS = 13
LINE, OUTSIDE, INSIDE, CORNER = 0.0, 1.0, 2.0, 3.0

# Columns of a contact: impulses are on its first body.
NX, NY, AX, AY, BX, BY, DISTANCE, FRICTION = 0, 1, 2, 3, 4, 5, 6, 7
NORMAL_MASS, TANGENT_MASS, BOUNCE, OUT = 8, 9, 10, 11
PUSH, DRAG, LET_OUT = 12, 13, 14
NORMAL_A, NORMAL_B, ALONG_A, ALONG_B = 15, 16, 17, 18  # lever arms of normal and friction about both centres
COUPLING, BARE_NORMAL, BARE_TANGENT = 19, 20, 21  # sliding that a normal impulse makes; masses not over-relaxed
CONTACT_COLUMNS = 22
FIRST, SECOND = 0, 1
TORN = -1  # what became of some looks, beside those of `watching`
PIECE, FEATURE = 0, 1

# Columns of a hit, where a body touches something; its normal as of a contact.
OFF, AT_X, AT_Y, WHICH = 2, 3, 4, 5
HIT_COLUMNS = 6

# The drum and its motor, and counts.
DRUM_REACH, RATE, TORQUE, MOTOR, MOMENT = 0, 1, 2, 3, 4


def compiled(function: Function) -> Function:
    """Compile a function to machine code, and keep it for the next time."""
    return _compiled(function, nogil=False)


def unlocked(function: Function) -> Function:
    """Compile likewise, to run without the interpreter's lock, which what is short is not worth handing over for."""
    return _compiled(function, nogil=True)


def stamp_of(*modules: ModuleType) -> int:
    """Give a number above 0 that differs as soon as the text of any of these modules does."""
    return 1 + zlib.crc32("".join(inspect.getsource(module) for module in modules).encode())


# What is called from here compiles with what calls it.
_SECTIONS = (corner_between, held_between, load_of, squeeze_under_loads)
_SOFT = (beside, follow_loads, give_way, slice_over, towards)
_WATCHING = (next_look, after_look, note_extremes, any_left, has_left, judge_rest, has_settled)
for function in (*_SECTIONS, *_SOFT, *_WATCHING):
    register_jitable(error_model="numpy")(function)


def _compiled(function: Function, *, nogil: bool) -> Function:
    try:
        return cast(Function, numba.njit(cache=True, nogil=nogil, error_model="numpy")(function))
    except RuntimeError:  # there is no folder that it could be kept in
        return cast(Function, numba.njit(nogil=nogil, error_model="numpy")(function))


def inlined(function: Function) -> Function:
    """Compile a small function into those that call it."""
    return cast(Function, numba.njit(error_model="numpy", forceinline=True)(function))


class World(NamedTuple):
    """All that a step reads and writes.

    Attributes
    ----------
    bodies : ndarray, shape (n + 2, BODY_COLUMNS)
        Containers, then what does not move, then the drum.
    corners : ndarray, shape (n + 2, 4, 2)
        Corners of each core, as it lies now [mm].
    order : ndarray, shape (n + 2,)
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
        By body: impulses of the last step with the key of each.
    drum : ndarray, shape (5,)
        Reach of the drum [mm], rate that it is told [rad/s], torque limit [mN mm], impulse of the motor, moment of
        inertia [kg mm2], which is 0 where there is no drum.
    counts : ndarray, shape (4,)
        Containers, pieces that stand still, all pieces, contacts.
    """

    bodies: Array
    corners: Array
    order: Whole
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


class How(NamedTuple):
    """Settings of the engine that a step needs: step [s], rounds, overlap left alone [mm], gravity [mm/s2]."""

    step: float
    rounds: int
    slop: float
    gravity_x: float
    gravity_y: float


@unlocked
def advance(world: World, steps: int, how: How) -> int:
    """Let time pass; give the step at which it came apart, by mad speeds or contacts without number, or -1."""
    dt = how.step
    for step in range(steps):
        if not _move(world, dt):
            return step
        count = _find_contacts(world)
        if count < 0:
            return step
        world.counts[3] = count
        too_deep = _prepare(world, count, dt, how.slop)
        _put_in_sequence(world.sequence, count)
        _accelerate(world, dt, how.gravity_x, how.gravity_y)
        _warm_start(world, count)
        # A grip would take up for good what is done too much.
        gripped = _any_grip(world)
        normal_mass, tangent_mass = (BARE_NORMAL, BARE_TANGENT) if gripped else (NORMAL_MASS, TANGENT_MASS)
        for _ in range(how.rounds):
            _solve_drum(world, dt)
            change = _solve_contacts(world, count, normal_mass, tangent_mass)
            _solve_grips(world, dt)
            if change < SOLVED:
                break
        # The last takes no more than is wanted, so that one contact alone is exact.
        _solve_contacts(world, count, BARE_NORMAL, BARE_TANGENT)
        for _ in range(PASSES if too_deep else 0):
            _let_out(world, count)
        _keep(world, count)
    return -1


@unlocked
def advance_loaded(world: World, steps: int, how: How, found: Array) -> int:
    """Let time pass as `advance` does, and give the mean virial on each container over the steps [mN mm]."""
    _scale(found, 0.0)
    for step in range(steps):
        if advance(world, min(steps, 1), how) >= 0:
            return step
        virials(world, found)
    _scale(found, 1.0 / (steps * how.step))
    return -1


def _advance_giving_way(stamp: int) -> Callable[..., int]:
    """Make what follows; it holds a stamp of the code from elsewhere, as numba looks only at this file for changes."""

    @unlocked
    def advance_giving_way(world: World, steps: int, how: How, soft: GivingWay, pace: Pace) -> int:
        """Let time pass as `advance` does, and have soft sections follow what presses on them after every slice."""
        if len(soft.sections) == 0 and stamp:
            return advance(world, steps, how)
        bodies, found = world.bodies, np.zeros((world.counts[0], 2, 2))
        for begun in range(0, steps, pace.steps):
            slice_steps = min(pace.steps, steps - begun)
            stopped = advance_loaded(world, slice_steps, how, found)
            if stopped >= 0:
                return begun + stopped
            if slice_over(soft, found, bodies[:, ANGLE], bodies[:, Y], pace):
                for row in soft.sections:
                    if row["seen"]:
                        height = row["diameter"] - row["shown_squeeze"]
                        shape(world, row["place"], height, row["shown_flat"], row["shown_side"], row["shown_angle"])
                    if row["gripped_anew"]:
                        grip(world, row["place"], row["grip"])
        return -1

    return advance_giving_way


def _look_on(stamp: int) -> Callable[..., int]:
    """Make what follows, for the same reason."""

    @unlocked
    def look_on(world: World, how: How, watch: Watch, soft: GivingWay, pace: Pace, looks: int) -> int:
        """Let time pass until what is watched for has come or a container has left; TORN if it came apart."""
        bodies, row, count, drum = world.bodies, watch.row[0], world.counts[0], len(world.bodies) - 1
        places, reaches = bodies[:count, X : Y + 1], bodies[:count, REACH]
        velocities, spins = bodies[:count, VX : VY + 1], bodies[:count, SPIN]
        for _ in range(looks if stamp else 0):
            steps = next_look(watch, bodies[drum, ANGLE])
            if steps == 0:
                return OVER
            if row["turning"]:
                drive(world, row["rate"])
            if advance_giving_way(world, steps, how, soft, pace) >= 0:
                return TORN
            if after_look(watch):
                impulse, overlap = greatest(world)
                note_extremes(watch, impulse / how.step, overlap, places, reaches)
            if any_left(watch, places, reaches):
                return ONE_LEFT
            judge_rest(watch, velocities, spins, has_settled(soft))
        return AGAIN

    return look_on


def is_compiled() -> bool:
    """Tell whether machine code is there, of this process or kept by an earlier one of the same code and machine."""
    dispatcher = cast(Any, look_on)
    if dispatcher.signatures:
        return True
    kept = dispatcher.stats.cache_path
    return kept is not None and any(Path(kept).glob("kernel.*look_on-*.nbc"))


# Moving


@compiled
def _move(world: World, dt: float) -> bool:
    """Move everything by its velocity, and put the containers in order from the top down; tell whether it can be."""
    bodies, order, count = world.bodies, world.order, world.counts[0]
    for i in range(len(bodies)):
        bodies[i, X] += (bodies[i, VX] + bodies[i, OUT_X]) * dt
        bodies[i, Y] += (bodies[i, VY] + bodies[i, OUT_Y]) * dt
        bodies[i, ANGLE] += (bodies[i, SPIN] + bodies[i, OUT_SPIN]) * dt
        bodies[i, OUT_X] = bodies[i, OUT_Y] = bodies[i, OUT_SPIN] = 0.0
        speed = abs(bodies[i, VX]) + abs(bodies[i, VY]) + abs(bodies[i, SPIN])
        if not speed < MAD:  # a number that is none is not less either
            return False
        if speed < STILL:
            bodies[i, VX] = bodies[i, VY] = bodies[i, SPIN] = 0.0
    for i in range(count):
        _place_corners(bodies, world.corners, i)
    for place in range(1, count):  # they hardly ever change places
        i, k = order[place], place - 1
        while k >= 0 and bodies[order[k], Y] < bodies[i, Y]:
            order[k + 1] = order[k]
            k -= 1
        order[k + 1] = i
    return True


@compiled
def _place_corners(bodies: Array, corners: Array, i: int) -> None:
    x, y = bodies[i, X], bodies[i, Y]
    if bodies[i, CORNERS] == 1.0:
        corners[i, 0, 0], corners[i, 0, 1] = x, y
        return
    turned = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    c, s = math.cos(turned), math.sin(turned)
    fx, fy = c * bodies[i, HALF_FLAT], s * bodies[i, HALF_FLAT]
    sx, sy = -s * bodies[i, HALF_SIDE], c * bodies[i, HALF_SIDE]
    corners[i, 0, 0], corners[i, 0, 1] = x - fx - sx, y - fy - sy
    corners[i, 1, 0], corners[i, 1, 1] = x + fx - sx, y + fy - sy
    if bodies[i, CORNERS] == 4.0:
        corners[i, 2, 0], corners[i, 2, 1] = x + fx + sx, y + fy + sy
        corners[i, 3, 0], corners[i, 3, 1] = x - fx + sx, y - fy + sy


@compiled
def _accelerate(world: World, dt: float, gravity_x: float, gravity_y: float) -> None:
    for i in range(world.counts[0]):
        world.bodies[i, VX] += gravity_x * dt
        world.bodies[i, VY] += gravity_y * dt


# Finding contacts


@compiled
def _find_contacts(world: World) -> int:
    """List what touches, from the top container down; -1 if it is more than there is room for."""
    bodies, corners, order, pieces, hits = world.bodies, world.corners, world.order, world.pieces, world.hits
    contacts, pairs, where = world.contacts, world.pairs, world.where
    count, still, all_pieces, drum = world.counts[0], world.counts[1], world.counts[2], len(bodies) - 1
    farthest = 0.0
    for i in range(count):
        farthest = max(farthest, bodies[i, REACH])
    found = 0
    for place in range(count):
        i = order[place]
        x, y, reach, surface = bodies[i, X], bodies[i, Y], bodies[i, REACH], int(bodies[i, SURFACE])
        radius, several = bodies[i, RADIUS], int(bodies[i, CORNERS])
        if found > MOST_CONTACTS - 4 * MOST_OF_ONE:
            return -1
        for k in range(still):
            if pieces[k, TOP] <= y - reach:
                break  # they are in order, from the top down
            if pieces[k, BOTTOM] < y + reach and pieces[k, LEFT] < x + reach and pieces[k, RIGHT] > x - reach:
                for hit in range(_touch_piece(corners, i, several, radius, pieces, k, hits)):
                    where[found, PIECE], contacts[found, FRICTION] = k, world.piece_friction[k, surface]
                    found = _note(bodies, contacts, pairs, where, hits, hit, found, i, count)
        for below in range(place + 1, count):
            j = order[below]
            if y - bodies[j, Y] > reach + farthest:
                break
            apart = reach + bodies[j, REACH]
            if (x - bodies[j, X]) ** 2 + (y - bodies[j, Y]) ** 2 < apart * apart:
                first, second = (i, j) if bodies[i, NUMBER] < bodies[j, NUMBER] else (j, i)
                for hit in range(_touch_body(bodies, corners, hits, first, second)):
                    where[found, PIECE] = -1
                    contacts[found, FRICTION] = world.between[surface, int(bodies[j, SURFACE])]
                    found = _note(bodies, contacts, pairs, where, hits, hit, found, first, second)
        if x * x + y * y < (world.drum[DRUM_REACH] + reach) ** 2:
            # In the frame of the drum, in the row of corners that is the drum's, and back again.
            cosine, sine = math.cos(bodies[drum, ANGLE]), math.sin(bodies[drum, ANGLE])
            for v in range(several):
                corners[drum, v, 0], corners[drum, v, 1] = _turned(corners[i, v, 0], corners[i, v, 1], cosine, -sine)
            for k in range(still, all_pieces):
                for hit in range(_touch_piece(corners, drum, several, radius, pieces, k, hits)):
                    hits[hit, NX], hits[hit, NY] = _turned(hits[hit, NX], hits[hit, NY], cosine, sine)
                    hits[hit, AT_X], hits[hit, AT_Y] = _turned(hits[hit, AT_X], hits[hit, AT_Y], cosine, sine)
                    where[found, PIECE], contacts[found, FRICTION] = k, world.piece_friction[k, surface]
                    found = _note(bodies, contacts, pairs, where, hits, hit, found, i, drum)
    return found


@inlined
def _turned(x: float, y: float, cosine: float, sine: float) -> tuple[float, float]:
    return cosine * x - sine * y, sine * x + cosine * y


@inlined
def _note(
    bodies: Array, contacts: Array, pairs: Rows, where: Whole, hits: Array, hit: int, found: int, i: int, j: int
) -> int:
    """Note that body i touches j, as a hit says; its piece and friction stand there already."""
    nx, ny, distance = hits[hit, NX], hits[hit, NY], hits[hit, OFF]
    x, y = hits[hit, AT_X] - nx * bodies[i, RADIUS], hits[hit, AT_Y] - ny * bodies[i, RADIUS]  # on the outline of i
    contacts[found, NX], contacts[found, NY], contacts[found, DISTANCE] = nx, ny, distance
    contacts[found, AX], contacts[found, AY] = x - bodies[i, X], y - bodies[i, Y]
    contacts[found, BX], contacts[found, BY] = x - nx * distance - bodies[j, X], y - ny * distance - bodies[j, Y]
    pairs[found, FIRST], pairs[found, SECOND] = i, j
    where[found, FEATURE] = int(hits[hit, WHICH])
    return found + 1


@inlined
def _hit(hits: Array, count: int, nx: float, ny: float, off: float, at_x: float, at_y: float, which: int) -> int:
    """Write a hit: normal into the first body, distance, the point of its core that it is seen from, and which."""
    hits[count, NX], hits[count, NY], hits[count, OFF] = nx, ny, off
    hits[count, AT_X], hits[count, AT_Y], hits[count, WHICH] = at_x, at_y, which
    return count + 1


@inlined
def _touch_piece(corners: Array, row: int, several: int, radius: float, pieces: Array, k: int, hits: Array) -> int:
    """Write where a body touches a piece, its corners in the frame of the piece; give how often."""
    count, kind = 0, pieces[k, KIND]
    if kind == LINE or kind == INSIDE:
        for v in range(several):
            x, y = corners[row, v, 0], corners[row, v, 1]
            touches, nx, ny, gap = _from_line(pieces, k, x, y) if kind == LINE else _from_arc(pieces, k, x, y)
            if touches and 0.0 < gap < radius:
                count = _hit(hits, count, nx, ny, gap - radius, x, y, v)
        return count
    # One point of the piece, its centre or corner, and what of the core is nearest to it.
    x, y = _nearest_of_core(corners, row, several, pieces[k, X0], pieces[k, Y0])
    touches, nx, ny, gap = _from_arc(pieces, k, x, y)
    if touches and 0.0 < gap < radius:
        count = _hit(hits, count, nx, ny, gap - radius, x, y, 0)
    return count


@inlined
def _from_line(pieces: Array, k: int, qx: float, qy: float) -> tuple[bool, float, float, float]:
    """Tell whether a point lies beside a line, the normal out of it, and how far off it is."""
    length = pieces[k, ROUND]
    tx, ty = (pieces[k, X1] - pieces[k, X0]) / length, (pieces[k, Y1] - pieces[k, Y0]) / length
    dx, dy = qx - pieces[k, X0], qy - pieces[k, Y0]
    return 0.0 <= dx * tx + dy * ty < length, -ty, tx, dy * tx - dx * ty


@inlined
def _from_arc(pieces: Array, k: int, qx: float, qy: float) -> tuple[bool, float, float, float]:
    """Tell whether a point lies in the angle of an arc or corner, the normal out of it, and how far off it is."""
    dx, dy = qx - pieces[k, X0], qy - pieces[k, Y0]
    length = math.sqrt(dx * dx + dy * dy)
    if length == 0.0:
        return False, 0.0, 1.0, 0.0
    dx, dy = dx / length, dy / length
    within = dx * pieces[k, MIDDLE_X] + dy * pieces[k, MIDDLE_Y] >= pieces[k, LEAST_COSINE]
    if pieces[k, KIND] == INSIDE:
        return within, -dx, -dy, pieces[k, ROUND] - length
    return within, dx, dy, length - pieces[k, ROUND]


@compiled
def _nearest_of_core(corners: Array, row: int, several: int, x: float, y: float) -> tuple[float, float]:
    """Give the point of a core's outline that lies nearest to a point outside it."""
    best_x, best_y = corners[row, 0, 0], corners[row, 0, 1]
    best = (best_x - x) ** 2 + (best_y - y) ** 2
    for v in range(several if several > 2 else several - 1):
        _, nx, ny = _nearest_of_edge(corners, row, v, (v + 1) % several, x, y)
        off = (nx - x) ** 2 + (ny - y) ** 2
        if off < best:
            best, best_x, best_y = off, nx, ny
    return best_x, best_y


@inlined
def _nearest_of_edge(corners: Array, i: int, v: int, w: int, x: float, y: float) -> tuple[float, float, float]:
    """Give where on an edge, from 0 to 1, and the point that lies nearest to a point."""
    x0, y0 = corners[i, v, 0], corners[i, v, 1]
    dx, dy = corners[i, w, 0] - x0, corners[i, w, 1] - y0
    share = ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy)
    share = min(max(share, 0.0), 1.0)
    return share, x0 + share * dx, y0 + share * dy


@compiled
def _touch_body(bodies: Array, corners: Array, hits: Array, i: int, j: int) -> int:
    """Write where two bodies touch: corners of one beside edges of the other, or else the nearest two corners."""
    both, count = bodies[i, RADIUS] + bodies[j, RADIUS], 0
    nearest, nearest_i, nearest_j = math.inf, 0, 0  # of the corners
    for v in range(int(bodies[i, CORNERS])):
        for w in range(int(bodies[j, CORNERS])):
            off = (corners[i, v, 0] - corners[j, w, 0]) ** 2 + (corners[i, v, 1] - corners[j, w, 1]) ** 2
            if off < nearest:
                nearest, nearest_i, nearest_j = off, v, w
    beside_edge = math.inf
    if bodies[i, CORNERS] > 1.0 or bodies[j, CORNERS] > 1.0:
        count, beside_edge = _corners_beside_edges(bodies, corners, hits, count, i, j, both, 1.0)
        count, other_way = _corners_beside_edges(bodies, corners, hits, count, j, i, both, -1.0)
        beside_edge = min(beside_edge, other_way)
    if nearest < beside_edge and 0.0 < nearest < both * both:
        gap = math.sqrt(nearest)
        x, y = corners[i, nearest_i, 0], corners[i, nearest_i, 1]
        nx, ny = (x - corners[j, nearest_j, 0]) / gap, (y - corners[j, nearest_j, 1]) / gap
        count = _hit(hits, count, nx, ny, gap - both, x, y, 4 * nearest_i + nearest_j)
    return count


@compiled
def _corners_beside_edges(
    bodies: Array, corners: Array, hits: Array, count: int, mine: int, yours: int, both: float, way: float
) -> tuple[int, float]:
    """Write where corners of one body lie beside edges of another; give the least distance squared too.

    The way is 1 if the corners are the first body's, and -1 if the edges are.
    """
    least, several = math.inf, int(bodies[yours, CORNERS])
    for v in range(int(bodies[mine, CORNERS])):
        x, y = corners[mine, v, 0], corners[mine, v, 1]
        for w in range(several if several > 2 else several - 1):
            share, ex, ey = _nearest_of_edge(corners, yours, w, (w + 1) % several, x, y)
            gap = math.sqrt((x - ex) ** 2 + (y - ey) ** 2)
            if 0.0 < share < 1.0 and gap > 0.0:
                least = min(least, gap * gap)
                if gap < both and way > 0.0:
                    count = _hit(hits, count, (x - ex) / gap, (y - ey) / gap, gap - both, x, y, 16 + 4 * v + w)
                elif gap < both:
                    count = _hit(hits, count, (ex - x) / gap, (ey - y) / gap, gap - both, ex, ey, 32 + 4 * v + w)
    return count, least


# Solving


@compiled
def _prepare(world: World, count: int, dt: float, slop: float) -> bool:
    """Work out what each contact needs, and find what it bore before; tell whether any overlap is too deep."""
    too_deep = False
    bodies, contacts, pairs, where = world.bodies, world.contacts, world.pairs, world.where
    kept, kept_key, kept_count = world.kept, world.kept_key, world.kept_count
    for k in range(count):
        i, j = pairs[k, FIRST], pairs[k, SECOND]
        nx, ny = contacts[k, NX], contacts[k, NY]
        ax, ay, bx, by = contacts[k, AX], contacts[k, AY], contacts[k, BX], contacts[k, BY]
        normal_a, normal_b, along_a, along_b = (
            ax * ny - ay * nx,
            bx * ny - by * nx,
            ax * nx + ay * ny,
            bx * nx + by * ny,
        )
        contacts[k, NORMAL_A], contacts[k, NORMAL_B] = normal_a, normal_b
        contacts[k, ALONG_A], contacts[k, ALONG_B] = along_a, along_b
        mass = bodies[i, INVERSE_MASS] + bodies[j, INVERSE_MASS]
        turn_a, turn_b = bodies[i, INVERSE_MOMENT], bodies[j, INVERSE_MOMENT]
        contacts[k, BARE_NORMAL] = 1.0 / (mass + turn_a * normal_a**2 + turn_b * normal_b**2)
        contacts[k, NORMAL_MASS] = OVER_RELAXATION * contacts[k, BARE_NORMAL]
        contacts[k, BARE_TANGENT] = 1.0 / (mass + turn_a * along_a**2 + turn_b * along_b**2)
        contacts[k, TANGENT_MASS] = OVER_RELAXATION * contacts[k, BARE_TANGENT]
        contacts[k, COUPLING] = turn_a * along_a * normal_a + turn_b * along_b * normal_b
        out = (bodies[i, VX] - bodies[j, VX]) * nx + (bodies[i, VY] - bodies[j, VY]) * ny
        out += normal_a * bodies[i, SPIN] - normal_b * bodies[j, SPIN]
        contacts[k, BOUNCE] = bodies[i, RESTITUTION] * bodies[j, RESTITUTION] * min(0.0, out)
        deeper = -contacts[k, DISTANCE] - slop
        too_deep |= deeper > LEFT_ALONE
        contacts[k, OUT] = RELEASED * max(0.0, deeper) / dt
        contacts[k, LET_OUT] = contacts[k, PUSH] = contacts[k, DRAG] = 0.0
        key = _key(where[k, PIECE], where[k, FEATURE], bodies[j, NUMBER])
        for place in range(kept_count[i]):
            if kept_key[i, place] == key:
                contacts[k, PUSH], contacts[k, DRAG] = kept[i, place, 0], kept[i, place, 1]
                break
    return too_deep


@compiled
def _put_in_sequence(sequence: Rows, count: int) -> None:
    """Give the order in which contacts are solved: from the top down and from the middle down, in turns.

    One that waits for the last can be worked on beside one that does not, which takes two thirds of the time.
    """
    half = (count + 1) // 2
    for k in range(count // 2):
        sequence[2 * k], sequence[2 * k + 1] = k, half + k
    if count % 2:
        sequence[count - 1] = half - 1


@inlined
def _key(piece: int, feature: int, number: float) -> int:
    """Give a number that tells a contact from the others of its first body, and stays the same from step to step."""
    return 64 * piece + feature if piece >= 0 else feature - 64 * (int(number) + 1)


@compiled
def _warm_start(world: World, count: int) -> None:
    """Give every contact, grip and the motor what they bore in the last step."""
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(count):
        i, j, push, drag = pairs[k, FIRST], pairs[k, SECOND], contacts[k, PUSH], contacts[k, DRAG]
        px, py = contacts[k, NX] * push - contacts[k, NY] * drag, contacts[k, NY] * push + contacts[k, NX] * drag
        bodies[i, VX] += bodies[i, INVERSE_MASS] * px
        bodies[i, VY] += bodies[i, INVERSE_MASS] * py
        bodies[i, SPIN] += bodies[i, INVERSE_MOMENT] * (contacts[k, NORMAL_A] * push + contacts[k, ALONG_A] * drag)
        bodies[j, VX] -= bodies[j, INVERSE_MASS] * px
        bodies[j, VY] -= bodies[j, INVERSE_MASS] * py
        bodies[j, SPIN] -= bodies[j, INVERSE_MOMENT] * (contacts[k, NORMAL_B] * push + contacts[k, ALONG_B] * drag)
    for i in range(world.counts[0]):
        bodies[i, VX] += bodies[i, INVERSE_MASS] * bodies[i, GRIP_X]
        bodies[i, VY] += bodies[i, INVERSE_MASS] * bodies[i, GRIP_Y]
    drum = len(bodies) - 1
    bodies[drum, SPIN] += bodies[drum, INVERSE_MOMENT] * world.drum[MOTOR]


@compiled
def _solve_contacts(world: World, count: int, normal_mass: int, tangent_mass: int) -> float:
    """Go once through all contacts from the top down: the normal, then friction within its limit.

    The columns of the masses say whether more than is wanted is done at once. Gives the greatest change of a velocity.
    """
    greatest_change = 0.0
    bodies, contacts, pairs, sequence = world.bodies, world.contacts, world.pairs, world.sequence
    for place in range(count):
        k = sequence[place]
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        normal_a, normal_b = contacts[k, NORMAL_A], contacts[k, NORMAL_B]
        along_a, along_b = contacts[k, ALONG_A], contacts[k, ALONG_B]
        vx, vy = bodies[a, VX] - bodies[b, VX], bodies[a, VY] - bodies[b, VY]
        spin_a, spin_b = bodies[a, SPIN], bodies[b, SPIN]
        leaving = vx * nx + vy * ny + (normal_a * spin_a - normal_b * spin_b)
        sliding = vy * nx - vx * ny + (along_a * spin_a - along_b * spin_b)

        # The normal: what it takes to stop the approach, or to bounce, but no pull.
        before = contacts[k, PUSH]
        push = max(0.0, before - contacts[k, normal_mass] * (leaving + contacts[k, BOUNCE]))
        contacts[k, PUSH] = push
        more = push - before

        # Friction: what it takes to stop the sliding that is left, but no more than the coefficient times the normal.
        sliding += contacts[k, COUPLING] * more
        before, most = contacts[k, DRAG], contacts[k, FRICTION] * push
        drag = min(max(before - contacts[k, tangent_mass] * sliding, -most), most)
        contacts[k, DRAG] = drag
        across = drag - before

        greatest_change = max(greatest_change, (abs(more) + abs(across)) * bodies[a, INVERSE_MASS])
        px, py = nx * more - ny * across, ny * more + nx * across
        bodies[a, VX] += bodies[a, INVERSE_MASS] * px
        bodies[a, VY] += bodies[a, INVERSE_MASS] * py
        bodies[a, SPIN] += bodies[a, INVERSE_MOMENT] * (normal_a * more + along_a * across)
        bodies[b, VX] -= bodies[b, INVERSE_MASS] * px
        bodies[b, VY] -= bodies[b, INVERSE_MASS] * py
        bodies[b, SPIN] -= bodies[b, INVERSE_MOMENT] * (normal_b * more + along_b * across)
    return greatest_change


@compiled
def _solve_drum(world: World, dt: float) -> None:
    """Have the motor turn the drum at its rate, as far as its torque goes."""
    bodies, drum = world.bodies, len(world.bodies) - 1
    turn = bodies[drum, INVERSE_MOMENT]
    if turn > 0.0:
        before, most = world.drum[MOTOR], world.drum[TORQUE] * dt
        world.drum[MOTOR] = min(max(before + (world.drum[RATE] - bodies[drum, SPIN]) / turn, -most), most)
        bodies[drum, SPIN] += turn * (world.drum[MOTOR] - before)


@compiled
def _solve_grips(world: World, dt: float) -> None:
    """Have walls hold back what they press on from both sides, whichever way it moves, by at most the grip."""
    bodies = world.bodies
    for i in range(world.counts[0]):
        most = bodies[i, GRIP] * dt
        if most <= 0.0:
            continue
        before_x, before_y, light = bodies[i, GRIP_X], bodies[i, GRIP_Y], bodies[i, INVERSE_MASS]
        px, py = before_x - bodies[i, VX] / light, before_y - bodies[i, VY] / light
        size = math.sqrt(px * px + py * py)
        if size > most:
            px, py = px * most / size, py * most / size
        bodies[i, VX] += light * (px - before_x)
        bodies[i, VY] += light * (py - before_y)
        bodies[i, GRIP_X], bodies[i, GRIP_Y] = px, py


@compiled
def _any_grip(world: World) -> bool:
    found = False
    for i in range(world.counts[0]):
        found |= world.bodies[i, GRIP] > 0.0
    return found


@compiled
def _let_out(world: World, count: int) -> None:
    """Go once through all overlaps that are too deep, with velocities of their own."""
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(count):
        i, j, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        arm_a, arm_b, before = contacts[k, NORMAL_A], contacts[k, NORMAL_B], contacts[k, LET_OUT]
        leaving = (bodies[i, OUT_X] - bodies[j, OUT_X]) * nx + (bodies[i, OUT_Y] - bodies[j, OUT_Y]) * ny
        leaving += arm_a * bodies[i, OUT_SPIN] - arm_b * bodies[j, OUT_SPIN]
        push = max(0.0, before + contacts[k, BARE_NORMAL] * (contacts[k, OUT] - leaving))
        more = push - before
        if more == 0.0:
            continue
        contacts[k, LET_OUT] = push
        bodies[i, OUT_X] += bodies[i, INVERSE_MASS] * nx * more
        bodies[i, OUT_Y] += bodies[i, INVERSE_MASS] * ny * more
        bodies[i, OUT_SPIN] += bodies[i, INVERSE_MOMENT] * arm_a * more
        bodies[j, OUT_X] -= bodies[j, INVERSE_MASS] * nx * more
        bodies[j, OUT_Y] -= bodies[j, INVERSE_MASS] * ny * more
        bodies[j, OUT_SPIN] -= bodies[j, INVERSE_MOMENT] * arm_b * more


@compiled
def _keep(world: World, count: int) -> None:
    """Keep the impulses for the next step."""
    bodies, contacts, pairs, where = world.bodies, world.contacts, world.pairs, world.where
    kept, kept_key, kept_count = world.kept, world.kept_key, world.kept_count
    kept_count[:] = 0
    for k in range(count):
        i = pairs[k, FIRST]
        place = kept_count[i]
        if place < MOST_OF_ONE:
            kept_key[i, place] = _key(where[k, PIECE], where[k, FEATURE], bodies[pairs[k, SECOND], NUMBER])
            kept[i, place, 0], kept[i, place, 1] = contacts[k, PUSH], contacts[k, DRAG]
            kept_count[i] = place + 1


# Changing and reading


@compiled
def shape(world: World, i: int, height: float, flat: float, side: float, flat_angle: float) -> None:
    """Give a body its section."""
    bodies, radius = world.bodies, (height - side) / 2
    bodies[i, RADIUS], bodies[i, REACH] = radius, math.sqrt(flat * flat + side * side) / 2 + radius
    bodies[i, HALF_FLAT], bodies[i, HALF_SIDE], bodies[i, FLAT_ANGLE] = flat / 2, side / 2, flat_angle
    bodies[i, CORNERS] = 4.0 if side > 0.0 else 2.0 if flat > 0.0 else 1.0


@compiled
def drive(world: World, rate: float) -> None:
    """Have the motor turn the drum at a rate [rad/s]."""
    if world.drum[MOMENT] > 0.0:
        world.bodies[len(world.bodies) - 1, INVERSE_MOMENT] = 1.0 / world.drum[MOMENT]
        world.drum[RATE] = rate


@compiled
def grip(world: World, i: int, limit: float) -> None:
    """Have walls hold a body back by at most a force; 0 lets go."""
    world.bodies[i, GRIP] = limit
    if limit <= 0.0:
        world.bodies[i, GRIP_X] = world.bodies[i, GRIP_Y] = 0.0


@compiled
def greatest(world: World) -> tuple[float, float]:
    """Give the greatest impulse of a contact and the greatest overlap of what presses, of the last step."""
    contacts, impulse, overlap = world.contacts, 0.0, 0.0
    for k in range(world.counts[3]):
        size = math.sqrt(contacts[k, PUSH] ** 2 + contacts[k, DRAG] ** 2)
        if size > 0.0:
            impulse, overlap = max(impulse, size), max(overlap, -contacts[k, DISTANCE])
    return impulse, overlap


@compiled
def virials(world: World, found: Array) -> None:
    """Add up the virial of the impulses of the last step on each container, into an array of shape (n, 2, 2)."""
    contacts = world.contacts
    for k in range(world.counts[3]):
        px = contacts[k, NX] * contacts[k, PUSH] - contacts[k, NY] * contacts[k, DRAG]
        py = contacts[k, NY] * contacts[k, PUSH] + contacts[k, NX] * contacts[k, DRAG]
        _add_virial(found, world.pairs[k, FIRST], px, py, contacts[k, AX], contacts[k, AY])
        if world.pairs[k, SECOND] < world.counts[0]:
            _add_virial(found, world.pairs[k, SECOND], -px, -py, contacts[k, BX], contacts[k, BY])


@compiled
def _scale(found: Array, factor: float) -> None:
    for k in range(len(found)):
        for i in range(2):
            for j in range(2):
                found[k, i, j] *= factor


@compiled
def _add_virial(found: Array, i: int, px: float, py: float, x: float, y: float) -> None:
    found[i, 0, 0] -= px * x
    found[i, 1, 1] -= py * y
    found[i, 0, 1] -= (px * y + py * x) / 2
    found[i, 1, 0] -= (px * y + py * x) / 2


_STAMP = stamp_of(giving_way, section_under_load, watching, squeeze)
advance_giving_way, look_on = _advance_giving_way(_STAMP), _look_on(_STAMP)
