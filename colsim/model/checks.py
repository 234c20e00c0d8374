"""Checks of what public functions are given, which answer with errors of this library."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from colsim.errors import ScenarioError
from colsim.model.conditions import Conditions
from colsim.model.units import is_number

__all__ = ["require_a", "require_conditions", "require_known", "require_not_negative", "require_numbers"]


def require_a(name: str, value: Any, kind: type | tuple[type, ...], allowed: str) -> None:
    """Refuse a value of another type.

    Parameters
    ----------
    name : str
        What it is called.
    value : object
        What was given.
    kind : type or tuple of type
        What is allowed.
    allowed : str
        The same in words.

    Raises
    ------
    ScenarioError
        If it is of none of these types.
    """
    if not isinstance(value, kind):
        raise ScenarioError([(name, f"got {value!r}; allowed: {allowed}")])


def require_known(name: str, value: Any, known: Iterable[str] | Mapping[str, Any]) -> None:
    """Refuse a name that there is not.

    Parameters
    ----------
    name : str
        What it is the name of.
    value : object
        What was given.
    known : iterable of str
        Names that there are.

    Raises
    ------
    ScenarioError
        If it is none of these.
    """
    names = list(known)
    if not isinstance(value, str) or value not in names:
        listed = ", ".join(f'"{each}"' for each in names)
        raise ScenarioError([(name, f"got {value!r}; allowed: {listed}")])


def require_numbers(**values: Any) -> None:
    """Refuse what is no finite number.

    Parameters
    ----------
    **values
        By name; each may be a number of Python or of numpy.

    Raises
    ------
    ScenarioError
        If one is none.
    """
    for name, value in values.items():
        if not is_number(value) or not math.isfinite(value):
            raise ScenarioError([(name, f"got {value!r}; allowed: a finite number")])


def require_conditions(value: Any) -> None:
    """Refuse what are neither conditions nor None.

    Parameters
    ----------
    value : object
        What was given.

    Raises
    ------
    ScenarioError
        As said.
    """
    if value is not None:
        require_a("conditions", value, Conditions, "Conditions, or None")


def require_not_negative(**values: Any) -> None:
    """Refuse what is no sequence of finite numbers of 0 or more.

    Parameters
    ----------
    **values
        By name; each a sequence or an array.

    Raises
    ------
    ScenarioError
        If one is none, or empty.
    """
    for name, value in values.items():
        listed = list(value) if isinstance(value, (Sequence, np.ndarray)) and not isinstance(value, str) else []
        if not listed or not all(is_number(each) and math.isfinite(each) and each >= 0 for each in listed):
            raise ScenarioError([(name, f"got {value!r}; allowed: finite numbers of 0 or more, one or several")])
