"""Comparing two designs on common draws: only fills in which one fails and the other does not tell them apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import bdtr, betaln

from colsim.errors import ScenarioError

__all__ = ["Pairs", "e_value", "mcnemar"]


@dataclass(frozen=True)
class Pairs:
    """Fills of two designs on the same draws.

    Attributes
    ----------
    fills : int
        Pairs of valid fills.
    only_first, only_second : int
        Pairs in which only the first, or only the second, failed.
    """

    fills: int
    only_first: int
    only_second: int

    @property
    def p_value(self) -> float:
        """Exact McNemar test, for a number of fills fixed beforehand."""
        return mcnemar(self.only_first, self.only_second)

    @property
    def e_value(self) -> float:
        """Evidence that they differ, which may be looked at as often as one likes."""
        return e_value(self.only_first, self.only_second)


def mcnemar(only_first: int, only_second: int) -> float:
    """Test whether two paired designs fail equally often, exactly.

    Parameters
    ----------
    only_first, only_second : int
        Discordant pairs of each kind.

    Returns
    -------
    float
        Two-sided p-value [-], at a number of pairs that was fixed beforehand.

    Raises
    ------
    ScenarioError
        If a count is negative.

    References
    ----------
    McNemar, Psychometrika 12 (1947) 153; the exact form is the binomial sign test.

    Examples
    --------
    >>> round(mcnemar(1, 9), 4)
    0.0215
    """
    _require(only_first, only_second)
    n = only_first + only_second
    return min(1.0, 2.0 * float(bdtr(min(only_first, only_second), n, 0.5))) if n else 1.0


def e_value(only_first: int, only_second: int) -> float:
    r"""Give the evidence that two paired designs do not fail equally often, valid at any look.

    .. math:: E = \frac{B(a + n_{10}, a + n_{01})}{B(a, a)}\, 2^{n_{10} + n_{01}}, \quad a = 1/2

    Parameters
    ----------
    only_first, only_second : int
        Discordant pairs of each kind, :math:`n_{10}` and :math:`n_{01}`.

    Returns
    -------
    float
        [-] If they fail equally often, the chance that this ever reaches :math:`1/\alpha` is at most :math:`\alpha`.

    Raises
    ------
    ScenarioError
        If a count is negative.

    Examples
    --------
    >>> e_value(0, 0)
    1.0
    """
    _require(only_first, only_second)
    a = 0.5
    log = float(betaln(a + only_first, a + only_second) - betaln(a, a)) + (only_first + only_second) * math.log(2.0)
    return math.exp(min(log, 700.0))


def _require(only_first: int, only_second: int) -> None:
    if only_first < 0 or only_second < 0:
        raise ScenarioError(f"pairs: got {only_first} and {only_second}; allowed: 0 or more of each")
