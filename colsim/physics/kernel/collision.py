"""Contact detection, broad phase and narrow phase, in closed form; arcs are exact.

Broad phase: containers and fixed pieces are sorted from the top down, so that both searches end early. Narrow phase:
the contact manifold of a pair goes to `World.manifold`, then to the list of contacts.
"""

from __future__ import annotations

import math

from colsim.physics.kernel.compiling import compiled, inlined
from colsim.physics.kernel.world import (
    ALL_PIECES,
    ANGLE,
    AX,
    AY,
    BOTTOM,
    BULGE,
    BX,
    BY,
    CONTACTS,
    CONTAINERS,
    CORE_X,
    CORE_Y,
    CORNERS,
    DIRECTION_X,
    DIRECTION_Y,
    DISTANCE,
    DRUM_REACH,
    FEATURE,
    FIRST,
    FIXED_PIECES,
    FRICTION,
    INDEX,
    INSIDE,
    KIND,
    LEFT,
    LINE,
    MAX_BODY_CONTACTS,
    MAX_CONTACTS,
    MIDDLE_X,
    MIDDLE_Y,
    MIN_COSINE,
    NX,
    NY,
    OVERLAP,
    PAIR_OVERLAP,
    PIECE,
    POINT_FEATURE,
    RADIUS,
    REACH,
    RIGHT,
    SECOND,
    SIDE_WALL,
    SIZE,
    SURFACE,
    TOP,
    X0,
    Y0,
    FloatArray,
    IndexArray,
    IntArray,
    World,
    X,
    Y,
)

__all__ = ["find_contacts"]


@compiled
def find_contacts(world: World) -> bool:
    """List all contacts, from the top container down.

    Parameters
    ----------
    world : World
        Its contacts, pairs, features and count of contacts are written.

    Returns
    -------
    bool
        False if the contact buffer is full.
    """
    # Taken out of the world once: each access of a field costs two atomic reference counts.
    bodies, corners, top_down, pieces, manifold = (
        world.bodies,
        world.corners,
        world.top_down,
        world.pieces,
        world.manifold,
    )
    contacts, pairs, features, counts = world.contacts, world.pairs, world.features, world.counts
    piece_friction, body_friction, drum_reach = world.piece_friction, world.body_friction, world.drum[DRUM_REACH]
    containers, fixed, all_pieces = counts[CONTAINERS], counts[FIXED_PIECES], counts[ALL_PIECES]
    drum = len(bodies) - 1
    largest_reach = 0.0
    for i in range(containers):
        largest_reach = max(largest_reach, bodies[i, REACH])
    count = 0
    for place in range(containers):
        i = top_down[place]
        x, y, reach, surface = bodies[i, X], bodies[i, Y], bodies[i, REACH], int(bodies[i, SURFACE])
        radius, corner_count, body_bulge = bodies[i, RADIUS], int(bodies[i, CORNERS]), bodies[i, BULGE]
        for k in range(fixed):
            if pieces[k, TOP] <= y - reach:
                break  # all further pieces are lower
            bulge = body_bulge * pieces[k, SIDE_WALL]
            wide = reach + bulge
            if pieces[k, BOTTOM] < y + reach and pieces[k, LEFT] < x + wide and pieces[k, RIGHT] > x - wide:
                points = _collide_with_piece(corners, i, corner_count, radius + bulge, pieces, k, manifold)
                if count + points > MAX_CONTACTS:
                    return False
                for p in range(points):
                    features[count, PIECE], contacts[count, FRICTION] = k, piece_friction[k, surface]
                    _add_contact(bodies, contacts, pairs, features, manifold, p, points, count, i, containers, bulge)
                    count += 1
        for below in range(place + 1, containers):
            j = top_down[below]
            off_y = y - bodies[j, Y]
            if off_y > reach + largest_reach:
                break  # all further containers are lower
            off_x, both_reach = x - bodies[j, X], reach + bodies[j, REACH]
            if off_x * off_x + off_y * off_y >= both_reach * both_reach:
                continue
            first, second = (i, j) if bodies[i, INDEX] < bodies[j, INDEX] else (j, i)
            if corner_count == 1 and bodies[j, CORNERS] == 1.0:
                points = _collide_discs(bodies, manifold, first, second)
            else:
                points = _collide_bodies(bodies, corners, manifold, first, second)
            if count + points > MAX_CONTACTS:
                return False
            for p in range(points):
                features[count, PIECE], contacts[count, FRICTION] = -1, body_friction[surface, int(bodies[j, SURFACE])]
                _add_contact(bodies, contacts, pairs, features, manifold, p, points, count, first, second, 0.0)
                count += 1
        if x * x + y * y < (drum_reach + reach) ** 2:
            # In the frame of the drum: the corners go to the drum's own row, the manifold is rotated back.
            cosine, sine = math.cos(bodies[drum, ANGLE]), math.sin(bodies[drum, ANGLE])
            for v in range(corner_count):
                corners[drum, v, 0], corners[drum, v, 1] = _rotated(corners[i, v, 0], corners[i, v, 1], cosine, -sine)
            for k in range(fixed, all_pieces):
                points = _collide_with_piece(corners, drum, corner_count, radius, pieces, k, manifold)
                if count + points > MAX_CONTACTS:
                    return False
                for p in range(points):
                    manifold[p, NX], manifold[p, NY] = _rotated(manifold[p, NX], manifold[p, NY], cosine, sine)
                    x_core, y_core = manifold[p, CORE_X], manifold[p, CORE_Y]
                    manifold[p, CORE_X], manifold[p, CORE_Y] = _rotated(x_core, y_core, cosine, sine)
                    features[count, PIECE], contacts[count, FRICTION] = k, piece_friction[k, surface]
                    _add_contact(bodies, contacts, pairs, features, manifold, p, points, count, i, drum, 0.0)
                    count += 1
    counts[CONTACTS] = count
    return True


