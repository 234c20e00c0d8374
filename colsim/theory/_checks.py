"""Range checks shared by the closed forms."""

from __future__ import annotations

import math

from colsim.errors import RangeError

__all__ = ["require", "require_not_negative", "require_positive"]


def require(condition: bool, message: str) -> None:
    """Refuse what does not hold.

    Parameters
    ----------
    condition : bool
        What must hold.
    message : str
        What was got, what is allowed and what to do.

    Raises
    ------
    RangeError
        With the message, if the condition does not hold.
    """
    if not condition:
        raise RangeError(message)


def require_positive(**values: float) -> None:
    """Refuse what is no positive finite number.

    Parameters
    ----------
    **values : float
        By name [any unit].

    Raises
    ------
    RangeError
        If one is 0, negative, infinite or nan.
    """
    for name, value in values.items():
        require(
            math.isfinite(value) and value > 0, f"{name} must be a positive number: got {value!r}. Measure it again"
        )


def require_not_negative(**values: float) -> None:
    """Refuse what is no finite number of zero or more.

    Parameters
    ----------
    **values : float
        By name [any unit].

    Raises
    ------
    RangeError
        If one is negative, infinite or nan.
    """
    for name, value in values.items():
        require(math.isfinite(value) and value >= 0, f"{name} must be zero or more: got {value!r}. Measure it again")
