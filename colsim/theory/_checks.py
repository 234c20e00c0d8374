"""Range checks shared by the closed forms."""

from __future__ import annotations

import math

from colsim.errors import RangeError


def require(condition: bool, message: str) -> None:
    """Raise `RangeError` with the message unless the condition holds."""
    if not condition:
        raise RangeError(message)


def require_positive(**values: float) -> None:
    """Raise `RangeError` unless every value is a positive finite number."""
    for name, value in values.items():
        require(
            math.isfinite(value) and value > 0, f"{name} must be a positive number: got {value!r}. Measure it again"
        )


def require_not_negative(**values: float) -> None:
    """Raise unless every value is finite and zero or more."""
    for name, value in values.items():
        require(math.isfinite(value) and value >= 0, f"{name} must be zero or more: got {value!r}. Measure it again")
