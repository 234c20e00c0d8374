"""Forces of the reference engine: the contact law by explicit springs, dampers and tangential springs.

All forces of a step follow from positions and velocities at its start (Cundall and Strack, Geotechnique 29 (1979) 47).
The points of one pair, such as both ends of a flat, share one normal spring and one tangential spring.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from colsim.physics import contact_law, engines, pymunk_contacts
from colsim.physics.contact_law import (
    area_lost,
    bulge_per_side,
    contact_damper,
    container_stiffness,
    friction_force,
    lag_exponent,
    lagged_stiffness,
    normal_force,
    overlap_share,
    pair_damping,
    series_stiffness,
    set_dent_at,
    stiffness_at,
    tangential_stiffness,
)
from colsim.physics.engines import MAX_SPEED
from colsim.physics.kernel.compiling import compiled, entry_point, inlined, jitable, source_checksum
from colsim.physics.pymunk_contacts import (
    ANGLE,
    AREA_LOST,
    AT_X,
    AT_Y,
    BODY_SHARE,
    BULGE,
    CONSTANT_STIFFNESS,
    CONTACT_STIFFNESS,
    DAMPING,
    DENT_A,
    DENT_B,
    FIRST,
    FLAT_ANGLE,
    FRICTION_FORCE,
    HEADSPACE,
    HEIGHT_LOST,
    INITIAL_PRESSURE,
    INVERSE_MASS,
    INVERSE_MOMENT,
    LAGGED_STIFFNESS,
    LENGTH,
    NORMAL_FORCE,
    NX,
    NY,
    OVERLAP,
    PARTNER,
    RATE,
    ROUND_AREA,
    SECOND,
    SET_DENT,
    SET_FRACTION,
    SPIN,
    STIFFNESS,
    SURFACE,
    TORQUE,
    VX,
    VY,
    WALL_STRETCH,
    WEIGHT,
    FloatArray,
    IntArray,
    PymunkWorld,
    StepData,
    X,
    Y,
    read_contacts,
)
from colsim.theory import squeeze

__all__ = ["APPLY_FORCES", "ForceSettings"]

jitable(squeeze.sealed_pressure)
jitable(*(getattr(contact_law, name) for name in contact_law.__all__ if callable(getattr(contact_law, name))))


class ForceSettings(NamedTuple):
    """Time step [s], gravity [mm/s2], ratio of tangential to normal stiffness [-]."""

    step: float
    gravity_x: float
    gravity_y: float
    tangential_ratio: float


@compiled
def _step(world: PymunkWorld, data: StepData, settings: ForceSettings) -> bool:
    _read_poses(world, data)
    read_contacts(world, data)
    _divide_overlaps(world)
    _update_stiffness(world, settings.step)
    _find_forces(world, settings)
    _apply_impulses(world, settings.step)
    # Gravity last: dampers that saw its velocity of one step would bear part of the weight of bodies at rest.
    for i in range(len(world.pymunk_rows)):
        world.bodies[i, VX] += settings.gravity_x * settings.step
        world.bodies[i, VY] += settings.gravity_y * settings.step
    _drive_drum(world, settings.step)
    return _write_velocities(world, data)


@compiled
def _read_poses(world: PymunkWorld, data: StepData) -> None:
    bodies, rows = world.bodies, world.pymunk_rows
    for i in range(len(rows)):
        for column in range(3):
            bodies[i, X + column] = data.poses[rows[i], column]
    if len(world.drum_rows) > 0:
        bodies[len(rows) + 1, ANGLE] = data.poses[world.drum_rows[0], 2]


@inlined
def _end_of_pair(pairs: IntArray, start: int, count: int) -> int:
    """Give the end of the run of contacts with the same two bodies and piece."""
    end = start + 1
    while end < count and pairs[end, FIRST] == pairs[start, FIRST] and pairs[end, PARTNER] == pairs[start, PARTNER]:
        end += 1
    return end


@compiled
def _divide_overlaps(world: PymunkWorld) -> None:
    """Divide each overlap between its two bodies, and sum the area and height that each body loses."""
    bodies, contacts, pairs, count = world.bodies, world.contacts[0], world.pairs[0], world.counts[0]
    containers = len(world.pymunk_rows)
    for i in range(containers):
        bodies[i, AREA_LOST], bodies[i, HEIGHT_LOST] = 2.0 * area_lost(bodies[i, SET_DENT], 0.0), 0.0
    start = 0
    while start < count:
        end = _end_of_pair(pairs, start, count)
        pair_overlap = 0.0
        for k in range(start, end):
            pair_overlap += contacts[k, OVERLAP]
        a, b = pairs[start, FIRST], pairs[start, SECOND]
        share = overlap_share(bodies[a, LAGGED_STIFFNESS], bodies[b, LAGGED_STIFFNESS])
        for k in range(start, end):
            overlap, nx, ny = contacts[k, OVERLAP], contacts[k, NX], contacts[k, NY]
            weight, dent_a = overlap / pair_overlap, overlap * share
            contacts[k, WEIGHT], contacts[k, DENT_A], contacts[k, DENT_B] = weight, dent_a, overlap - dent_a
            contacts[k, AT_X] += nx * dent_a
            contacts[k, AT_Y] += ny * dent_a
            _add_dent(bodies, a, dent_a, weight, nx, ny)
            if b < containers:
                _add_dent(bodies, b, overlap - dent_a, weight, nx, ny)
        start = end


@inlined
def _add_dent(bodies: FloatArray, i: int, dent: float, weight: float, nx: float, ny: float) -> None:
    bodies[i, AREA_LOST] += weight * area_lost(dent, _set_dent(bodies, i, nx, ny))
    bodies[i, HEIGHT_LOST] += weight * dent * ny * ny


@inlined
def _set_dent(bodies: FloatArray, i: int, nx: float, ny: float) -> float:
    return set_dent_at(bodies[i, SET_DENT], nx, ny, bodies[i, ANGLE] + bodies[i, FLAT_ANGLE])


@compiled
def _update_stiffness(world: PymunkWorld, step: float) -> None:
    """Update the stiffness of containers, from all their dents, and of contacts."""
    bodies, contacts, pairs = world.bodies, world.contacts[0], world.pairs[0]
    for i in range(len(world.pymunk_rows)):
        bodies[i, STIFFNESS] = container_stiffness(
            bodies[i, CONSTANT_STIFFNESS],
            bodies[i, LENGTH],
            bodies[i, HEADSPACE],
            bodies[i, BODY_SHARE],
            bodies[i, WALL_STRETCH],
            bodies[i, INITIAL_PRESSURE],
            bodies[i, AREA_LOST] / bodies[i, ROUND_AREA],
        )
        bodies[i, LAGGED_STIFFNESS] = lagged_stiffness(
            bodies[i, LAGGED_STIFFNESS], bodies[i, STIFFNESS], lag_exponent(step)
        )
        bodies[i, BULGE] = bulge_per_side(bodies[i, HEIGHT_LOST])
    for k in range(world.counts[0]):
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        stiffness_a = stiffness_at(
            bodies[a, STIFFNESS], contacts[k, DENT_A], _set_dent(bodies, a, nx, ny), bodies[a, SET_FRACTION]
        )
        stiffness_b = stiffness_at(
            bodies[b, STIFFNESS], contacts[k, DENT_B], _set_dent(bodies, b, nx, ny), bodies[b, SET_FRACTION]
        )
        contacts[k, CONTACT_STIFFNESS] = series_stiffness(stiffness_a, stiffness_b) * contacts[k, WEIGHT]


@compiled
def _find_forces(world: PymunkWorld, settings: ForceSettings) -> None:
    """Find the normal and friction force of every contact from the present velocities."""
    pairs, count = world.pairs[0], world.counts[0]
    before, now = world.slips[0], world.slips[1]
    now[:] = 0.0
    start = 0
    while start < count:
        end = _end_of_pair(pairs, start, count)
        first, partner = pairs[start, FIRST], pairs[start, PARTNER]
        now[first, partner] = _find_pair_forces(world, settings, start, end, before[first, partner])
        start = end
    before[:] = now


@compiled
def _find_pair_forces(world: PymunkWorld, settings: ForceSettings, start: int, end: int, slip: float) -> float:
    """Find the forces of a pair, and give the new stretch of its tangential spring [mm]."""
    bodies, contacts = world.bodies, world.contacts[0]
    a, b, partner = world.pairs[0, start, FIRST], world.pairs[0, start, SECOND], world.pairs[0, start, PARTNER]
    surface = int(bodies[a, SURFACE])
    if partner < len(world.pieces):
        friction = world.piece_friction[partner, surface]
    else:
        friction = world.body_friction[surface, int(bodies[b, SURFACE])]
    damping = pair_damping(bodies[a, DAMPING], bodies[b, DAMPING])
    pair_stiffness = pair_normal = pair_sliding = pair_inverse_mass = 0.0
    for k in range(start, end):
        separation_speed, sliding_speed = _contact_speeds(bodies, contacts, k, a, b)
        normal_inverse, tangent_inverse = _inverse_masses(bodies, contacts, k, a, b)
        stiffness, weight = contacts[k, CONTACT_STIFFNESS], contacts[k, WEIGHT]
        damper = contact_damper(stiffness, weight, normal_inverse, damping)
        contacts[k, NORMAL_FORCE] = normal_force(stiffness, damper, contacts[k, OVERLAP], separation_speed)
        pair_normal += contacts[k, NORMAL_FORCE]
        pair_stiffness += stiffness
        pair_sliding += weight * sliding_speed
        pair_inverse_mass += weight * tangent_inverse
    if pair_normal == 0.0:
        for k in range(start, end):
            contacts[k, FRICTION_FORCE] = 0.0
        return 0.0
    pair_friction, new_slip = friction_force(
        tangential_stiffness(pair_stiffness, settings.tangential_ratio),
        slip + pair_sliding * settings.step,
        pair_inverse_mass,
        pair_sliding,
        friction * pair_normal,
    )
    for k in range(start, end):  # in proportion to the normal forces
        contacts[k, FRICTION_FORCE] = pair_friction * contacts[k, NORMAL_FORCE] / pair_normal
    return new_slip


@inlined
def _contact_speeds(bodies: FloatArray, contacts: FloatArray, k: int, a: int, b: int) -> tuple[float, float]:
    """Give the separation speed of a contact, and the sliding speed of its first body, to the left of the normal."""
    nx, ny, x, y = contacts[k, NX], contacts[k, NY], contacts[k, AT_X], contacts[k, AT_Y]
    vx = bodies[a, VX] - bodies[a, SPIN] * (y - bodies[a, Y]) - bodies[b, VX] + bodies[b, SPIN] * (y - bodies[b, Y])
    vy = bodies[a, VY] + bodies[a, SPIN] * (x - bodies[a, X]) - bodies[b, VY] - bodies[b, SPIN] * (x - bodies[b, X])
    return vx * nx + vy * ny, vy * nx - vx * ny


@inlined
def _inverse_masses(bodies: FloatArray, contacts: FloatArray, k: int, a: int, b: int) -> tuple[float, float]:
    """Give the inverse effective masses of a contact in the normal and tangential direction [1/kg]."""
    nx, ny, x, y = contacts[k, NX], contacts[k, NY], contacts[k, AT_X], contacts[k, AT_Y]
    normal = tangent = 0.0
    for i in (a, b):
        arm_x, arm_y = x - bodies[i, X], y - bodies[i, Y]
        normal += bodies[i, INVERSE_MASS] + bodies[i, INVERSE_MOMENT] * (arm_x * ny - arm_y * nx) ** 2
        tangent += bodies[i, INVERSE_MASS] + bodies[i, INVERSE_MOMENT] * (arm_x * nx + arm_y * ny) ** 2
    return normal, tangent


@compiled
def _apply_impulses(world: PymunkWorld, step: float) -> None:
    """Apply the impulses of all forces over the step."""
    bodies, contacts, pairs = world.bodies, world.contacts[0], world.pairs[0]
    for k in range(world.counts[0]):
        nx, ny, normal, friction = (
            contacts[k, NX],
            contacts[k, NY],
            contacts[k, NORMAL_FORCE],
            contacts[k, FRICTION_FORCE],
        )
        px, py = (nx * normal - ny * friction) * step, (ny * normal + nx * friction) * step
        for side, sign in ((FIRST, 1.0), (SECOND, -1.0)):
            i = pairs[k, side]
            arm_x, arm_y = contacts[k, AT_X] - bodies[i, X], contacts[k, AT_Y] - bodies[i, Y]
            bodies[i, VX] += sign * bodies[i, INVERSE_MASS] * px
            bodies[i, VY] += sign * bodies[i, INVERSE_MASS] * py
            bodies[i, SPIN] += sign * bodies[i, INVERSE_MOMENT] * (arm_x * py - arm_y * px)


@compiled
def _drive_drum(world: PymunkWorld, step: float) -> None:
    """Drive the drum towards its target rate, within the torque limit of the motor."""
    drum = world.bodies[len(world.bodies) - 1]
    if drum[INVERSE_MOMENT] > 0.0:
        limit = world.drum[TORQUE] * step
        impulse = (world.drum[RATE] - drum[SPIN]) / drum[INVERSE_MOMENT]
        drum[SPIN] += drum[INVERSE_MOMENT] * min(max(impulse, -limit), limit)


@compiled
def _write_velocities(world: PymunkWorld, data: StepData) -> bool:
    """Write all velocities for pymunk; False if it diverged: a speed is NaN or too high."""
    bodies, rows = world.bodies, world.pymunk_rows
    for i in range(len(rows)):
        if not abs(bodies[i, VX]) + abs(bodies[i, VY]) + abs(bodies[i, SPIN]) < MAX_SPEED:  # also true for NaN
            return False
        for column in range(3):
            data.velocities[rows[i], column] = bodies[i, VX + column]
    spin = bodies[len(rows) + 1, SPIN]
    for k in range(len(world.drum_rows)):
        data.velocities[world.drum_rows[k], 2] = spin
    return bool(abs(spin) < MAX_SPEED)


def _apply_forces(checksum: int) -> Callable[[PymunkWorld, StepData, ForceSettings], bool]:
    """Make the entry point; it holds the checksum of all code that it compiles in, see `entry_point`."""

    @entry_point
    def apply_forces(world: PymunkWorld, data: StepData, settings: ForceSettings) -> bool:
        """Apply the forces of a step and write the new velocities; False if it diverged."""
        return _step(world, data, settings) if checksum else False

    return apply_forces


APPLY_FORCES: Callable[[PymunkWorld, StepData, ForceSettings], Any] = _apply_forces(
    source_checksum(contact_law, engines, squeeze, pymunk_contacts)
)
"""Apply the forces of a step and write the new velocities; False if it diverged."""
