"""A contact that gives way: spring and damper, in closed form."""

from __future__ import annotations

import math

from scipy.optimize import brentq

from colsim.theory._checks import require, require_positive

__all__ = [
    "GREATEST_DAMPING",
    "contact_time",
    "damping_ratio",
    "greatest_overlap",
    "in_series",
    "restitution",
    "skin_stiffness",
    "three_flats_ratio",
]

GREATEST_DAMPING = 2.0
"""Damping ratio of what hardly bounces [-]: it rebounds at 4.8 % of the speed; no dashpot on a spring takes it all."""


def _shape(damping: float) -> float:
    """Give arccos(zeta)/sqrt(1 - zeta^2), which goes on as arcosh(zeta)/sqrt(zeta^2 - 1) above 1."""
    off = 1.0 - damping**2
    if abs(off) < 1e-9:
        return 1.0
    return math.acos(damping) / math.sqrt(off) if off > 0 else math.acosh(damping) / math.sqrt(-off)


def restitution(damping: float) -> float:
    r"""Give the speed of rebound over that of impact of a damped linear spring that never pulls.

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
    Contact ends when the force k x + c v falls to zero, before the bodies part. If the spring were allowed to pull
    until they part, it would be exp(-pi zeta / sqrt(1 - zeta^2)), which is less.

    References
    ----------
    Linear spring and dashpot: Schaefer, Dippel, Wolf, J. Phys. I France 6 (1996) 5. The end at zero force is derived:
    the angle omega t at which it comes is 2 arccos(zeta), and the speed is then the one of impact times
    exp(-zeta omega_0 t).

    Examples
    --------
    >>> restitution(0.0), round(restitution(1.0), 4)
    (1.0, 0.1353)
    """
    require(
        math.isfinite(damping) and damping >= 0, f"damping must be 0 or more: got {damping!r}. Give c/(2 sqrt(k m))"
    )
    return math.exp(-2.0 * damping * _shape(damping))


def damping_ratio(wanted: float) -> float:
    """Give the damping ratio zeta with which a spring that never pulls has a restitution [-].

    Parameters
    ----------
    wanted : float
        Restitution, 0 to 1 [-].

    Returns
    -------
    float
        At most `GREATEST_DAMPING`, which a restitution below 0.048 is given too.

    Raises
    ------
    RangeError
        If not 0 <= restitution <= 1.

    Notes
    -----
    The inverse of `restitution`.

    Examples
    --------
    >>> round(damping_ratio(0.2), 3)
    0.731
    """
    require(0 <= wanted <= 1, f"restitution must be between 0 and 1: got {wanted!r}. Take rebound over impact speed")
    if wanted <= restitution(GREATEST_DAMPING):
        return GREATEST_DAMPING
    return float(brentq(lambda damping: restitution(damping) - wanted, 0.0, GREATEST_DAMPING))


def contact_time(stiffness: float, mass: float, damping: float = 0.0) -> float:
    r"""Give how long a body touches that runs into a damped spring which never pulls.

    .. math:: t = \frac{2 \arccos \zeta}{\omega_0 \sqrt{1 - \zeta^2}}, \qquad \omega_0 = \sqrt{k/m}

    Parameters
    ----------
    stiffness : float
        k [N/mm].
    mass : float
        m of the body, or 1/(1/m1 + 1/m2) of two [kg].
    damping : float
        Damping ratio zeta [-].

    Returns
    -------
    float
        [s]; without damping half a period.

    Raises
    ------
    RangeError
        If stiffness or mass is not positive, or the damping ratio below 0.

    References
    ----------
    As `restitution`; gravity is left out.

    Examples
    --------
    >>> round(1000 * contact_time(140.0, 0.54), 2)
    6.17
    """
    require_positive(stiffness=stiffness, mass=mass)
    restitution(damping)
    return 2.0 * _shape(damping) / math.sqrt(1000.0 * stiffness / mass)


def greatest_overlap(speed: float, stiffness: float, mass: float, damping: float = 0.0) -> float:
    r"""Give how deep a body goes into a damped spring.

    .. math:: x = \frac{v}{\omega_0} \exp\left(-\frac{\zeta \arccos \zeta}{\sqrt{1 - \zeta^2}}\right)

    Parameters
    ----------
    speed : float
        Of impact v [mm/s].
    stiffness, mass, damping
        As for `contact_time`.

    Returns
    -------
    float
        [mm]

    Raises
    ------
    RangeError
        As `contact_time`, or if the speed is below 0.

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
    """Give the stiffness of two springs that bear the same force one behind the other, k1 k2/(k1 + k2) [N/mm].

    Raises
    ------
    RangeError
        If one is not positive.

    Examples
    --------
    >>> in_series(140.0, 140.0)
    70.0
    """
    require_positive(first=first, second=second)
    return first * second / (first + second)


def skin_stiffness(pressure: float, length: float) -> float:
    r"""Give the stiffness of one contact of a taut skin under pressure.

    .. math:: k = \pi\,p\,L, \qquad F = k\,\delta

    Parameters
    ----------
    pressure : float
        Gauge pressure p [kPa].
    length : float
        Length L that touches along the axis [mm].

    Returns
    -------
    float
        [N/mm] of the dent delta of this one contact; between two boards it is half of that of the height lost.

    Raises
    ------
    RangeError
        If a number is not positive.

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
    r"""Give by how much three equal contacts at 120 degrees are stiffer than the law of independent dents says [-].

    .. math:: \frac{N}{\pi p L \delta} = \left[\pi \left(\frac{3}{2\pi} - \frac{1}{2\sqrt 3}\right)\right]^{-1}

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