@inlined
def _rotated(x: float, y: float, cosine: float, sine: float) -> tuple[float, float]:
    return cosine * x - sine * y, sine * x + cosine * y


@inlined
def _add_contact(
    bodies: FloatArray,
    contacts: FloatArray,
    pairs: IndexArray,
    features: IntArray,
    manifold: FloatArray,
    point: int,
    points: int,
    contact: int,
    i: int,
    j: int,
    bulge: float,
) -> None:
    """Write a contact of bodies i and j from a point of their manifold; its piece and friction are there already.

    The contact point of each body lies on its own outline.
    """
    nx, ny, distance = manifold[point, NX], manifold[point, NY], manifold[point, DISTANCE]
    outline = bodies[i, RADIUS] + bulge
    x, y = manifold[point, CORE_X] - nx * outline, manifold[point, CORE_Y] - ny * outline
    pair_overlap = 0.0
    for each in range(points):
        pair_overlap -= manifold[each, DISTANCE]
    contacts[contact, NX], contacts[contact, NY] = nx, ny
    contacts[contact, OVERLAP], contacts[contact, PAIR_OVERLAP] = -distance, pair_overlap
    contacts[contact, AX], contacts[contact, AY] = x - bodies[i, X], y - bodies[i, Y]
    contacts[contact, BX], contacts[contact, BY] = x - nx * distance - bodies[j, X], y - ny * distance - bodies[j, Y]
    pairs[contact, FIRST], pairs[contact, SECOND] = i, j
    features[contact, FEATURE] = int(manifold[point, POINT_FEATURE])


@inlined
def _add_point(
    manifold: FloatArray, count: int, nx: float, ny: float, distance: float, core_x: float, core_y: float, feature: int
) -> int:
    """Write a point of the manifold and give the number of points; a full manifold has its last point overwritten.

    No two bodies of four corners have so many.
    """
    count = min(count, MAX_BODY_CONTACTS - 1)
    manifold[count, NX], manifold[count, NY], manifold[count, DISTANCE] = nx, ny, distance
    manifold[count, CORE_X], manifold[count, CORE_Y], manifold[count, POINT_FEATURE] = core_x, core_y, feature
    return count + 1


