"""Intervals for risks, with the fill as the unit.

Vends of one fill share their container, friction and loading, so a binomial over pooled vends is too sure of
itself: with failures that cluster by fill it covered as little as 63 % of the time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from scipy.special import betaincinv

from colsim.errors import ScenarioError

__all__ = ["Estimate", "Risk", "clopper_pearson", "per_fill", "per_vend"]


@dataclass(frozen=True)
class Estimate:
    """A rate with its interval and what was counted over what.

    Attributes
    ----------
    unit : str
        ``"fill"`` (share of fills) or ``"vend"`` (share of vends).
    outcome : str
        What was counted.
    failures, fills, vends : int
        Fills with the outcome, fills simulated, vends simulated up to each fill's first failure.
    rate : float
        Best guess [-]; nan if no fill was valid.
    low, high : float
        Interval [-]: invalid fills count as clean in the lower bound and as failed in the upper.
    level : float
        Confidence of the interval.
    method : str
        How the interval was made.
    """

    unit: str
    outcome: str
    failures: int
    fills: int
    vends: int
    rate: float
    low: float
    high: float
    level: float
    method: str

    def __str__(self) -> str:
        return f"{self.rate:.3g} ({self.low:.3g} to {self.high:.3g}) a {self.unit}"


@dataclass(frozen=True)
class Risk:
    """The risk of one outcome, per fill and per vend."""

    per_fill: Estimate
    per_vend: Estimate

    def per(self, unit: Literal["vend", "fill"]) -> Estimate:
        """Give the one of both that a target in this unit limits.

        Parameters
        ----------
        unit : {"vend", "fill"}
            As of `Target.unit`.

        Returns
        -------
        Estimate
            Of the share of vends, or of fills [-].
        """
        return self.per_vend if unit == "vend" else self.per_fill


def clopper_pearson(failures: int, trials: int, level: float = 0.95) -> tuple[float, float]:
    """Give the exact two-sided interval of a probability from independent trials.

    Parameters
    ----------
    failures, trials : int
        Counted over.
    level : float
        Confidence [-], between 0 and 1.

    Returns
    -------
    (float, float)
        Lower and upper bound [-]; 0 to 1 without trials.

    Raises
    ------
    ScenarioError
        If the counts or the level make no sense.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934) 404.

    Examples
    --------
    >>> [round(bound, 4) for bound in clopper_pearson(81, 263)]
    [0.2527, 0.3676]
    """
    if not 0 <= failures <= trials:
        raise ScenarioError(f"failures: got {failures} of {trials}; allowed: from 0 to the number of trials")
    if not 0 < level < 1:
        raise ScenarioError(f"level: got {level!r}; allowed: above 0 and below 1")
    tail = (1 - level) / 2
    low = float(betaincinv(failures, trials - failures + 1, tail)) if failures else 0.0
    high = float(betaincinv(failures + 1, trials - failures, 1 - tail)) if failures < trials else 1.0
    return low, high


def per_fill(outcome: str, failures: int, fills: int, invalid: int, *, vends: int, level: float) -> Estimate:
    """Estimate the share of fills that meet an outcome.

    Parameters
    ----------
    outcome : str
        What was counted.
    failures, fills, invalid : int
        Valid fills with the outcome, all fills, and those that are invalid.
    vends : int
        Vends up to each fill's first failure.
    level : float
        Confidence [-].

    Returns
    -------
    Estimate
        [-]

    Raises
    ------
    ScenarioError
        If the counts or the level make no sense.
    """
    valid = fills - invalid
    return Estimate(
        unit="fill",
        outcome=outcome,
        failures=failures,
        fills=fills,
        vends=vends,
        rate=failures / valid if valid else math.nan,
        low=clopper_pearson(failures, fills, level)[0],
        high=clopper_pearson(failures + invalid, fills, level)[1],
        level=level,
        method="exact (Clopper-Pearson), fills",
    )


def per_vend(
    of_fills: Estimate, most: int, *, least: int | None = None, any_failure: Estimate | None = None
) -> Estimate:
    """Estimate an outcome over vends, from the shares of fills that end with it and with any failure.

    A fill that fails has made between 1 and n vends, a clean one between m and n. With a share f of fills that fail at
    all, a share q that fails by this outcome makes q / n <= R <= q / (m - (m - 1) f), whatever fills have in common
    within.

    Parameters
    ----------
    of_fills : Estimate
        Share q of fills whose first failure is this outcome.
    most : int
        Vends of a clean fill that was loaded in full, n.
    least : int, optional
        Fewest vends that a clean fill makes, m, where some found no room for all; n if not given.
    any_failure : Estimate, optional
        Share f of fills that fail at all; not given where any failure is the outcome.

    Returns
    -------
    Estimate
        Of vends [-], at the level of the two, if they are the same; else their errors add up.
    """
    m, f = most if least is None else least, (any_failure or of_fills).high
    return replace(
        of_fills,
        unit="vend",
        rate=of_fills.failures / of_fills.vends if of_fills.vends else math.nan,
        low=of_fills.low / most,
        high=min(1.0, of_fills.high / (m - (m - 1) * f)),
        method=f"bound from the interval over fills: {of_fills.method}",
    )
