"""The contact law: the force between containers in contact, the same for all engines.

The dents delta_c of a container at its contacts c reduce the area of its cross-section by A = (pi/2) sum delta_c^2.
Its gas is then at the pressure p(A) of `theory.squeeze.sealed_pressure`, and each contact is a spring:

    force = k delta_c,    k = k_0 + pi p(A) L.

The constant part k_0 is twice the stiffness of the bare wall between two boards (base and shoulder included), or twice
a measured stiffness between boards. Two containers in contact are springs in series. A damper acts in parallel with
each spring; its damping ratio follows from the restitution. There is no adhesion. Walls and drum are rigid. Friction is
Coulomb friction.

The law is exact for two opposite contacts. Three contacts at 120 degrees are 1.69 times as stiff
(`theory.contact.three_flats_ratio`). A dent does not widen the container elsewhere, except in single file, where
`bulge_per_side` applies.

All functions take and return plain numbers, so that they also compile to machine code. Units: mm, kg, s; forces are
thus in mN and stiffnesses in mN/mm.
"""

from __future__ import annotations

import math

from colsim.theory.squeeze import BULGE_SHARE, sealed_pressure

__all__ = [
    "MIN_STIFFNESS",
    "MIN_TANGENTIAL_STIFFNESS",
    "RIGID_STIFFNESS",
    "TANGENTIAL_DAMPING",
    "TANGENTIAL_RATIO",
    "area_lost",
    "bulge_per_side",
    "contact_damper",
    "container_stiffness",
    "damping_coefficient",
    "friction_force",
    "implicit_damper",
    "lag_exponent",
    "lagged_stiffness",
    "normal_force",
    "overlap_share",
    "pair_damping",
    "series_stiffness",
    "set_dent_at",
    "stiffness_at",
    "tangential_stiffness",
]

RIGID_STIFFNESS = 1e15
"""Stiffness of walls and drum in the series formula [mN/mm]."""
MIN_STIFFNESS = 50.0
"""Lower bound of the contact stiffness [mN/mm]; it keeps bodies apart where a vacuum makes the stiffness negative."""
FLAT_COSINE = 0.9999
"""A contact lies on a flat if the cosine of the angle between their normals is at least this: 0.8 degrees."""
MIN_RAMP = 0.1
"""Least dent over which the force on a set flat ramps up, over the set dent [-]."""
LAG_TIME = 0.005
"""Time constant of `lagged_stiffness` [s]."""
TANGENTIAL_RATIO, MIN_TANGENTIAL_STIFFNESS, TANGENTIAL_DAMPING = 1.0, 5e5, 0.3
"""Tangential spring of the explicit engines: stiffness over the normal one [-], least stiffness [mN/mm], damping ratio.

Coulomb friction is rigid-plastic; the spring stands for the rigid part and must be stiff beside soft walls too. With n
contacts on a body an explicit step h is stable while n (w h)^2 + 4 zeta n w h < 4, where w^2 is the tangential
stiffness over the effective mass of one contact (derived)."""


def set_dent_at(set_dent: float, nx: float, ny: float, flat_angle: float) -> float:
    """Give the permanent dent at a contact: that of the container's set flats if the contact lies on one, else 0.

    Parameters
    ----------
    set_dent : float
        Permanent dent of each set flat [mm].
    nx, ny : float
        Contact normal, a unit vector [-].
    flat_angle : float
        Angle of the flats to the x axis [rad].

    Returns
    -------
    float
        [mm]
    """
    if set_dent > 0.0 and abs(ny * math.cos(flat_angle) - nx * math.sin(flat_angle)) >= FLAT_COSINE:
        return set_dent
    return 0.0


def area_lost(dent: float, set_dent: float) -> float:
    """Give the area of the section lost by a dent on top of a permanent one.

    One dent takes (pi/2) delta^2, half of what two opposite dents take of a taut tube, (pi/4) s^2 with s = 2 delta.

    Parameters
    ----------
    dent, set_dent : float
        The dent under load, and the permanent one beneath it [mm].

    Returns
    -------
    float
        Area of both together less that of the permanent one [mm2].
    """
    total = set_dent + dent
    return math.pi / 2.0 * total * total - math.pi / 2.0 * set_dent * set_dent