@inlined
def _collide_discs(bodies: FloatArray, manifold: FloatArray, i: int, j: int) -> int:
    """Write the manifold of two discs that overlap; give the number of points."""
    off_x, off_y = bodies[i, X] - bodies[j, X], bodies[i, Y] - bodies[j, Y]
    gap = math.sqrt(off_x * off_x + off_y * off_y)
    if gap == 0.0:
        return 0
    distance = gap - bodies[i, RADIUS] - bodies[j, RADIUS]
    manifold[0, NX], manifold[0, NY], manifold[0, DISTANCE] = off_x / gap, off_y / gap, distance
    manifold[0, CORE_X], manifold[0, CORE_Y], manifold[0, POINT_FEATURE] = bodies[i, X], bodies[i, Y], 0.0
    return 1


@inlined
def _collide_with_piece(
    corners: FloatArray,
    row: int,
    corner_count: int,
    radius: float,
    pieces: FloatArray,
    k: int,
    manifold: FloatArray,
) -> int:
    """Write the manifold of a body and a piece; corners are in the piece's frame. Give the number of points."""
    count, kind = 0, pieces[k, KIND]
    if kind == LINE or kind == INSIDE:
        for v in range(corner_count):
            x, y = corners[row, v, 0], corners[row, v, 1]
            beside, nx, ny, gap = _from_line(pieces, k, x, y) if kind == LINE else _from_arc(pieces, k, x, y)
            if beside and 0.0 < gap < radius:
                count = _add_point(manifold, count, nx, ny, gap - radius, x, y, v)
        return count
    # A convex arc or a corner: the point of the core nearest to its centre.
    x, y = _nearest_on_core(corners, row, corner_count, pieces[k, X0], pieces[k, Y0])
    beside, nx, ny, gap = _from_arc(pieces, k, x, y)
    if beside and 0.0 < gap < radius:
        count = _add_point(manifold, count, nx, ny, gap - radius, x, y, 0)
    return count


@inlined
def _from_line(pieces: FloatArray, k: int, x: float, y: float) -> tuple[bool, float, float, float]:
    """Tell whether a point projects onto a line, and give the line's normal and the point's distance."""
    length, tx, ty = pieces[k, SIZE], pieces[k, DIRECTION_X], pieces[k, DIRECTION_Y]
    dx, dy = x - pieces[k, X0], y - pieces[k, Y0]
    return 0.0 <= dx * tx + dy * ty < length, -ty, tx, dy * tx - dx * ty


@inlined
def _from_arc(pieces: FloatArray, k: int, x: float, y: float) -> tuple[bool, float, float, float]:
    """Tell whether a point lies in the sector of an arc or corner, and give the normal there and its distance."""
    dx, dy = x - pieces[k, X0], y - pieces[k, Y0]
    length = math.sqrt(dx * dx + dy * dy)
    if length == 0.0:
        return False, 0.0, 1.0, 0.0
    dx, dy = dx / length, dy / length
    within = dx * pieces[k, MIDDLE_X] + dy * pieces[k, MIDDLE_Y] >= pieces[k, MIN_COSINE]
    if pieces[k, KIND] == INSIDE:
        return within, -dx, -dy, pieces[k, SIZE] - length
    return within, dx, dy, length - pieces[k, SIZE]


@compiled
def _nearest_on_core(corners: FloatArray, row: int, corner_count: int, x: float, y: float) -> tuple[float, float]:
    """Give the point on the outline of a core nearest to a point outside it."""
    best_x, best_y = corners[row, 0, 0], corners[row, 0, 1]
    best = (best_x - x) ** 2 + (best_y - y) ** 2
    for v in range(corner_count if corner_count > 2 else corner_count - 1):
        _, edge_x, edge_y = _nearest_on_edge(corners, row, v, (v + 1) % corner_count, x, y)
        squared = (edge_x - x) ** 2 + (edge_y - y) ** 2
        if squared < best:
            best, best_x, best_y = squared, edge_x, edge_y
    return best_x, best_y


