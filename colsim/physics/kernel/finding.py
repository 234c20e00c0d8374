"""Finding what touches: overlaps in closed form, arcs as arcs."""

from __future__ import annotations

import math

from colsim.physics.kernel.compiling import compiled, inlined
from colsim.physics.kernel.world import (
    ALL_PIECES,
    ALONG_X,
    ALONG_Y,
    ANGLE,
    AT_X,
    AT_Y,
    AX,
    AY,
    BOTTOM,
    BULGE,
    BX,
    BY,
    CONTACTS,
    CONTAINERS,
    CORNERS,
    DRUM_REACH,
    FEATURE,
    FIRST,
    FRICTION,
    GROUP,
    INSIDE,
    KIND,
    LEAST_COSINE,
    LEFT,
    LINE,
    MIDDLE_X,
    MIDDLE_Y,
    MOST_CONTACTS,
    MOST_OF_ONE,
    NUMBER,
    NX,
    NY,
    OFF,
    OVERLAP,
    PIECE,
    RADIUS,
    REACH,
    RIGHT,
    ROUND,
    SECOND,
    SIDE_WALL,
    STILL_PIECES,
    SURFACE,
    TOP,
    WHICH,
    X0,
    Y0,
    Array,
    Rows,
    Whole,
    World,
    X,
    Y,
)

__all__ = ["find_contacts"]


@compiled
def find_contacts(world: World) -> bool:
    """List what touches, from the top container down; False if it is more than there is room for."""
    # Taken out of the world once: each time costs two atomic counts.
    bodies, corners, order, pieces, hits = world.bodies, world.corners, world.order, world.pieces, world.hits
    contacts, pairs, where, counts = world.contacts, world.pairs, world.where, world.counts
    piece_friction, between, drum_reach = world.piece_friction, world.between, world.drum[DRUM_REACH]
    count, still, all_pieces = counts[CONTAINERS], counts[STILL_PIECES], counts[ALL_PIECES]
    drum = len(bodies) - 1
    farthest = 0.0
    for i in range(count):
        farthest = max(farthest, bodies[i, REACH])
    found = 0
    for place in range(count):
        i = order[place]
        x, y, reach, surface = bodies[i, X], bodies[i, Y], bodies[i, REACH], int(bodies[i, SURFACE])
        radius, several, bulge = bodies[i, RADIUS], int(bodies[i, CORNERS]), bodies[i, BULGE]
        for k in range(still):
            if pieces[k, TOP] <= y - reach:
                break  # they are in order, from the top down
            swell = bulge * pieces[k, SIDE_WALL]
            wide = reach + swell
            if pieces[k, BOTTOM] < y + reach and pieces[k, LEFT] < x + wide and pieces[k, RIGHT] > x - wide:
                several_hits = _touch_piece(corners, i, several, radius + swell, pieces, k, hits)
                if found + several_hits > MOST_CONTACTS:
                    return False
                for hit in range(several_hits):
                    where[found, PIECE], contacts[found, FRICTION] = k, piece_friction[k, surface]
                    _note(bodies, contacts, pairs, where, hits, hit, several_hits, found, i, count, swell)
                    found += 1
        for below in range(place + 1, count):
            j = order[below]
            off_y = y - bodies[j, Y]
            if off_y > reach + farthest:
                break
            off_x, apart = x - bodies[j, X], reach + bodies[j, REACH]
            if off_x * off_x + off_y * off_y >= apart * apart:
                continue
            first, second = (i, j) if bodies[i, NUMBER] < bodies[j, NUMBER] else (j, i)
            if several == 1 and bodies[j, CORNERS] == 1.0:
                several_hits = _touch_disc(bodies, hits, first, second)
            else:
                several_hits = _touch_body(bodies, corners, hits, first, second)
            if found + several_hits > MOST_CONTACTS:
                return False
            for hit in range(several_hits):
                where[found, PIECE], contacts[found, FRICTION] = -1, between[surface, int(bodies[j, SURFACE])]
                _note(bodies, contacts, pairs, where, hits, hit, several_hits, found, first, second, 0.0)
                found += 1
        if x * x + y * y < (drum_reach + reach) ** 2:
            # In the frame of the drum, in the row of corners that is the drum's, and back again.
            cosine, sine = math.cos(bodies[drum, ANGLE]), math.sin(bodies[drum, ANGLE])
            for v in range(several):
                corners[drum, v, 0], corners[drum, v, 1] = _turned(corners[i, v, 0], corners[i, v, 1], cosine, -sine)
            for k in range(still, all_pieces):
                several_hits = _touch_piece(corners, drum, several, radius, pieces, k, hits)
                if found + several_hits > MOST_CONTACTS:
                    return False
                for hit in range(several_hits):
                    hits[hit, NX], hits[hit, NY] = _turned(hits[hit, NX], hits[hit, NY], cosine, sine)
                    hits[hit, AT_X], hits[hit, AT_Y] = _turned(hits[hit, AT_X], hits[hit, AT_Y], cosine, sine)
                    where[found, PIECE], contacts[found, FRICTION] = k, piece_friction[k, surface]
                    _note(bodies, contacts, pairs, where, hits, hit, several_hits, found, i, drum, 0.0)
                    found += 1
    counts[CONTACTS] = found
    return True


