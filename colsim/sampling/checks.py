"""What the functions of this room refuse: wrong types and numbers out of range, each in one message."""

from __future__ import annotations

from typing import Any

import numpy as np

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.physics.engines import Settings

__all__ = ["require_executor", "require_kind", "require_scenario", "require_settings", "require_share", "require_whole"]


def require_whole(name: str, value: Any, least: int = 0) -> int:
    """Return a whole number, numpy's included, as an int.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : int
        What was given.
    least : int
        The least that is allowed.

    Returns
    -------
    int

    Raises
    ------
    ScenarioError
        If it is not a whole number, or below the least.
    """
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise ScenarioError(f"{name}: got {value!r}; allowed: a whole number of {least} or more")
    return int(value)


def require_share(name: str, value: Any) -> float:
    """Return a share above 0 and below 1, numpy's numbers included, as a float.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : float
        What was given [-].

    Returns
    -------
    float
        [-]

    Raises
    ------
    ScenarioError
        If it is not a number, or not within.
    """
    is_number = isinstance(value, (int, float, np.integer, np.floating)) and not isinstance(value, bool)
    if not is_number or not 0 < value < 1:
        raise ScenarioError(f"{name}: got {value!r}; allowed: above 0 and below 1")
    return float(value)


def require_kind(name: str, value: object, kind: type, hint: str) -> None:
    """Refuse what is of another kind.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : object
        What was given.
    kind : type
        What it must be an instance of.
    hint : str
        How to come by one.

    Raises
    ------
    ScenarioError
        If it is of another kind.
    """
    if not isinstance(value, kind):
        got = f"a {type(value).__name__}" if value is not None else "None"
        raise ScenarioError(f"{name}: got {got}; allowed: a {kind.__name__}; {hint}")


def require_scenario(value: object) -> None:
    """Refuse what is no scenario.

    Parameters
    ----------
    value : object
        What was given.

    Raises
    ------
    ScenarioError
        If it is of another kind.
    """
    require_kind("scenario", value, Scenario, "make one with Scenario(...), or read it with Scenario.from_toml(path)")


def require_settings(value: object) -> None:
    """Refuse what is neither settings of an engine nor None.

    Parameters
    ----------
    value : object
        What was given.

    Raises
    ------
    ScenarioError
        If it is of another kind.
    """
    if value is not None:
        require_kind("settings", value, Settings, "leave it out for the usual ones")


def require_executor(value: object) -> None:
    """Refuse what is neither an executor nor None.

    Parameters
    ----------
    value : object
        What was given.

    Raises
    ------
    ScenarioError
        If it is of another kind.
    """
    if value is not None and not callable(getattr(value, "submit", None)):
        raise ScenarioError(
            f"executor: got a {type(value).__name__}; allowed: an executor of concurrent.futures, or whatever submits "
            "as they do; leave it out for one process a core"
        )
