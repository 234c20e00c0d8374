"""The contact law applied to all contacts of a step: dents, gas pressures, stiffnesses."""

from __future__ import annotations

from colsim.physics import contact_law
from colsim.physics.contact_law import (
    area_lost,
    bulge_per_side,
    container_stiffness,
    lag_exponent,
    lagged_stiffness,
    overlap_share,
    series_stiffness,
    set_dent_at,
    stiffness_at,
)
from colsim.physics.kernel.compiling import compiled, inlined, jitable
from colsim.physics.kernel.world import (
    ANGLE,
    AREA_LOST,
    AX,
    AY,
    BODY_SHARE,
    BULGE,
    BX,
    BY,
    CAN_BULGE,
    CONSTANT_STIFFNESS,
    CONTACT_STIFFNESS,
    CONTACTS,
    CONTAINERS,
    DENT_A,
    DENT_B,
    FIRST,
    FLAT_ANGLE,
    HEADSPACE,
    HEIGHT_LOST,
    INITIAL_PRESSURE,
    LAGGED_STIFFNESS,
    LENGTH,
    NX,
    NY,
    OVERLAP,
    PAIR_OVERLAP,
    ROUND_AREA,
    SECOND,
    SET_DENT,
    SET_DENT_A,
    SET_DENT_B,
    SET_FRACTION,
    STIFFNESS,
    WALL_STRETCH,
    FloatArray,
    World,
)
from colsim.theory.squeeze import sealed_pressure

__all__ = ["update_stiffness"]


jitable(sealed_pressure)
jitable(*(getattr(contact_law, name) for name in contact_law.__all__ if callable(getattr(contact_law, name))))


@compiled
def update_stiffness(world: World, dt: float) -> None:
    """Divide each overlap between its two bodies, then update the stiffness of containers and contacts.

    The gas pressure of a container follows from all its dents. Each contact point moves to the dented surface.

    Parameters
    ----------
    world : World
        Bodies and contacts are changed in place.
    dt : float
        Time step [s].
    """
    bodies, contacts, pairs, exponent = world.bodies, world.contacts, world.pairs, lag_exponent(dt)
    for i in range(world.counts[CONTAINERS]):
        bodies[i, AREA_LOST], bodies[i, HEIGHT_LOST] = 2.0 * area_lost(bodies[i, SET_DENT], 0.0), 0.0
    for k in range(world.counts[CONTACTS]):
        a, b, overlap = pairs[k, FIRST], pairs[k, SECOND], contacts[k, OVERLAP]
        nx, ny, weight = contacts[k, NX], contacts[k, NY], overlap / contacts[k, PAIR_OVERLAP]
        dent_a = overlap * overlap_share(bodies[a, LAGGED_STIFFNESS], bodies[b, LAGGED_STIFFNESS])
        dent_b = overlap - dent_a
        contacts[k, DENT_A], contacts[k, DENT_B] = dent_a, dent_b
        contacts[k, AX] += nx * dent_a
        contacts[k, AY] += ny * dent_a
        contacts[k, BX] -= nx * dent_b
        contacts[k, BY] -= ny * dent_b
        contacts[k, SET_DENT_A] = _add_dent(bodies, a, dent_a, weight, nx, ny)
        if b < world.counts[CONTAINERS]:
            contacts[k, SET_DENT_B] = _add_dent(bodies, b, dent_b, weight, nx, ny)
        else:
            contacts[k, SET_DENT_B] = 0.0
    for i in range(world.counts[CONTAINERS]):
        if bodies[i, LENGTH] <= 0.0:  # constant stiffness
            continue
        bodies[i, STIFFNESS] = container_stiffness(
            bodies[i, CONSTANT_STIFFNESS],
            bodies[i, LENGTH],
            bodies[i, HEADSPACE],
            bodies[i, BODY_SHARE],
            bodies[i, WALL_STRETCH],
            bodies[i, INITIAL_PRESSURE],
            bodies[i, AREA_LOST] / bodies[i, ROUND_AREA],
        )
        bodies[i, LAGGED_STIFFNESS] = lagged_stiffness(bodies[i, LAGGED_STIFFNESS], bodies[i, STIFFNESS], exponent)
        if bodies[i, CAN_BULGE] > 0.0:
            bodies[i, BULGE] = bulge_per_side(bodies[i, HEIGHT_LOST])
    for k in range(world.counts[CONTACTS]):
        a, b = pairs[k, FIRST], pairs[k, SECOND]
        stiffness_a = stiffness_at(
            bodies[a, STIFFNESS], contacts[k, DENT_A], contacts[k, SET_DENT_A], bodies[a, SET_FRACTION]
        )
        stiffness_b = stiffness_at(
            bodies[b, STIFFNESS], contacts[k, DENT_B], contacts[k, SET_DENT_B], bodies[b, SET_FRACTION]
        )
        # The points of one pair share one spring, weighted by overlap, so that no point starts or ends with a jump.
        pair_stiffness = series_stiffness(stiffness_a, stiffness_b)
        contacts[k, CONTACT_STIFFNESS] = pair_stiffness * contacts[k, OVERLAP] / contacts[k, PAIR_OVERLAP]


@inlined
def _add_dent(bodies: FloatArray, i: int, dent: float, weight: float, nx: float, ny: float) -> float:
    """Add a dent to the sums of a container; give the permanent dent at the contact [mm]."""
    set_dent = set_dent_at(bodies[i, SET_DENT], nx, ny, bodies[i, ANGLE] + bodies[i, FLAT_ANGLE])
    bodies[i, AREA_LOST] += weight * area_lost(dent, set_dent)
    bodies[i, HEIGHT_LOST] += weight * dent * ny * ny
    return set_dent
