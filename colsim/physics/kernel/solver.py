"""Impulses of a step: implicitly by projected Gauss-Seidel, or explicitly.

Implicit: spring and damper of a contact are a soft constraint. An iteration visits the contacts in sequence, each with
its normal impulse first and then its friction impulse within Coulomb's limit; it starts from the impulses of the last
step (warm start). Explicit: springs, dampers and tangential springs give forces from the positions and velocities at
the start of the step (Cundall and Strack, Geotechnique 29 (1979) 47). This needs a step some eight times as short, and
serves as a check of the implicit solver.
"""

from __future__ import annotations

from colsim.physics.contact_law import (
    TANGENTIAL_RATIO,
    contact_damper,
    friction_force,
    implicit_damper,
    normal_force,
    pair_damping,
    tangential_stiffness,
)
from colsim.physics.kernel.compiling import compiled, inlined
from colsim.physics.kernel.world import (
    AX,
    AY,
    BX,
    BY,
    CONTACT_STIFFNESS,
    CONTACTS,
    COUPLING,
    DAMPER,
    DAMPING,
    FEATURE,
    FIRST,
    FRICTION,
    FRICTION_IMPULSE,
    INDEX,
    INVERSE_MASS,
    INVERSE_MOMENT,
    MAX_BODY_CONTACTS,
    MOTOR_IMPULSE,
    NORMAL_ARM_A,
    NORMAL_ARM_B,
    NORMAL_IMPULSE,
    NORMAL_MASS,
    NX,
    NY,
    OVERLAP,
    PAIR_OVERLAP,
    PIECE,
    RATE,
    SECOND,
    SLIP,
    SOFTNESS,
    SPIN,
    TANGENT_ARM_A,
    TANGENT_ARM_B,
    TANGENT_MASS,
    TARGET_VELOCITY,
    TORQUE,
    VX,
    VY,
    IndexArray,
    World,
)

__all__ = ["apply_forces", "prepare_contacts", "solve", "store_impulses"]

CONVERGED = 0.005  # of the speed that gravity adds in a step: an iteration that changes no velocity by more is the last
FEATURES_PER_PIECE = 64  # above any feature number of one body and one piece


@compiled
def prepare_contacts(world: World, dt: float) -> None:
    """Compute lever arms, effective masses and soft constraint of each contact, and look up its warm start.

    Parameters
    ----------
    world : World
        Its contacts are changed in place.
    dt : float
        Time step [s].
    """
    bodies, contacts, pairs, features = world.bodies, world.contacts, world.pairs, world.features
    warm_start, keys, counts = world.warm_start, world.warm_start_keys, world.warm_start_counts
    for k in range(world.counts[CONTACTS]):
        i, j = pairs[k, FIRST], pairs[k, SECOND]
        nx, ny = contacts[k, NX], contacts[k, NY]
        ax, ay, bx, by = contacts[k, AX], contacts[k, AY], contacts[k, BX], contacts[k, BY]
        normal_arm_a, normal_arm_b = ax * ny - ay * nx, bx * ny - by * nx
        tangent_arm_a, tangent_arm_b = ax * nx + ay * ny, bx * nx + by * ny
        contacts[k, NORMAL_ARM_A], contacts[k, NORMAL_ARM_B] = normal_arm_a, normal_arm_b
        contacts[k, TANGENT_ARM_A], contacts[k, TANGENT_ARM_B] = tangent_arm_a, tangent_arm_b
        linear = bodies[i, INVERSE_MASS] + bodies[j, INVERSE_MASS]
        moment_a, moment_b = bodies[i, INVERSE_MOMENT], bodies[j, INVERSE_MOMENT]  # inverse moments of inertia
        inverse_mass = linear + moment_a * normal_arm_a**2 + moment_b * normal_arm_b**2
        separation_speed = (bodies[i, VX] - bodies[j, VX]) * nx + (bodies[i, VY] - bodies[j, VY]) * ny
        separation_speed += normal_arm_a * bodies[i, SPIN] - normal_arm_b * bodies[j, SPIN]
        stiffness, overlap = contacts[k, CONTACT_STIFFNESS], contacts[k, OVERLAP]
        weight, damping = overlap / contacts[k, PAIR_OVERLAP], pair_damping(bodies[i, DAMPING], bodies[j, DAMPING])
        damper = contact_damper(stiffness, weight, inverse_mass, damping)
        implicit = implicit_damper(stiffness, damper, inverse_mass, dt)
        contacts[k, DAMPER], contacts[k, SOFTNESS] = damper, 1.0 / (dt * implicit)
        contacts[k, TARGET_VELOCITY] = (stiffness * overlap - (damper - implicit) * separation_speed) / implicit
        contacts[k, NORMAL_MASS] = 1.0 / (inverse_mass + contacts[k, SOFTNESS])
        contacts[k, TANGENT_MASS] = 1.0 / (linear + moment_a * tangent_arm_a**2 + moment_b * tangent_arm_b**2)
        contacts[k, COUPLING] = moment_a * tangent_arm_a * normal_arm_a + moment_b * tangent_arm_b * normal_arm_b
        contacts[k, NORMAL_IMPULSE] = contacts[k, FRICTION_IMPULSE] = contacts[k, SLIP] = 0.0
        key = _key(features[k, PIECE], features[k, FEATURE], bodies[j, INDEX])
        for place in range(counts[i]):
            if keys[i, place] == key:
                contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE] = (
                    warm_start[i, place, 0],
                    warm_start[i, place, 1],
                )
                contacts[k, SLIP] = warm_start[i, place, 2]
                break


