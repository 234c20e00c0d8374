"""What legends say of the limit that pictures draw."""

from __future__ import annotations

from colsim.model import Target

__all__ = ["limit_label"]


def limit_label(target: Target) -> str:
    """Say what the limit of a target is; axes say whether it counts vends or loadings.

    Parameters
    ----------
    target : Target
        Of a scenario.

    Returns
    -------
    str
    """
    return f"limit you set: {1000 * target.limit:g} in 1000"
