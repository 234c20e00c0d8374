"""Finding the impulses of a step: implicitly, contact after contact in rounds, or explicitly, all from the same speeds.

Implicitly, each contact is a spring and a damper as a soft constraint; contacts are solved one after the other, the
normal impulse first and then friction within its limit, several times over (projected Gauss-Seidel, warm start).
Explicitly, spring, damper and tangential spring give forces (Cundall and Strack, Geotechnique 29 (1979) 47); it needs
a step some eight times as fine, and is there to check the other.
"""

from __future__ import annotations

from colsim.physics.contact_law import (
    TANGENTIAL_DAMPING,
    TANGENTIAL_SHARE,
    damped_force,
    damper_of,
    implicit_damper,
    tangential_stiffness,
)
from colsim.physics.kernel.compiling import compiled, inlined
from colsim.physics.kernel.world import (
    ALONG_A,
    ALONG_B,
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
    GROUP,
    INVERSE_MASS,
    INVERSE_MOMENT,
    MOST_OF_ONE,
    MOTOR_IMPULSE,
    NORMAL_A,
    NORMAL_B,
    NORMAL_IMPULSE,
    NORMAL_MASS,
    NUMBER,
    NX,
    NY,
    OVERLAP,
    PIECE,
    RATE,
    SECOND,
    SLIP,
    SOFTNESS,
    SPIN,
    TANGENT_MASS,
    TARGET,
    TORQUE,
    VX,
    VY,
    Array,
    Rows,
    World,
)

__all__ = ["keep_impulses", "lay_on_forces", "prepare", "solve"]

SOLVED = 1e-2  # [mm/s]: a round that changes no velocity by more is the last
OF_ONE_PIECE = 64  # more than the features that one body shows to one piece


@compiled
def prepare(world: World, dt: float) -> None:
    """Work out lever arms, masses and the spring of each contact, and find what it bore before."""
    bodies, contacts, pairs, where = world.bodies, world.contacts, world.pairs, world.where
    kept, kept_key, kept_count = world.kept, world.kept_key, world.kept_count
    for k in range(world.counts[CONTACTS]):
        i, j = pairs[k, FIRST], pairs[k, SECOND]
        nx, ny = contacts[k, NX], contacts[k, NY]
        ax, ay, bx, by = contacts[k, AX], contacts[k, AY], contacts[k, BX], contacts[k, BY]
        normal_a, normal_b = ax * ny - ay * nx, bx * ny - by * nx
        along_a, along_b = ax * nx + ay * ny, bx * nx + by * ny
        contacts[k, NORMAL_A], contacts[k, NORMAL_B] = normal_a, normal_b
        contacts[k, ALONG_A], contacts[k, ALONG_B] = along_a, along_b
        mass = bodies[i, INVERSE_MASS] + bodies[j, INVERSE_MASS]
        turn_a, turn_b = bodies[i, INVERSE_MOMENT], bodies[j, INVERSE_MOMENT]
        inverse_mass = mass + turn_a * normal_a**2 + turn_b * normal_b**2
        leaving = (bodies[i, VX] - bodies[j, VX]) * nx + (bodies[i, VY] - bodies[j, VY]) * ny
        leaving += normal_a * bodies[i, SPIN] - normal_b * bodies[j, SPIN]
        stiffness = contacts[k, CONTACT_STIFFNESS]
        part = contacts[k, OVERLAP] / contacts[k, GROUP]  # of the spring between the two
        damper = part * damper_of(stiffness / part, inverse_mass, _damping(bodies, i, j))
        implicit = implicit_damper(stiffness, damper, inverse_mass, dt)
        contacts[k, DAMPER], contacts[k, SOFTNESS] = damper, 1.0 / (dt * implicit)
        contacts[k, TARGET] = (stiffness * contacts[k, OVERLAP] - (damper - implicit) * leaving) / implicit
        contacts[k, NORMAL_MASS] = 1.0 / (inverse_mass + contacts[k, SOFTNESS])
        contacts[k, TANGENT_MASS] = 1.0 / (mass + turn_a * along_a**2 + turn_b * along_b**2)
        contacts[k, COUPLING] = turn_a * along_a * normal_a + turn_b * along_b * normal_b
        contacts[k, NORMAL_IMPULSE] = contacts[k, FRICTION_IMPULSE] = contacts[k, SLIP] = 0.0
        key = _key(where[k, PIECE], where[k, FEATURE], bodies[j, NUMBER])
        for place in range(kept_count[i]):
            if kept_key[i, place] == key:
                contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE] = kept[i, place, 0], kept[i, place, 1]
                contacts[k, SLIP] = kept[i, place, 2]
                break


@inlined
def _damping(bodies: Array, i: int, j: int) -> float:
    """Give the damping ratio of a contact: the container's, or the mean of both."""
    if bodies[j, DAMPING] < 0.0:
        return float(bodies[i, DAMPING])
    return float((bodies[i, DAMPING] + bodies[j, DAMPING]) / 2.0)


@inlined
def _key(piece: int, feature: int, number: float) -> int:
    """Give a number that tells a contact from the others of its first body, and stays the same from step to step."""
    return OF_ONE_PIECE * piece + feature if piece >= 0 else feature - OF_ONE_PIECE * (int(number) + 1)


@compiled
def solve(world: World, dt: float, rounds: int) -> None:
    """Find the impulses of a step by rounds over the contacts, from those of the step before."""
    count = world.counts[CONTACTS]
    _put_in_sequence(world.sequence, count)
    _apply_impulses(world)
    drum = len(world.bodies) - 1
    world.bodies[drum, SPIN] += world.bodies[drum, INVERSE_MOMENT] * world.drum[MOTOR_IMPULSE]
    for _ in range(rounds):
        _solve_motor(world, dt)
        if _solve_contacts(world, count) < SOLVED:
            break