@inlined
def _key(piece: int, feature: int, index: float) -> int:
    """Give a number that identifies a contact among those of its first body, the same from step to step."""
    return FEATURES_PER_PIECE * piece + feature if piece >= 0 else feature - FEATURES_PER_PIECE * (int(index) + 1)


@compiled
def solve(world: World, dt: float, iterations: int, gravity: float) -> None:
    """Find the impulses of a step by projected Gauss-Seidel with warm start, and apply them.

    Parameters
    ----------
    world : World
        Impulses and velocities are changed in place.
    dt : float
        Time step [s].
    iterations : int
        At most; fewer once they change little beside the speed that gravity adds in the step.
    gravity : float
        Its magnitude [mm/s2].
    """
    count = world.counts[CONTACTS]
    _order_contacts(world.solve_order, count)
    _apply_impulses(world)
    drum = len(world.bodies) - 1
    world.bodies[drum, SPIN] += world.bodies[drum, INVERSE_MOMENT] * world.drum[MOTOR_IMPULSE]
    for _ in range(iterations):
        _solve_motor(world, dt)
        if _solve_contacts(world, count) < CONVERGED * gravity * dt:
            break


@compiled
def _order_contacts(solve_order: IndexArray, count: int) -> None:
    """Set the order in which contacts are solved: alternately from the top down and from the middle down.

    Neighbours in this order are independent, so the processor works on two at once: two thirds of the time.
    """
    half = (count + 1) // 2
    for k in range(count // 2):
        solve_order[2 * k], solve_order[2 * k + 1] = k, half + k
    if count % 2:
        solve_order[count - 1] = half - 1


@compiled
def _apply_impulses(world: World) -> None:
    """Apply the accumulated impulses of all contacts to their bodies."""
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(world.counts[CONTACTS]):
        i, j, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        normal, friction = contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE]
        px, py = nx * normal - ny * friction, ny * normal + nx * friction
        angular_a = contacts[k, NORMAL_ARM_A] * normal + contacts[k, TANGENT_ARM_A] * friction
        angular_b = contacts[k, NORMAL_ARM_B] * normal + contacts[k, TANGENT_ARM_B] * friction
        bodies[i, VX] += bodies[i, INVERSE_MASS] * px
        bodies[i, VY] += bodies[i, INVERSE_MASS] * py
        bodies[i, SPIN] += bodies[i, INVERSE_MOMENT] * angular_a
        bodies[j, VX] -= bodies[j, INVERSE_MASS] * px
        bodies[j, VY] -= bodies[j, INVERSE_MASS] * py
        bodies[j, SPIN] -= bodies[j, INVERSE_MOMENT] * angular_b


