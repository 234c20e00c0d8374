"""The target of a scenario as shares of fills and of vends."""

from __future__ import annotations

from colsim.model import Scenario

__all__ = ["target_per_fill", "target_per_vend"]


def target_per_fill(scenario: Scenario) -> float:
    """Give the share of fills that may fail: as set, or as many as keep within the share of vends that was set.

    Parameters
    ----------
    scenario : Scenario
        With its target.

    Returns
    -------
    float
        [-]
    """
    target, n = scenario.target, scenario.loading.vends
    if target.failures_per_fill is not None:
        return target.failures_per_fill
    return target.failures_per_vend * n / (1 + (n - 1) * target.failures_per_vend)


def target_per_vend(scenario: Scenario) -> float:
    """Give the share of vends that may fail: as set, or as many as keep within the share of fills that was set.

    Parameters
    ----------
    scenario : Scenario
        With its target.

    Returns
    -------
    float
        [-]
    """
    target, n = scenario.target, scenario.loading.vends
    if target.failures_per_fill is None:
        return target.failures_per_vend
    return target.failures_per_fill / (n - (n - 1) * target.failures_per_fill)