@compiled
def _put_in_sequence(sequence: Rows, count: int) -> None:
    """Give the order in which contacts are solved: from the top down and from the middle down, in turns.

    Two chains of dependent sums can so be worked on side by side by one processor, in two thirds of the time.
    """
    half = (count + 1) // 2
    for k in range(count // 2):
        sequence[2 * k], sequence[2 * k + 1] = k, half + k
    if count % 2:
        sequence[count - 1] = half - 1


@compiled
def _apply_impulses(world: World) -> None:
    """Give every body the impulses of its contacts as they stand."""
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(world.counts[CONTACTS]):
        i, j = pairs[k, FIRST], pairs[k, SECOND]
        normal, across = contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE]
        px, py = (
            contacts[k, NX] * normal - contacts[k, NY] * across,
            contacts[k, NY] * normal + contacts[k, NX] * across,
        )
        bodies[i, VX] += bodies[i, INVERSE_MASS] * px
        bodies[i, VY] += bodies[i, INVERSE_MASS] * py
        bodies[i, SPIN] += bodies[i, INVERSE_MOMENT] * (contacts[k, NORMAL_A] * normal + contacts[k, ALONG_A] * across)
        bodies[j, VX] -= bodies[j, INVERSE_MASS] * px
        bodies[j, VY] -= bodies[j, INVERSE_MASS] * py
        bodies[j, SPIN] -= bodies[j, INVERSE_MOMENT] * (contacts[k, NORMAL_B] * normal + contacts[k, ALONG_B] * across)


@compiled
def _solve_contacts(world: World, count: int) -> float:
    """Go once through all contacts, the normal and then friction; give the greatest change of a velocity [mm/s]."""
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

        # The normal: what spring and damper give at the speed that comes of it, but no pull.
        before = contacts[k, NORMAL_IMPULSE]
        off = contacts[k, TARGET] - leaving - contacts[k, SOFTNESS] * before
        normal = max(0.0, before + contacts[k, NORMAL_MASS] * off)
        contacts[k, NORMAL_IMPULSE] = normal
        more = normal - before

        # Friction: what it takes to stop the sliding that is left, but no more than the coefficient times the normal.
        sliding += contacts[k, COUPLING] * more
        before, most = contacts[k, FRICTION_IMPULSE], contacts[k, FRICTION] * normal
        friction = min(max(before - contacts[k, TANGENT_MASS] * sliding, -most), most)
        contacts[k, FRICTION_IMPULSE] = friction
        across = friction - before

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
def _solve_motor(world: World, dt: float) -> None:
    """Have the motor turn the drum at its rate, as far as its torque goes."""
    bodies, drum = world.bodies, len(world.bodies) - 1
    turn = bodies[drum, INVERSE_MOMENT]
    if turn > 0.0:
        before, most = world.drum[MOTOR_IMPULSE], world.drum[TORQUE] * dt
        world.drum[MOTOR_IMPULSE] = min(max(before + (world.drum[RATE] - bodies[drum, SPIN]) / turn, -most), most)
        bodies[drum, SPIN] += turn * (world.drum[MOTOR_IMPULSE] - before)


@compiled
def lay_on_forces(world: World, dt: float) -> None:
    """Lay on springs, dampers and tangential springs, all from the speeds before them; then the motor."""
    bodies, contacts, pairs = world.bodies, world.contacts, world.pairs
    for k in range(world.counts[CONTACTS]):
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        vx, vy = bodies[a, VX] - bodies[b, VX], bodies[a, VY] - bodies[b, VY]
        spin_a, spin_b = bodies[a, SPIN], bodies[b, SPIN]
        leaving = vx * nx + vy * ny + (contacts[k, NORMAL_A] * spin_a - contacts[k, NORMAL_B] * spin_b)
        sliding = vy * nx - vx * ny + (contacts[k, ALONG_A] * spin_a - contacts[k, ALONG_B] * spin_b)
        stiffness = contacts[k, CONTACT_STIFFNESS]
        normal = damped_force(stiffness, contacts[k, DAMPER], contacts[k, OVERLAP], leaving)
        along = tangential_stiffness(stiffness, TANGENTIAL_SHARE)
        contacts[k, SLIP] += sliding * dt
        damper = damper_of(along, 1.0 / contacts[k, TANGENT_MASS], TANGENTIAL_DAMPING)
        friction, most = -along * contacts[k, SLIP] - damper * sliding, contacts[k, FRICTION] * normal
        if abs(friction) > most:
            friction = min(max(friction, -most), most)
            contacts[k, SLIP] = -friction / along
        contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE] = normal * dt, friction * dt
    _apply_impulses(world)
    world.drum[MOTOR_IMPULSE] = 0.0
    _solve_motor(world, dt)


@compiled
def keep_impulses(world: World) -> None:
    """Keep the impulses and slips for the next step."""
    bodies, contacts, pairs, where = world.bodies, world.contacts, world.pairs, world.where
    kept, kept_key, kept_count = world.kept, world.kept_key, world.kept_count
    kept_count[:] = 0
    for k in range(world.counts[CONTACTS]):
        i = pairs[k, FIRST]
        place = kept_count[i]
        if place < MOST_OF_ONE:
            kept_key[i, place] = _key(where[k, PIECE], where[k, FEATURE], bodies[pairs[k, SECOND], NUMBER])
            kept[i, place, 0], kept[i, place, 1] = contacts[k, NORMAL_IMPULSE], contacts[k, FRICTION_IMPULSE]
            kept[i, place, 2] = contacts[k, SLIP]
            kept_count[i] = place + 1
