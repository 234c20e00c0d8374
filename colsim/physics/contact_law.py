"""The law of contact: with what force containers give way where they touch. One law for all engines.

A container that is dented by delta_c at each of its contacts c has lost the area A = (pi/2) sum delta_c^2 of its
section. Its gas then stands at the pressure p(A) of `theory.squeeze.sealed_pressure`, and each contact is a spring:

    force = k delta_c,    k = firm + pi p(A) L,

where firm is twice the stiffness of the bare wall between two boards (with base and shoulder), or twice a stiffness
that was measured there. Two containers give way in series, with the same force. A damper stands beside each spring;
its damping ratio follows from the restitution. Nothing pulls. Walls and drum are rigid. Friction is Coulomb's.

Exact for two opposite contacts. Three at 120 degrees are 1.69 times as stiff (`theory.contact.three_flats_ratio`);
that a container which is pressed one way bulges the other is left out, but for single file (`bulge_of`).

Numbers only, so that it compiles to machine code as well: mm, kg, s, so forces are mN and stiffnesses mN/mm.
"""

from __future__ import annotations

import math

from colsim.theory.squeeze import BULGE_SHARE, sealed_pressure

__all__ = [
    "LEAST_STIFFNESS",
    "LEAST_TANGENTIAL",
    "RIGID",
    "TANGENTIAL_DAMPING",
    "TANGENTIAL_SHARE",
    "area_lost_by",
    "bulge_of",
    "contact_stiffness",
    "damped_force",
    "damper_of",
    "implicit_damper",
    "lies_on_flat",
    "on_set_flat",
    "series_of",
    "share_of",
    "sharing_after",
    "sharing_power",
    "tangential_stiffness",
]

RIGID = 1e15
"""Stiffness that walls and drum count as [mN/mm]."""
LEAST_STIFFNESS = 50.0
"""What a contact keeps where a vacuum would pull the wall in [mN/mm], so that no two bodies pass through each other."""
ON_FLAT = 0.9999
"""Cosine of the angle between normals, from which on a contact lies on a flat: 0.8 degrees."""
STEEPEST = 0.1
"""Share of the dent that has set, within which the force on a set flat comes back at the latest [-]."""
SHARING_TIME = 0.005
"""In which two containers come to share an overlap by their stiffness [s]; it is found by going there, not at once."""
TANGENTIAL_SHARE, LEAST_TANGENTIAL, TANGENTIAL_DAMPING = 1.0, 5e5, 0.3
"""Of a tangential spring, where an engine needs one: its stiffness over the normal one [-], its least [mN/mm], its
damping ratio [-].

Coulomb's friction has no such spring; these stand for one that is stiff, beside soft walls too. An explicit step h with
n contacts on one body is stable while n (w h)^2 + 4 zeta n w h < 4, with w^2 the stiffness over the mass that one of
them moves along the surface (derived)."""


def tangential_stiffness(stiffness: float, share: float) -> float:
    """Give the stiffness of a tangential spring from the normal one [mN/mm]."""
    return share * max(stiffness, LEAST_TANGENTIAL)


def area_lost_by(dent: float) -> float:
    """Give the area that a dent takes off the section [mm2]: half of what two opposite ones take, (pi/4) s^2."""
    return math.pi / 2.0 * dent * dent


def contact_stiffness(
    firm: float,
    length: float,
    headspace: float,
    body_share: float,
    stretch: float,
    filled: float,
    share_lost: float,
) -> float:
    """Give the stiffness k of each contact of a container that has lost a share of its area [mN/mm].

    The other arguments are those of `scene.Yielding`. A pressure of 1 kPa is 1 mN/mm2.
    """
    if length <= 0.0:
        return firm
    pressure = sealed_pressure(min(share_lost, 1.0), headspace, body_share, stretch, filled)
    return max(LEAST_STIFFNESS, firm + math.pi * pressure * length)


def sharing_power(step: float) -> float:
    """Give the power of `sharing_after` for a time step [s]."""
    return -math.expm1(-step / SHARING_TIME)


def sharing_after(sharing: float, stiffness: float, power: float) -> float:
    """Give the stiffness by which overlaps are shared out, a step later [mN/mm].

    It follows the stiffness within `SHARING_TIME`. Shared by the stiffness of the step before, the dents of two soft
    walls that get stiffer faster than in proportion would swing from one to the other, farther every step.
    """
    return float(sharing * (stiffness / sharing) ** power)


def share_of(mine: float, other: float) -> float:
    """Give the share of an overlap that dents the first of two in series, by their stiffnesses [-]."""
    return other / (mine + other)


def series_of(first: float, second: float) -> float:
    """Give the stiffness of two in series [mN/mm]."""
    return first * second / (first + second)


def lies_on_flat(nx: float, ny: float, turned: float) -> bool:
    """Tell whether a contact with this normal lies on a flat that is turned so far [rad]."""
    return abs(ny * math.cos(turned) - nx * math.sin(turned)) >= ON_FLAT


def on_set_flat(stiffness: float, dent: float, set_dent: float, set_fraction: float) -> float:
    """Give the force over the dent that is added to a flat which has set [mN/mm].

    A flat that has set by ``set_dent``, a share of the dent under the load that set it, bears that load where it lay
    under it: nothing when just touched, k times the whole dent from there on, evenly between.
    """
    ramp = set_dent * max(1.0 / set_fraction - 1.0, STEEPEST)
    return stiffness * (set_dent + dent) / max(dent, ramp)


def bulge_of(squeezed: float) -> float:
    """Give by how much a container stands out on each side that is so much lower [mm]: a taut tube's 0.285."""
    return BULGE_SHARE / 2.0 * squeezed


def damped_force(stiffness: float, damper: float, overlap: float, leaving: float) -> float:
    """Give the normal force of spring and damper [mN] at a speed of parting [mm/s]; never a pull."""
    return max(0.0, stiffness * overlap - damper * leaving)


def damper_of(stiffness: float, inverse_mass: float, damping: float) -> float:
    """Give the damper c of a contact [mN s/mm] from its damping ratio zeta [-]: c = 2 zeta sqrt(k m)."""
    return 2.0 * damping * math.sqrt(stiffness / inverse_mass)


def implicit_damper(stiffness: float, damper: float, inverse_mass: float, step: float) -> float:
    """Give the factor B on the speed after a step, of an implicit step over spring and damper [mN s/mm].

    The force of a step is k x - (c - B) v - B v', with the overlap x and the speed v before it and v' after it.
    B = c/2 is the trapezoidal rule, exact to second order in the step h. B of at least h k/2 keeps a stiff spring
    stable, and of at least c - m/h a damper that would stop the contact within a step from turning its speed round.
    """
    return max(damper / 2.0, step * stiffness / 2.0, damper - 1.0 / (inverse_mass * step))