def container_stiffness(
    constant: float,
    length: float,
    headspace: float,
    body_share: float,
    stretch: float,
    initial_pressure: float,
    share_lost: float,
) -> float:
    """Give the stiffness k of each contact of a container that has lost a share of its area.

    Parameters
    ----------
    constant : float
        Constant part k_0 [mN/mm].
    length : float
        Length of wall under gas pressure [mm]; 0 if the stiffness is constant.
    headspace, body_share : float
        Shares of the volume inside that are gas, and that are within the straight body [-].
    stretch : float
        Share of the volume by which pressure expands the wall [1/kPa].
    initial_pressure : float
        Absolute pressure without load [kPa].
    share_lost : float
        Share of the area of the round section that is lost [-]; above 1 it counts as 1.

    Returns
    -------
    float
        The constant part if the length is 0, else `MIN_STIFFNESS` at least [mN/mm]. 1 kPa is 1 mN/mm2.
    """
    if length <= 0.0:
        return constant
    pressure = sealed_pressure(min(share_lost, 1.0), headspace, body_share, stretch, initial_pressure)
    return max(MIN_STIFFNESS, constant + math.pi * pressure * length)


def stiffness_at(stiffness: float, dent: float, set_dent: float, set_fraction: float) -> float:
    """Give the stiffness of one contact, force over dent, from that of its container.

    A flat set by ``set_dent``, the fraction ``set_fraction`` of the dent under the load that set it, bears that load
    again at the same total dent. From there on the force is k times the total dent; below, it is reduced in proportion
    to the dent, down to zero at first touch.

    Parameters
    ----------
    stiffness : float
        Stiffness k of each contact of the container [mN/mm].
    dent : float
        Dent at this contact, on top of the permanent one [mm].
    set_dent : float
        Permanent dent at this contact, by `set_dent_at` [mm].
    set_fraction : float
        Share of a flat that is permanent once the load is gone [-]; above 0 where there is a permanent dent.

    Returns
    -------
    float
        [mN/mm]
    """
    if set_dent <= 0.0:
        return stiffness
    ramp = set_dent * max(1.0 / set_fraction - 1.0, MIN_RAMP)
    return stiffness * (set_dent + dent) / max(dent, ramp)


def lag_exponent(step: float) -> float:
    """Give the exponent of `lagged_stiffness` for a time step.

    Parameters
    ----------
    step : float
        Time step [s].

    Returns
    -------
    float
        From 0 to 1 [-].
    """
    return -math.expm1(-step / LAG_TIME)


def lagged_stiffness(lagged: float, stiffness: float, exponent: float) -> float:
    """Give the low-pass filtered stiffness of a container after a step, by which overlaps are divided.

    It follows the stiffness with the time constant `LAG_TIME`. With the stiffness of the last step instead, the dents
    of two containers whose stiffness grows faster than the dent oscillate with growing amplitude.

    Parameters
    ----------
    lagged : float
        Filtered stiffness before the step [mN/mm].
    stiffness : float
        Stiffness that it follows [mN/mm].
    exponent : float
        Of the time step, by `lag_exponent` [-].

    Returns
    -------
    float
        [mN/mm]
    """
    return float(lagged * (stiffness / lagged) ** exponent)


def overlap_share(first: float, second: float) -> float:
    """Give the share of an overlap that dents the first of two springs in series.

    Parameters
    ----------
    first, second : float
        Their stiffnesses [mN/mm].

    Returns
    -------
    float
        [-]
    """
    return second / (first + second)


def series_stiffness(first: float, second: float) -> float:
    """Give the stiffness of two springs in series.

    Parameters
    ----------
    first, second : float
        Their stiffnesses [mN/mm].

    Returns
    -------
    float
        [mN/mm]
    """
    return first * second / (first + second)


def bulge_per_side(height_lost: float) -> float:
    """Give by how much a container widens on each side when it loses height: 0.285 of it, as a taut tube.

    Parameters
    ----------
    height_lost : float
        [mm]

    Returns
    -------
    float
        [mm]
    """
    return BULGE_SHARE / 2.0 * height_lost


def pair_damping(first: float, second: float) -> float:
    """Give the damping ratio of a contact: the mean of two containers, or that of the one container.

    Parameters
    ----------
    first : float
        Damping ratio of the first body, a container [-].
    second : float
        That of the second body [-]; negative for a rigid part.

    Returns
    -------
    float
        [-]
    """
    return first if second < 0.0 else (first + second) / 2.0


