"""Motion and sections of bodies, and sums over their contacts."""

from __future__ import annotations

import math

from colsim.physics.engines import MAX_SPEED
from colsim.physics.kernel.compiling import compiled
from colsim.physics.kernel.world import (
    ANGLE,
    CONTACTS,
    CONTAINERS,
    CORNERS,
    DENT_A,
    DENT_B,
    FIRST,
    FLAT_ANGLE,
    FRICTION_IMPULSE,
    HALF_FLAT,
    HALF_SIDE,
    INVERSE_MOMENT,
    MOMENT,
    NORMAL_IMPULSE,
    NX,
    NY,
    OVERLAP,
    PAIR_OVERLAP,
    RADIUS,
    RATE,
    REACH,
    ROUND_AREA,
    SECOND,
    SPIN,
    VX,
    VY,
    FloatArray,
    World,
    X,
    Y,
)

__all__ = ["add_dents", "apply_gravity", "change_section", "drive", "extremes", "move"]

MIN_SPEED = 1e-9  # [mm/s]; lower speeds are set to zero, since denormals, which decay would lead to, are slow


@compiled
def move(world: World, dt: float) -> bool:
    """Move all bodies and sort the containers from the top down.

    Parameters
    ----------
    world : World
        Changed in place.
    dt : float
        Time step [s].

    Returns
    -------
    bool
        False if it diverged: a speed is NaN or too high.
    """
    bodies, top_down, count = world.bodies, world.top_down, world.counts[CONTAINERS]
    for i in range(len(bodies)):
        bodies[i, X] += bodies[i, VX] * dt
        bodies[i, Y] += bodies[i, VY] * dt
        bodies[i, ANGLE] += bodies[i, SPIN] * dt
        speed = abs(bodies[i, VX]) + abs(bodies[i, VY]) + abs(bodies[i, SPIN])
        if not speed < MAX_SPEED:  # also true for NaN
            return False
        if speed < MIN_SPEED:
            bodies[i, VX] = bodies[i, VY] = bodies[i, SPIN] = 0.0
    for i in range(count):
        _place_corners(bodies, world.corners, i)
    for place in range(1, count):  # insertion sort: the order rarely changes
        i, k = top_down[place], place - 1
        while k >= 0 and bodies[top_down[k], Y] < bodies[i, Y]:
            top_down[k + 1] = top_down[k]
            k -= 1
        top_down[k + 1] = i
    return True


@compiled
def _place_corners(bodies: FloatArray, corners: FloatArray, i: int) -> None:
    x, y = bodies[i, X], bodies[i, Y]
    if bodies[i, CORNERS] == 1.0:
        corners[i, 0, 0], corners[i, 0, 1] = x, y
        return
    angle = bodies[i, ANGLE] + bodies[i, FLAT_ANGLE]
    c, s = math.cos(angle), math.sin(angle)
    fx, fy = c * bodies[i, HALF_FLAT], s * bodies[i, HALF_FLAT]
    sx, sy = -s * bodies[i, HALF_SIDE], c * bodies[i, HALF_SIDE]
    corners[i, 0, 0], corners[i, 0, 1] = x - fx - sx, y - fy - sy
    corners[i, 1, 0], corners[i, 1, 1] = x + fx - sx, y + fy - sy
    if bodies[i, CORNERS] == 4.0:
        corners[i, 2, 0], corners[i, 2, 1] = x + fx + sx, y + fy + sy
        corners[i, 3, 0], corners[i, 3, 1] = x - fx + sx, y - fy + sy


@compiled
def apply_gravity(world: World, dt: float, gravity_x: float, gravity_y: float) -> None:
    """Add the velocity from gravity over a step.

    Parameters
    ----------
    world : World
        Changed in place.
    dt : float
        Time step [s].
    gravity_x, gravity_y : float
        [mm/s2]
    """
    for i in range(world.counts[CONTAINERS]):
        world.bodies[i, VX] += gravity_x * dt
        world.bodies[i, VY] += gravity_y * dt


@compiled
def change_section(world: World, i: int, height: float, flat: float, side: float, flat_angle: float) -> None:
    """Set the section of a body.

    Parameters
    ----------
    world : World
        Changed in place.
    i : int
        Row of the body.
    height, flat, side : float
        As of `scene.Body` [mm].
    flat_angle : float
        Angle of the flats to the body's x axis [rad].
    """
    bodies, radius = world.bodies, (height - side) / 2
    bodies[i, RADIUS], bodies[i, REACH] = radius, math.sqrt(flat * flat + side * side) / 2 + radius
    bodies[i, HALF_FLAT], bodies[i, HALF_SIDE], bodies[i, FLAT_ANGLE] = flat / 2, side / 2, flat_angle
    bodies[i, CORNERS] = 4.0 if side > 0.0 else 2.0 if flat > 0.0 else 1.0


@compiled
def drive(world: World, rate: float) -> None:
    """Set the target rate of the motor and release the drum, if there is one.

    Parameters
    ----------
    world : World
        Changed in place.
    rate : float
        Counterclockwise [rad/s].
    """
    if world.drum[MOMENT] > 0.0:
        world.bodies[len(world.bodies) - 1, INVERSE_MOMENT] = 1.0 / world.drum[MOMENT]
        world.drum[RATE] = rate


@compiled
def extremes(world: World) -> tuple[float, float, float]:
    """Give the greatest impulse of a contact and the greatest dents, of the last step.

    Parameters
    ----------
    world : World
        Not changed.

    Returns
    -------
    tuple of (float, float, float)
        Impulse, friction included [mN s]; deepest dent [mm]; greatest dent over diameter [-].
    """
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    impulse = dent = share = 0.0
    for k in range(world.counts[CONTACTS]):
        size = math.sqrt(contacts[k, NORMAL_IMPULSE] ** 2 + contacts[k, FRICTION_IMPULSE] ** 2)
        if size > 0.0:
            impulse = max(impulse, size)
            for side, column in ((FIRST, DENT_A), (SECOND, DENT_B)):
                i = pairs[k, side]
                if i < world.counts[CONTAINERS]:
                    dent = max(dent, contacts[k, column])
                    share = max(share, contacts[k, column] / math.sqrt(bodies[i, ROUND_AREA] * 4.0 / math.pi))
    return impulse, dent, share


@compiled
def add_dents(world: World, tensors: FloatArray) -> None:
    """Sum the dents of the last step on each container as tensors, as `Engine.dents` gives them.

    Parameters
    ----------
    world : World
        Not changed.
    tensors : ndarray, shape (n, 2, 2)
        By row of the containers, to which is added in place [mm].
    """
    contacts, pairs = world.contacts, world.pairs
    for k in range(world.counts[CONTACTS]):
        if contacts[k, NORMAL_IMPULSE] <= 0.0:
            continue
        nx, ny, weight = contacts[k, NX], contacts[k, NY], contacts[k, OVERLAP] / contacts[k, PAIR_OVERLAP]
        for side, column in ((FIRST, DENT_A), (SECOND, DENT_B)):
            i = pairs[k, side]
            if i < world.counts[CONTAINERS]:
                dent = weight * contacts[k, column]
                tensors[i, 0, 0] += dent * nx * nx
                tensors[i, 1, 1] += dent * ny * ny
                tensors[i, 0, 1] += dent * nx * ny
                tensors[i, 1, 0] += dent * nx * ny
