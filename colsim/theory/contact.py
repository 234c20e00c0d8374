"""A contact of spring and damper, in closed form."""

from __future__ import annotations

import math

from scipy.optimize import brentq

from colsim.theory._checks import require, require_positive

__all__ = [
    "MAX_DAMPING",
    "contact_time",
    "damping_ratio",
    "greatest_overlap",
    "in_series",
    "restitution",
    "skin_stiffness",
    "three_flats_ratio",
]

MAX_DAMPING = 2.0
"""Greatest damping ratio used [-], of restitution 0.048; no finite damping ratio gives a restitution of 0."""


def _arccos_ratio(damping: float) -> float:
    """Give arccos(zeta)/sqrt(1 - zeta^2); above 1 it is arcosh(zeta)/sqrt(zeta^2 - 1)."""
    difference = 1.0 - damping**2
    if abs(difference) < 1e-9:
        return 1.0
    if difference > 0:
        return math.acos(damping) / math.sqrt(difference)
    return math.acosh(damping) / math.sqrt(-difference)


def restitution(damping: float) -> float:
    r"""Give the restitution of a damped linear spring without adhesion.

    .. math:: e = \exp\left(-\frac{2 \zeta \arccos \zeta}{\sqrt{1 - \zeta^2}}\right)

    Parameters
    ----------
    damping : float
        Damping ratio zeta = c / (2 sqrt(k m)), 0 or more [-].

    Returns
    -------
    float
        Restitution e [-].

    Raises
    ------
    RangeError
        If the damping ratio is below 0 or not finite.

    Notes
    -----
    Contact ends when the force k x + c v falls to zero, before the overlap does. With adhesion until the overlap is
    zero the restitution would be lower, exp(-pi zeta / sqrt(1 - zeta^2)).

    References
    ----------
    Linear spring and dashpot: Schaefer, Dippel, Wolf, J. Phys. I France 6 (1996) 5. The end at zero force is derived:
    it comes at the phase omega t = 2 arccos(zeta), where the speed is that of impact times exp(-zeta omega_0 t).

    Examples
    --------
    >>> restitution(0.0), round(restitution(1.0), 4)
    (1.0, 0.1353)
    """
    require(
        math.isfinite(damping) and damping >= 0, f"damping must be 0 or more: got {damping!r}. Give c/(2 sqrt(k m))"
    )
    return math.exp(-2.0 * damping * _arccos_ratio(damping))


def damping_ratio(wanted: float) -> float:
    """Give the damping ratio zeta of a spring without adhesion that has a restitution.

    Parameters
    ----------
    wanted : float
        Restitution e, 0 to 1 [-].

    Returns
    -------
    float
        Damping ratio zeta [-]: at most `MAX_DAMPING`, also for a restitution below 0.048.

    Raises
    ------
    RangeError
        If not 0 <= e <= 1.

    Notes
    -----
    The inverse of `restitution`.

    Examples
    --------
    >>> round(damping_ratio(0.2), 3)
    0.731
    """
    require(0 <= wanted <= 1, f"restitution must be between 0 and 1: got {wanted!r}. Take rebound over impact speed")
    if wanted <= restitution(MAX_DAMPING):
        return MAX_DAMPING
    return float(brentq(lambda damping: restitution(damping) - wanted, 0.0, MAX_DAMPING))


def contact_time(stiffness: float, mass: float, damping: float = 0.0) -> float:
    r"""Give the contact time of a body that hits a damped spring without adhesion.

    .. math:: t = \frac{2 \arccos \zeta}{\omega_0 \sqrt{1 - \zeta^2}}, \qquad \omega_0 = \sqrt{k/m}

    Parameters
    ----------
    stiffness : float
        Stiffness k [N/mm].
    mass : float
        Mass m of the body, or effective mass 1/(1/m1 + 1/m2) of two [kg].
    damping : float
        Damping ratio zeta [-].

    Returns
    -------
    float
        Contact time [s]; half a period without damping.

    Raises
    ------
    RangeError
        If stiffness or mass is not positive and finite, or the damping ratio below 0 or not finite.

    References
    ----------
    As `restitution`; without gravity.

    Examples
    --------
    >>> round(1000 * contact_time(140.0, 0.54), 2)
    6.17
    """
    require_positive(stiffness=stiffness, mass=mass)
    restitution(damping)
    return 2.0 * _arccos_ratio(damping) / math.sqrt(1000.0 * stiffness / mass)