@inlined
def _touch_disc(bodies: Array, hits: Array, i: int, j: int) -> int:
    """Write where two discs touch, of which it is known that they do."""
    off_x, off_y = bodies[i, X] - bodies[j, X], bodies[i, Y] - bodies[j, Y]
    gap = math.sqrt(off_x * off_x + off_y * off_y)
    if gap == 0.0:
        return 0
    hits[0, NX], hits[0, NY], hits[0, OFF] = off_x / gap, off_y / gap, gap - bodies[i, RADIUS] - bodies[j, RADIUS]
    hits[0, AT_X], hits[0, AT_Y], hits[0, WHICH] = bodies[i, X], bodies[i, Y], 0.0
    return 1


@inlined
def _turned(x: float, y: float, cosine: float, sine: float) -> tuple[float, float]:
    return cosine * x - sine * y, sine * x + cosine * y


@inlined
def _note(
    bodies: Array,
    contacts: Array,
    pairs: Rows,
    where: Whole,
    hits: Array,
    hit: int,
    several_hits: int,
    found: int,
    i: int,
    j: int,
    swell: float,
) -> None:
    """Note that body i touches j, as a hit says; its piece and friction stand there already.

    The point of contact on the first body lies on its outline, that on the second on its own.
    """
    nx, ny, distance = hits[hit, NX], hits[hit, NY], hits[hit, OFF]
    outline = bodies[i, RADIUS] + swell
    x, y = hits[hit, AT_X] - nx * outline, hits[hit, AT_Y] - ny * outline
    together = 0.0
    for other in range(several_hits):
        together -= hits[other, OFF]
    contacts[found, NX], contacts[found, NY] = nx, ny
    contacts[found, OVERLAP], contacts[found, GROUP] = -distance, together
    contacts[found, AX], contacts[found, AY] = x - bodies[i, X], y - bodies[i, Y]
    contacts[found, BX], contacts[found, BY] = x - nx * distance - bodies[j, X], y - ny * distance - bodies[j, Y]
    pairs[found, FIRST], pairs[found, SECOND] = i, j
    where[found, FEATURE] = int(hits[hit, WHICH])


@inlined
def _hit(hits: Array, count: int, nx: float, ny: float, off: float, at_x: float, at_y: float, which: int) -> int:
    """Write a hit: normal into the first body, distance, the point of its core that it is seen from, and which.

    More than there is room for, which no two bodies of four corners have, overwrite the last.
    """
    count = min(count, MOST_OF_ONE - 1)
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
    length, tx, ty = pieces[k, ROUND], pieces[k, ALONG_X], pieces[k, ALONG_Y]
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
