"""How sure an answer is, and what would make it surer."""

from __future__ import annotations

import math
from enum import StrEnum

from colsim.sampling.fills import Fills, level_of_sequence
from colsim.sampling.sequences import fills_needed
from colsim.sampling.targets import target_per_fill

__all__ = ["Status", "fills_to_settle", "judged"]


class Status(StrEnum):
    """How sure an answer is."""

    MEETS = "meets"
    FAILS = "fails"
    UNDECIDED = "undecided"
    DEPENDS = "depends"
    NOT_CHECKED = "not checked"
    NOT_APPLICABLE = "not applicable"


def judged(fills: Fills, level: float) -> Status:
    """Tell whether fills show that the target is met, or that it is not.

    Parameters
    ----------
    fills : Fills
        Of one scenario, whose target counts.
    level : float
        Confidence [-].

    Returns
    -------
    Status
        ``meets``, ``fails`` or ``undecided``.

    Raises
    ------
    ScenarioError
        If the level is not between 0 and 1.
    """
    target = fills.scenario.target
    estimate = fills.risk_looking_often(level=level).per(target.unit)
    if estimate.high <= target.limit:
        return Status.MEETS
    return Status.FAILS if estimate.low > target.limit else Status.UNDECIDED


def fills_to_settle(fills: Fills, level: float) -> int | None:
    """Estimate how many fills in all would settle what these leave undecided.

    Parameters
    ----------
    fills : Fills
        Undecided ones.
    level : float
        Confidence [-].

    Returns
    -------
    int or None
        [fills] If failures go on at this rate; None if no number would, because the risk is about the target itself.

    Raises
    ------
    ScenarioError
        If the level is not between 0 and 1.
    """
    rate = fills.risk().per_fill.rate
    guess = 0.5 if math.isnan(rate) else rate
    return fills_needed(guess, level=level_of_sequence(level), target=target_per_fill(fills.scenario))