@compiled
def _solve_contacts(world: World, count: int) -> float:
    """Do one iteration over all contacts; give the greatest change of a velocity [mm/s]."""
    greatest_change = 0.0
    bodies, contacts, pairs, solve_order = world.bodies, world.contacts, world.pairs, world.solve_order
    for place in range(count):
        k = solve_order[place]
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        normal_arm_a, normal_arm_b = contacts[k, NORMAL_ARM_A], contacts[k, NORMAL_ARM_B]
        tangent_arm_a, tangent_arm_b = contacts[k, TANGENT_ARM_A], contacts[k, TANGENT_ARM_B]
        vx, vy = bodies[a, VX] - bodies[b, VX], bodies[a, VY] - bodies[b, VY]
        spin_a, spin_b = bodies[a, SPIN], bodies[b, SPIN]
        separation_speed = vx * nx + vy * ny + (normal_arm_a * spin_a - normal_arm_b * spin_b)
        sliding_speed = vy * nx - vx * ny + (tangent_arm_a * spin_a - tangent_arm_b * spin_b)

        # Normal impulse: spring and damper at the end-of-step velocity, never negative.
        before = contacts[k, NORMAL_IMPULSE]
        residual = contacts[k, TARGET_VELOCITY] - separation_speed - contacts[k, SOFTNESS] * before
        normal = max(0.0, before + contacts[k, NORMAL_MASS] * residual)
        contacts[k, NORMAL_IMPULSE] = normal
        normal_change = normal - before

        # Friction impulse: stops the remaining sliding, within Coulomb's limit.
        sliding_speed += contacts[k, COUPLING] * normal_change
        before, limit = contacts[k, FRICTION_IMPULSE], contacts[k, FRICTION] * normal
        friction = min(max(before - contacts[k, TANGENT_MASS] * sliding_speed, -limit), limit)
        contacts[k, FRICTION_IMPULSE] = friction
        friction_change = friction - before

        change = (abs(normal_change) + abs(friction_change)) * bodies[a, INVERSE_MASS]
        greatest_change = max(greatest_change, change)
        px, py = nx * normal_change - ny * friction_change, ny * normal_change + nx * friction_change
        angular_a = normal_arm_a * normal_change + tangent_arm_a * friction_change
        angular_b = normal_arm_b * normal_change + tangent_arm_b * friction_change
        bodies[a, VX] += bodies[a, INVERSE_MASS] * px
        bodies[a, VY] += bodies[a, INVERSE_MASS] * py
        bodies[a, SPIN] += bodies[a, INVERSE_MOMENT] * angular_a
        bodies[b, VX] -= bodies[b, INVERSE_MASS] * px
        bodies[b, VY] -= bodies[b, INVERSE_MASS] * py
        bodies[b, SPIN] -= bodies[b, INVERSE_MOMENT] * angular_b
    return greatest_change


@compiled
def _solve_motor(world: World, dt: float) -> None:
    """Drive the drum towards its target rate, within the torque limit of the motor."""
    bodies, drum = world.bodies, len(world.bodies) - 1
    inverse_moment = bodies[drum, INVERSE_MOMENT]
    if inverse_moment > 0.0:
        before, limit = world.drum[MOTOR_IMPULSE], world.drum[TORQUE] * dt
        impulse = before + (world.drum[RATE] - bodies[drum, SPIN]) / inverse_moment
        world.drum[MOTOR_IMPULSE] = min(max(impulse, -limit), limit)
        bodies[drum, SPIN] += inverse_moment * (world.drum[MOTOR_IMPULSE] - before)


@compiled
def apply_forces(world: World, dt: float) -> None:
    """Apply the explicit forces of all contacts, all from the velocities at the start of the step; then the motor.

    Parameters
    ----------
    world : World
        Impulses, slips and velocities are changed in place.
    dt : float
        Time step [s].
    """
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(world.counts[CONTACTS]):
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        vx, vy = bodies[a, VX] - bodies[b, VX], bodies[a, VY] - bodies[b, VY]
        spin_a, spin_b = bodies[a, SPIN], bodies[b, SPIN]
        separation_speed = vx * nx + vy * ny + (contacts[k, NORMAL_ARM_A] * spin_a - contacts[k, NORMAL_ARM_B] * spin_b)
        sliding_speed = vy * nx - vx * ny + (contacts[k, TANGENT_ARM_A] * spin_a - contacts[k, TANGENT_ARM_B] * spin_b)
        stiffness = contacts[k, CONTACT_STIFFNESS]
        normal = normal_force(stiffness, contacts[k, DAMPER], contacts[k, OVERLAP], separation_speed)
        friction, contacts[k, SLIP] = friction_force(
            tangential_stiffness(stiffness, TANGENTIAL_RATIO),
            contacts[k, SLIP] + sliding_speed * dt,
            1.0 / contacts[k, TANGENT_MASS],
            sliding_speed,
            contacts[k, FRICTION] * normal,
        )
        contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE] = normal * dt, friction * dt
    _apply_impulses(world)
    world.drum[MOTOR_IMPULSE] = 0.0
    _solve_motor(world, dt)


@compiled
def store_impulses(world: World) -> None:
    """Store impulses and slips for the warm start of the next step.

    Parameters
    ----------
    world : World
        Its warm start is written.
    """
    bodies, contacts, pairs, features = world.bodies, world.contacts, world.pairs, world.features
    warm_start, keys, counts = world.warm_start, world.warm_start_keys, world.warm_start_counts
    counts[:] = 0
    for k in range(world.counts[CONTACTS]):
        i = pairs[k, FIRST]
        place = counts[i]
        if place < MAX_BODY_CONTACTS:
            keys[i, place] = _key(features[k, PIECE], features[k, FEATURE], bodies[pairs[k, SECOND], INDEX])
            warm_start[i, place, 0] = contacts[k, NORMAL_IMPULSE]
            warm_start[i, place, 1] = contacts[k, FRICTION_IMPULSE]
            warm_start[i, place, 2] = contacts[k, SLIP]
            counts[i] = place + 1
