"""Which counts can be looked at: what the measurements leave room for, and what topping up asks."""

from __future__ import annotations

from collections.abc import Sequence

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.model.loading import MOST_CONTAINERS
from colsim.sampling.checks import require_list, require_whole

__all__ = ["COUNT", "greatest_count", "named_counts", "possible_counts", "require_one_kind"]

COUNT = "loading.count"


def require_one_kind(scenario: Scenario) -> None:
    """Refuse several kinds of container.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Raises
    ------
    ScenarioError
        If its loading is in layers.
    """
    if scenario.loading.layers:
        raise ScenarioError(
            f"loading.layers: got {scenario.load}; allowed: one kind, as loading.count, since how many of which to "
            "leave out is not settled by a count; describe each kind alone and find its count"
        )


def _least(scenario: Scenario) -> int:
    """Give the least count that can be topped up as the scenario says."""
    return 1 + (scenario.loading.top_up_at or 0)


def greatest_count(scenario: Scenario) -> int:
    """Give the greatest count that the measurements allow, at all ends of what varies or is unknown.

    Parameters
    ----------
    scenario : Scenario
        Its own count can always be.

    Returns
    -------
    int
    """
    greatest = min(scenario.greatest_count(), MOST_CONTAINERS)
    return next(count for count in range(greatest, 0, -1) if _can_be_described(scenario, count))


def _can_be_described(scenario: Scenario, count: int) -> bool:
    """Tell whether the measurements leave room for so many; its own count always can."""
    try:
        scenario.changed(**{COUNT: count})
    except ScenarioError:
        return False
    return True


def possible_counts(scenario: Scenario) -> tuple[int, ...]:
    """List all counts that can be, from the least that can be topped up as the scenario says.

    Parameters
    ----------
    scenario : Scenario
        What was measured.

    Returns
    -------
    tuple of int
    """
    return tuple(range(_least(scenario), greatest_count(scenario) + 1))


def named_counts(scenario: Scenario, counts: Sequence[int]) -> tuple[int, ...]:
    """Check the counts that were named, and put each once and in order.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    counts : sequence of int
        In any order [containers].

    Returns
    -------
    tuple of int

    Raises
    ------
    ScenarioError
        If there are none, one is no whole number, cannot be topped up as the scenario says, or finds no room.
    """
    listed = require_list("counts", counts, "[8, 10, 12]")
    named = tuple(sorted({require_whole("counts", count, least=1) for count in listed}))
    least, most = _least(scenario), greatest_count(scenario)
    if named[0] < least:
        raise ScenarioError(
            f"counts: got {named[0]}; allowed: {least} or more, since the column is filled up again at "
            f"{least - 1} left; name greater counts or change loading.top_up_at"
        )
    if named[-1] > most:
        raise ScenarioError(
            f"counts: got {named[-1]}; allowed: at most {most}, for which there is room; name smaller counts or "
            "measure column.height again"
        )
    return named