@inlined
def _nearest_on_edge(corners: FloatArray, i: int, v: int, w: int, x: float, y: float) -> tuple[float, float, float]:
    """Give the point of an edge nearest to a point: its parameter along the edge, from 0 to 1, and its coordinates."""
    x0, y0 = corners[i, v, 0], corners[i, v, 1]
    dx, dy = corners[i, w, 0] - x0, corners[i, w, 1] - y0
    share = ((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy)
    share = min(max(share, 0.0), 1.0)
    return share, x0 + share * dx, y0 + share * dy


@compiled
def _collide_bodies(bodies: FloatArray, corners: FloatArray, manifold: FloatArray, i: int, j: int) -> int:
    """Write the manifold of two bodies; give the number of points.

    Each corner of one core beside an edge of the other is a point. The nearest two corners are one if they are nearer
    to each other than any corner to an edge.
    """
    radii, count = bodies[i, RADIUS] + bodies[j, RADIUS], 0
    nearest, nearest_i, nearest_j = math.inf, 0, 0  # of the corners, squared distance
    for v in range(int(bodies[i, CORNERS])):
        for w in range(int(bodies[j, CORNERS])):
            squared = (corners[i, v, 0] - corners[j, w, 0]) ** 2 + (corners[i, v, 1] - corners[j, w, 1]) ** 2
            if squared < nearest:
                nearest, nearest_i, nearest_j = squared, v, w
    beside_edge = math.inf
    if bodies[i, CORNERS] > 1.0 or bodies[j, CORNERS] > 1.0:
        count, beside_edge = _corners_against_edges(bodies, corners, manifold, count, i, j, radii, 1.0)
        count, reverse = _corners_against_edges(bodies, corners, manifold, count, j, i, radii, -1.0)
        beside_edge = min(beside_edge, reverse)
    if nearest < beside_edge and 0.0 < nearest < radii * radii:
        gap = math.sqrt(nearest)
        x, y = corners[i, nearest_i, 0], corners[i, nearest_i, 1]
        nx, ny = (x - corners[j, nearest_j, 0]) / gap, (y - corners[j, nearest_j, 1]) / gap
        count = _add_point(manifold, count, nx, ny, gap - radii, x, y, 4 * nearest_i + nearest_j)
    return count


@compiled
def _corners_against_edges(
    bodies: FloatArray,
    corners: FloatArray,
    manifold: FloatArray,
    count: int,
    of_corners: int,
    of_edges: int,
    radii: float,
    sign: float,
) -> tuple[int, float]:
    """Write the points where corners of one body are beside edges of another; give count and least squared distance.

    The sign is 1 if the corners are those of the first body of the pair, and -1 if the edges are.
    """
    least, corner_count = math.inf, int(bodies[of_edges, CORNERS])
    for v in range(int(bodies[of_corners, CORNERS])):
        x, y = corners[of_corners, v, 0], corners[of_corners, v, 1]
        for w in range(corner_count if corner_count > 2 else corner_count - 1):
            share, ex, ey = _nearest_on_edge(corners, of_edges, w, (w + 1) % corner_count, x, y)
            gap = math.sqrt((x - ex) ** 2 + (y - ey) ** 2)
            if 0.0 < share < 1.0 and gap > 0.0:
                least = min(least, gap * gap)
                if gap < radii and sign > 0.0:
                    nx, ny = (x - ex) / gap, (y - ey) / gap
                    count = _add_point(manifold, count, nx, ny, gap - radii, x, y, 16 + 4 * v + w)
                elif gap < radii:
                    nx, ny = (ex - x) / gap, (ey - y) / gap
                    count = _add_point(manifold, count, nx, ny, gap - radii, ex, ey, 32 + 4 * v + w)
    return count, least
