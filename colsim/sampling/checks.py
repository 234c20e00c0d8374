"""What the functions of this room refuse: wrong types and numbers out of range, each in one message."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.model.units import is_number
from colsim.physics.engines import Settings

__all__ = [
    "require_executor",
    "require_kind",
    "require_list",
    "require_number",
    "require_scenario",
    "require_settings",
    "require_share",
    "require_whole",
]


def require_number(name: str, value: Any, allowed: str) -> float:
    """Return a number, numpy's included, as a float.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : float
        What was given [in its own unit].
    allowed : str
        What the message says is allowed.

    Returns
    -------
    float
        [in its own unit]

    Raises
    ------
    ScenarioError
        If it is not a number.
    """
    if not is_number(value):
        raise ScenarioError(f"{name}: got {value!r}; allowed: {allowed}")
    return float(value)


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
    allowed = "above 0 and below 1"
    share = require_number(name, value, allowed)
    if not 0 < share < 1:
        raise ScenarioError(f"{name}: got {value!r}; allowed: {allowed}")
    return share


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


def require_list(name: str, value: Any, example: str) -> tuple[Any, ...]:
    """Return what is in a list, a tuple or an array.

    Parameters
    ----------
    name : str
        What the message calls it.
    value : iterable
        What was given; a text is none.
    example : str
        What a list looks like.

    Returns
    -------
    tuple

    Raises
    ------
    ScenarioError
        If it is no list, or empty.
    """
    if isinstance(value, (str, bytes)) or not isinstance(value, Iterable):
        raise ScenarioError(f"{name}: got {value!r}; allowed: a list, as in {example}")
    found = tuple(value)
    if not found:
        raise ScenarioError(f"{name}: got none; allowed: one at least, as in {example}")
    return found


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