def greatest_overlap(speed: float, stiffness: float, mass: float, damping: float = 0.0) -> float:
    r"""Give the greatest overlap of a body that hits a damped spring.

    .. math:: x = \frac{v}{\omega_0} \exp\left(-\frac{\zeta \arccos \zeta}{\sqrt{1 - \zeta^2}}\right)

    Parameters
    ----------
    speed : float
        Speed of impact v [mm/s].
    stiffness, mass, damping : float
        As for `contact_time` [N/mm, kg, -].

    Returns
    -------
    float
        Greatest overlap [mm].

    Raises
    ------
    RangeError
        As `contact_time`, or if the speed is below 0 or not finite.

    References
    ----------
    As `restitution`: v/omega_0 without damping.

    Examples
    --------
    >>> round(greatest_overlap(100.0, 140.0, 0.54), 3)
    0.196
    """
    require_positive(stiffness=stiffness, mass=mass)
    require(math.isfinite(speed) and speed >= 0, f"speed must be 0 mm/s or more: got {speed!r}. Give that of approach")
    return speed / math.sqrt(1000.0 * stiffness / mass) * math.sqrt(restitution(damping))


def in_series(first: float, second: float) -> float:
    """Give the stiffness of two springs in series, k1 k2/(k1 + k2).

    Parameters
    ----------
    first, second : float
        Their stiffnesses k1 and k2 [N/mm].

    Returns
    -------
    float
        [N/mm]

    Raises
    ------
    RangeError
        If one is not positive and finite.

    Examples
    --------
    >>> in_series(140.0, 140.0)
    70.0
    """
    require_positive(first=first, second=second)
    return first * second / (first + second)


def skin_stiffness(pressure: float, length: float) -> float:
    r"""Give the stiffness of one contact of a membrane under pressure.

    .. math:: k = \pi\,p\,L, \qquad F = k\,\delta

    Parameters
    ----------
    pressure : float
        Gauge pressure p [kPa].
    length : float
        Length L of the contact along the axis [mm].

    Returns
    -------
    float
        Force over the dent delta of this one contact [N/mm]; the stiffness between two boards is half of it.

    Raises
    ------
    RangeError
        If a number is not positive and finite.

    Notes
    -----
    Exact for two opposite contacts, whose dents are half the height lost each; see `three_flats_ratio` for three.

    References
    ----------
    Membrane theory, as `theory.squeeze.stadium_force`: F = p b L, b = pi s/2, s = 2 delta.

    Examples
    --------
    >>> round(skin_stiffness(300.0, 150.0), 1)
    141.4
    """
    require_positive(pressure=pressure, length=length)
    return math.pi * pressure / 1000.0 * length


def three_flats_ratio() -> float:
    r"""Give the stiffness of three equal contacts at 120 degrees over that of independent dents.

    .. math:: \frac{N}{\pi p L \delta} = \left[\pi \left(\frac{3}{2\pi} - \frac{1}{2\sqrt 3}\right)\right]^{-1}

    Returns
    -------
    float
        Ratio of the stiffnesses [-].

    Notes
    -----
    Three flats b leave corners of radius r = R - 3 b/(2 pi); the triangle of edges b has its edges b/(2 sqrt 3) from
    its middle, so each flat lies r + b/(2 sqrt 3) from the axis and its dent is (3/(2 pi) - 1/(2 sqrt 3)) b.

    Examples
    --------
    >>> round(three_flats_ratio(), 3)
    1.686
    """
    return 1.0 / (math.pi * (3.0 / (2.0 * math.pi) - 1.0 / (2.0 * math.sqrt(3.0))))
