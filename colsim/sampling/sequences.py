"""Intervals that hold however often one looks, so that simulating may stop when the answer is clear.

An exact interval at a fixed number of fills is too sure of itself when it is looked at again and again until it
says something: with 60 looks it covered as little as 69 % of the time.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import betaln

from colsim.errors import ScenarioError

__all__ = ["betting_sequence", "clean_fills_needed", "confidence_sequence", "fills_needed"]

_TINY = 1e-12
_BETS = np.geomspace(0.01, 0.95, 24)  # shares of the greatest bet; any fixed set is valid
MOST_FILLS = 200_000  # beyond which no number of fills is named


def confidence_sequence(failures: int, trials: int, *, level: float, target: float) -> tuple[float, float]:
    r"""Bound a probability from independent trials, at every number of trials at once.

    With :math:`a = 1/2` and :math:`b = 1/(2\,target)`, keeps every p for which

    .. math:: \ln B(a + S, b + F) - \ln B(a, b) - S \ln p - F \ln(1 - p) < \ln(1/\alpha)

    Parameters
    ----------
    failures, trials : int
        S, and S + F.
    level : float
        Confidence :math:`1 - \alpha` [-], that p lies within at every look.
    target : float
        Probability about which the answer turns [-]; the bounds are sharpest near it, and valid for any.

    Returns
    -------
    (float, float)
        Lower and upper bound [-].

    Raises
    ------
    ScenarioError
        If counts, level or target make no sense.

    References
    ----------
    Ville's inequality for the beta-binomial mixture: Robbins, Annals of Mathematical Statistics 41 (1970) 1397, from
    memory.

    Examples
    --------
    >>> [round(bound, 3) for bound in confidence_sequence(0, 341, level=0.95, target=0.012)]
    [0.0, 0.012]
    """
    _require(failures, trials, level, target)
    a, b = 0.5, 0.5 / target
    clean = trials - failures
    mixture = float(betaln(a + failures, b + clean) - betaln(a, b)) + math.log(1 - level)

    def excess(p: float) -> float:
        kept = (failures * math.log(p) if failures else 0.0) + (clean * math.log1p(-p) if clean else 0.0)
        return mixture - kept

    middle = min(max(failures / trials if trials else 0.5, _TINY), 1 - _TINY)
    low = _crossing(excess, _TINY, middle) if failures else 0.0
    high = _crossing(excess, 1 - _TINY, middle) if clean else 1.0
    return low, high


def _crossing(excess: Callable[[float], float], outside: float, inside: float) -> float:
    """Find where a value turns from kept (at or below 0) to dropped, or how far it is kept at all."""
    if excess(outside) <= 0.0:
        return 0.0 if outside < inside else 1.0
    if excess(inside) > 0.0:  # rounding, where both lie at an end
        return inside
    return float(brentq(excess, min(outside, inside), max(outside, inside), xtol=1e-12))


def betting_sequence(
    counts: npt.ArrayLike, vends: npt.ArrayLike, *, most: int, most_vends: int, level: float
) -> tuple[float, float]:
    r"""Bound the ratio of two means over fills, such as failures over vends, at every number of fills at once.

    With :math:`Z_i = X_i - R V_i`, keeps every R for which no mixture of bets against it has grown
    :math:`1/\alpha`-fold:

    .. math:: \frac{1}{2G} \sum_g \prod_i (1 + g Z_i / (R n)) < 1/\alpha
       \quad\text{and}\quad \frac{1}{2G} \sum_g \prod_i (1 - g Z_i / (x - R)) < 1/\alpha

    Parameters
    ----------
    counts : array_like of int, shape (fills,)
        What is counted in each fill, X.
    vends : array_like of int, shape (fills,)
        Vends of each fill, V, at least 1.
    most : int
        Greatest X there can be, x.
    most_vends : int
        Greatest V there can be, n.
    level : float
        Confidence :math:`1 - \alpha` [-].

    Returns
    -------
    (float, float)
        Lower and upper bound of R [-].

    Raises
    ------
    ScenarioError
        If a count or level makes no sense.

    Notes
    -----
    Fills are independent; within a fill anything may depend on anything. The sum of both halves is a martingale at
    the true R, so each half alone passes the limit at most so often (Ville).
    """
    x, v = np.asarray(counts, dtype=float), np.asarray(vends, dtype=float)
    if x.shape != v.shape or np.any(v < 1) or np.any(v > most_vends) or np.any(x < 0) or np.any(x > most):
        raise ScenarioError(f"counts, vends: allowed: 0 to {most} counted over 1 to {most_vends} vends, for each fill")
    _require(0, 1, level, 0.5)
    if not x.size:
        return 0.0, float(most)
    pairs, times = np.unique(np.stack([x, v]), axis=1, return_counts=True)
    limit = math.log(2 * len(_BETS) / (1 - level))

    def against_large(ratio: float) -> float:
        gain = np.log1p(-np.outer(_BETS, (pairs[0] - ratio * pairs[1]) / (most - ratio)))
        return float(np.logaddexp.reduce(gain @ times)) - limit

    def against_small(ratio: float) -> float:
        gain = np.log1p(np.outer(_BETS, (pairs[0] / ratio - pairs[1]) / most_vends))
        return float(np.logaddexp.reduce(gain @ times)) - limit

    middle = min(max(float(x.sum() / v.sum()), _TINY), most * (1 - _TINY))
    low = _crossing(against_small, _TINY, middle) if x.any() else 0.0
    high = _crossing(against_large, most * (1 - _TINY), middle)
    return low, float(most) if high == 1.0 else high


def clean_fills_needed(*, level: float, target: float) -> int:
    """Count the fills without any failure that would bring the upper bound of `confidence_sequence` to the target.

    Parameters
    ----------
    level, target : float
        As there [-].

    Returns
    -------
    int
        [fills]

    Raises
    ------
    ScenarioError
        If the level or the target is not between 0 and 1.

    Examples
    --------
    >>> clean_fills_needed(level=0.95, target=0.012)
    341
    """
    return fills_needed(0.0, level=level, target=target) or MOST_FILLS


def fills_needed(rate: float, *, level: float, target: float) -> int | None:
    """Estimate after how many fills of a steady rate the interval would lie on one side of the target.

    Parameters
    ----------
    rate : float
        Share of fills that fail [-].
    level, target : float
        As for `confidence_sequence` [-].

    Returns
    -------
    int or None
        [fills] None if that takes more than 200,000: the risk is then about the target itself, and no simulation will
        tell.

    Raises
    ------
    ScenarioError
        If the rate, the level or the target makes no sense.
    """
    if not 0 <= rate <= 1:
        raise ScenarioError(f"rate: got {rate!r}; allowed: from 0 to 1")

    def clear(fills: int) -> bool:
        low, high = confidence_sequence(round(rate * fills), fills, level=level, target=target)
        return high <= target or low > target

    if not clear(MOST_FILLS):
        return None
    unclear, enough = 0, MOST_FILLS
    while enough - unclear > 1:
        middle = (unclear + enough) // 2
        unclear, enough = (unclear, middle) if clear(middle) else (middle, enough)
    return enough


def _require(failures: int, trials: int, level: float, target: float) -> None:
    if not 0 <= failures <= trials:
        raise ScenarioError(f"failures: got {failures} of {trials}; allowed: from 0 to the number of trials")
    for name, value in (("level", level), ("target", target)):
        if not 0 < value < 1:
            raise ScenarioError(f"{name}: got {value!r}; allowed: above 0 and below 1")