def damping_coefficient(stiffness: float, inverse_mass: float, damping: float) -> float:
    """Give the coefficient c of a damper from its damping ratio: c = 2 zeta sqrt(k m).

    Parameters
    ----------
    stiffness : float
        Stiffness k of the spring beside it [mN/mm].
    inverse_mass : float
        1/m, of the effective mass of the contact [1/kg].
    damping : float
        Damping ratio zeta [-].

    Returns
    -------
    float
        [mN s/mm]
    """
    return 2.0 * damping * math.sqrt(stiffness / inverse_mass)


def contact_damper(stiffness: float, weight: float, inverse_mass: float, damping: float) -> float:
    """Give the coefficient of the damper of one point of contact.

    The points of one pair carry the weights (sum 1) of one spring and one damper.

    Parameters
    ----------
    stiffness : float
        Stiffness of this point alone [mN/mm].
    weight : float
        Weight of this point, above 0 [-].
    inverse_mass : float
        1/m, of the effective mass at this point [1/kg].
    damping : float
        Damping ratio of the pair [-].

    Returns
    -------
    float
        [mN s/mm]
    """
    return weight * damping_coefficient(stiffness / weight, inverse_mass, damping)


def normal_force(stiffness: float, damper: float, overlap: float, separation_speed: float) -> float:
    """Give the normal force of spring and damper, which is never negative.

    Parameters
    ----------
    stiffness : float
        Of the spring [mN/mm].
    damper : float
        Coefficient of the damper [mN s/mm].
    overlap : float
        [mm]
    separation_speed : float
        Positive when the bodies move apart [mm/s].

    Returns
    -------
    float
        [mN]
    """
    return max(0.0, stiffness * overlap - damper * separation_speed)


def implicit_damper(stiffness: float, damper: float, inverse_mass: float, step: float) -> float:
    """Give the coefficient B of the end-of-step speed in an implicit step over spring and damper.

    The force over a step is k x - (c - B) v - B v', with overlap x and speed v at its start and v' at its end. B = c/2
    is the trapezoidal rule, second order in the step h. B >= h k/2 keeps stiff springs stable. B >= c - m/h keeps a
    damper that would stop the contact within one step from reversing its speed.

    Parameters
    ----------
    stiffness : float
        Stiffness k of the spring [mN/mm].
    damper : float
        Coefficient c of the damper [mN s/mm].
    inverse_mass : float
        1/m, of the effective mass of the contact [1/kg].
    step : float
        Time step h [s].

    Returns
    -------
    float
        [mN s/mm]
    """
    return max(damper / 2.0, step * stiffness / 2.0, damper - 1.0 / (inverse_mass * step))


def tangential_stiffness(stiffness: float, ratio: float) -> float:
    """Give the stiffness of a tangential spring from the normal stiffness.

    Parameters
    ----------
    stiffness : float
        Normal stiffness [mN/mm]; below `MIN_TANGENTIAL_STIFFNESS` it counts as that.
    ratio : float
        Tangential over normal stiffness [-].

    Returns
    -------
    float
        [mN/mm]
    """
    return ratio * max(stiffness, MIN_TANGENTIAL_STIFFNESS)


def friction_force(
    stiffness: float, slip: float, inverse_mass: float, sliding_speed: float, limit: float
) -> tuple[float, float]:
    """Give the friction force of a tangential spring and its damper, and the new stretch of the spring.

    Parameters
    ----------
    stiffness : float
        Of the tangential spring [mN/mm].
    slip : float
        Its stretch with the sliding of this step, before Coulomb's limit [mm].
    inverse_mass : float
        1/m, of the effective mass in the tangential direction [1/kg].
    sliding_speed : float
        [mm/s]
    limit : float
        Coulomb's limit, friction times normal force [mN].

    Returns
    -------
    tuple of (float, float)
        Friction force [mN] and stretch [mm]. Beyond the limit the spring slides, and has the stretch that gives the
        limit.
    """
    damper = damping_coefficient(stiffness, inverse_mass, TANGENTIAL_DAMPING)
    force = -stiffness * slip - damper * sliding_speed
    if abs(force) <= limit:
        return force, slip
    force = min(max(force, -limit), limit)
    return force, -force / stiffness
