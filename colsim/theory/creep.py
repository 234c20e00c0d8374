"""Creep modulus of plastic as a power of time."""

from __future__ import annotations

import math

from colsim.theory._checks import require, require_not_negative, require_positive

__all__ = ["REFERENCE_TIME", "creep_modulus"]

REFERENCE_TIME = 1.0
"""Duration of the short-term test that gives Young's modulus [min], assumed; about that of a squeeze test."""


def creep_modulus(modulus: float, time: float, exponent: float) -> float:
    r"""Give the creep modulus, stress over strain of plastic under a steady load after some time.

    .. math:: E(t) = E \left(\frac{t}{t_0}\right)^{-n}, \qquad t \ge t_0 = 1\ \text{min}

    Parameters
    ----------
    modulus : float
        Young's modulus E of a short-term test [MPa].
    time : float
        Time t under load [min]; below `REFERENCE_TIME` the modulus is E.
    exponent : float
        Creep exponent n [-]: ten times the time divides the modulus by 10 to the power n; 0 for no creep.

    Returns
    -------
    float
        Creep modulus E(t) [MPa].

    Raises
    ------
    RangeError
        If the modulus is not positive and finite, the time negative or not finite, or not 0 <= n < 1.

    Notes
    -----
    Steady load and temperature, stress far below yield. Findley's law adds a strain that does not depend on time to one
    that grows as a power of it; over the decades from a minute to a year their sum lies near one power with a smaller
    exponent, which is n here. A change of load at the end of the time meets the short-term modulus; the creep modulus
    for it is a soft bound. Poisson's ratio hardly changes with time.

    References
    ----------
    Findley, Lai and Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials (1976), from memory. Journal of
    the Society of Materials Science, Japan 25 (1976) 706 (abstract): log of the creep compliance over log of time is a
    straight line for polycarbonate, steeper when warmer. Poisson's ratio: Bogy, Bugdayci and Talke, Experimental
    determination of creep functions for thin orthotropic polymer films, on stretched polyester (abstract).

    Examples
    --------
    >>> round(creep_modulus(3000.0, 30 * 24 * 60, 0.03))
    2178
    """
    require_positive(modulus=modulus)
    require_not_negative(time=time)
    require(
        math.isfinite(exponent) and 0 <= exponent < 1,
        f"exponent must be at least 0 and below 1: got {exponent!r}. Plastics have 0.01 to 0.1; give 0 for no creep",
    )
    return float(modulus * max(1.0, time / REFERENCE_TIME) ** -exponent)
