"""Paired outcomes of two engines on the same draws: the interval of the difference of their rates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri

__all__ = ["Compared", "compare", "difference_interval"]

ERROR = 0.05  # that all intervals of a comparison share


def difference_interval(fills: int, only_first: int, only_second: int, confidence: float) -> tuple[float, float]:
    """Give the score interval of the difference of two paired rates.

    Tango, Statistics in Medicine 17 (1998) 891: differences that the score test does not reject, with the chance of
    the rarer discordance estimated under each.
    """
    z = float(ndtri(1 - (1 - confidence) / 2))

    def score(delta: float) -> float:
        # Root of the likelihood equation for the chance of "only second", at this difference.
        a, b = 2 * fills, -only_first - only_second + (2 * fills - only_first + only_second) * delta
        c = -only_second * delta * (1 - delta)
        rare = (np.sqrt(max(b * b - 4 * a * c, 0.0)) - b) / (2 * a)
        variance = fills * (2 * rare + delta * (1 - delta))
        gap = only_first - only_second - fills * delta
        if variance <= 0:
            return 0.0 if gap == 0 else float(np.copysign(np.inf, gap))
        return float(gap / np.sqrt(variance))

    middle, edge = (only_first - only_second) / fills, 1 - 1e-9
    low = -1.0 if score(-edge) < z else brentq(lambda delta: min(score(delta), 1e6) - z, -edge, middle)
    high = 1.0 if score(edge) > -z else brentq(lambda delta: max(score(delta), -1e6) + z, middle, edge)
    return float(low), float(high)


@dataclass(frozen=True)
class Compared:
    """What the engines make of one scene on the same draws."""

    fills: int
    ours: int
    other: int
    only_ours: int
    only_other: int
    low: float
    high: float
    within: float

    @property
    def agree(self) -> bool:
        """Whether the whole interval of the difference lies within so many points."""
        return self.low > -self.within and self.high < self.within

    @property
    def differ(self) -> bool:
        """Whether the whole interval of the difference lies beyond so many points."""
        return self.low > self.within or self.high < -self.within

    @property
    def verdict(self) -> str:
        """Whether they agree, in words."""
        return "agree" if self.agree else "differ" if self.differ else "not shown to agree"

    @property
    def difference(self) -> str:
        """The interval of the difference, in words."""
        return f"{self.low:+.3f} to {self.high:+.3f}"


def compare(outcomes: Sequence[tuple[bool, bool]], comparisons: int, within: float) -> Compared:
    """Compare paired outcomes; the error allowed is shared among so many comparisons."""
    ours, other = np.array(outcomes, dtype=bool).T
    only_ours, only_other = int((ours & ~other).sum()), int((other & ~ours).sum())
    low, high = difference_interval(len(ours), only_ours, only_other, 1 - ERROR / comparisons)
    return Compared(len(ours), int(ours.sum()), int(other.sum()), only_ours, only_other, low, high, within)
