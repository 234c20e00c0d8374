"""Forces at contacts that pymunk found: the law of contact, by springs, dampers and tangential springs, explicitly.

All forces of a step follow from the places and speeds before it (Cundall and Strack, Geotechnique 29 (1979) 47). All
that touches between the same two, such as both ends of a flat, is one group: each point bears its part of one spring,
and one tangential spring is drawn by all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from colsim.physics import contact_law, pymunk_contacts
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
from colsim.physics.pymunk_contacts import (
    ANGLE,
    AREA_LOST,
    AT_X,
    AT_Y,
    BODY_SHARE,
    BULGE,
    DAMPING,
    DENT_A,
    DENT_B,
    FILLED,
    FIRM,
    FIRST,
    FLAT_ANGLE,
    FRICTION,
    GROUP,
    HEADSPACE,
    INVERSE_MASS,
    INVERSE_MOMENT,
    LENGTH,
    NORMAL,
    NX,
    NY,
    OVERLAP,
    RATE,
    ROUND_AREA,
    SECOND,
    SET_DENT,
    SET_FRACTION,
    SHARING,
    SPIN,
    SQUEEZED_UP,
    STIFF,
    STIFFNESS,
    STRETCH,
    SURFACE,
    TORQUE,
    TOUCHED,
    VX,
    VY,
    Array,
    Loaded,
    Seen,
    Whole,
    X,
    Y,
    read_contacts,
)
from colsim.theory import squeeze

__all__ = ["LAY_ON", "Acting"]

MAX_SPEED = 1e7  # [mm/s], far above anything in a column; beyond it the simulation has diverged

also_compiled(squeeze.sealed_pressure)
also_compiled(area_lost_by, bulge_of, contact_stiffness, damped_force, damper_of)
also_compiled(on_set_flat, series_of, share_of)


class Acting(NamedTuple):
    """A step [s], gravity [mm/s2], and tangential over normal stiffness [-]."""

    step: float
    gravity_x: float
    gravity_y: float
    tangential_share: float


@compiled
def _step(loaded: Loaded, seen: Seen, acting: Acting) -> bool:
    _take_places(loaded, seen)
    read_contacts(loaded, seen)
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


LAY_ON: Callable[[Loaded, Seen, Acting], Any] = _entry(stamp_of(contact_law, squeeze, pymunk_contacts))
"""Lay on the forces of a step and write the speeds that come of them; False if it diverged."""
