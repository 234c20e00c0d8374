"""Applying the law of contact: from overlaps to the stiffness of every contact of a step."""

from __future__ import annotations

from colsim.physics import contact_law
from colsim.physics.contact_law import (
    area_lost_by,
    bulge_of,
    contact_stiffness,
    lies_on_flat,
    on_set_flat,
    series_of,
    share_of,
    sharing_after,
    sharing_power,
)
from colsim.physics.kernel.compiling import also_compiled, compiled, inlined
from colsim.physics.kernel.world import (
    ANGLE,
    AREA_LOST,
    AX,
    AY,
    BODY_SHARE,
    BULGE,
    BULGES,
    BX,
    BY,
    CONTACT_STIFFNESS,
    CONTACTS,
    CONTAINERS,
    DENT_A,
    DENT_B,
    FILLED,
    FIRM,
    FIRST,
    FLAT_ANGLE,
    GROUP,
    HEADSPACE,
    LENGTH,
    NX,
    NY,
    OVERLAP,
    ROUND_AREA,
    SECOND,
    SET_DENT,
    SET_FRACTION,
    SHARING,
    SQUEEZED_UP,
    STIFFNESS,
    STRETCH,
    Array,
    World,
)
from colsim.theory.squeeze import sealed_pressure

__all__ = ["stiffen"]


also_compiled(sealed_pressure)
also_compiled(*(getattr(contact_law, name) for name in contact_law.__all__ if callable(getattr(contact_law, name))))


@compiled
def stiffen(world: World, dt: float) -> None:
    """Share each overlap out between both bodies, and give each contact the stiffness that the law gives it.

    The gas of each body stands at the pressure of all its dents. The point of contact moves to where both flats meet.
    """
    bodies, contacts, pairs, power = world.bodies, world.contacts, world.pairs, sharing_power(dt)
    for i in range(world.counts[CONTAINERS]):
        bodies[i, AREA_LOST], bodies[i, SQUEEZED_UP] = 2.0 * area_lost_by(bodies[i, SET_DENT]), 0.0
    for k in range(world.counts[CONTACTS]):
        a, b, overlap = pairs[k, FIRST], pairs[k, SECOND], contacts[k, OVERLAP]
        nx, ny, weight = contacts[k, NX], contacts[k, NY], overlap / contacts[k, GROUP]
        dent_a = overlap * share_of(bodies[a, SHARING], bodies[b, SHARING])
        dent_b = overlap - dent_a
        contacts[k, DENT_A], contacts[k, DENT_B] = dent_a, dent_b
        contacts[k, AX] += nx * dent_a
        contacts[k, AY] += ny * dent_a
        contacts[k, BX] -= nx * dent_b
        contacts[k, BY] -= ny * dent_b
        _dent(bodies, a, dent_a, weight, nx, ny)
        if b < world.counts[CONTAINERS]:
            _dent(bodies, b, dent_b, weight, nx, ny)
    for i in range(world.counts[CONTAINERS]):
        if bodies[i, LENGTH] <= 0.0:  # the same at any dent
            continue
        bodies[i, STIFFNESS] = contact_stiffness(
            bodies[i, FIRM],
            bodies[i, LENGTH],
            bodies[i, HEADSPACE],
            bodies[i, BODY_SHARE],
            bodies[i, STRETCH],
            bodies[i, FILLED],
            bodies[i, AREA_LOST] / bodies[i, ROUND_AREA],
        )
        bodies[i, SHARING] = sharing_after(bodies[i, SHARING], bodies[i, STIFFNESS], power)
        if bodies[i, BULGES] > 0.0:
            bodies[i, BULGE] = bulge_of(bodies[i, SQUEEZED_UP])
    for k in range(world.counts[CONTACTS]):
        a, b, nx, ny = pairs[k, FIRST], pairs[k, SECOND], contacts[k, NX], contacts[k, NY]
        of_a, of_b = bodies[a, STIFFNESS], bodies[b, STIFFNESS]
        if _on_flat(bodies, a, nx, ny):
            of_a = on_set_flat(of_a, contacts[k, DENT_A], bodies[a, SET_DENT], bodies[a, SET_FRACTION])
        if _on_flat(bodies, b, nx, ny):
            of_b = on_set_flat(of_b, contacts[k, DENT_B], bodies[b, SET_DENT], bodies[b, SET_FRACTION])
        # Of several points between the same two each bears its part of one spring, so that none comes with a jump.
        contacts[k, CONTACT_STIFFNESS] = series_of(of_a, of_b) * contacts[k, OVERLAP] / contacts[k, GROUP]


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
