"""The limit that pictures draw: per vend or per loading, as the target is set."""

from __future__ import annotations

from dataclasses import dataclass

from colsim.model import Target

__all__ = ["Limit", "limit_of"]


@dataclass(frozen=True)
class Limit:
    """How often things may go wrong.

    Attributes
    ----------
    share : float
        Of vends, or of loadings, that may go wrong [-].
    per_fill : bool
        Whether loadings are counted.
    """

    share: float
    per_fill: bool

    @property
    def counted(self) -> str:
        """What is counted."""
        return "bad loadings" if self.per_fill else "bad vends"

    @property
    def label(self) -> str:
        """What a legend says of it."""
        return f"limit you set: {1000 * self.share:g} in 1000"


def limit_of(target: Target) -> Limit:
    """Give the limit that a target sets.

    Parameters
    ----------
    target : Target
        Of a scenario.

    Returns
    -------
    Limit
        Per loading if that is set, else per vend.
    """
    if target.failures_per_fill is None:
        return Limit(target.failures_per_vend, per_fill=False)
    return Limit(target.failures_per_fill, per_fill=True)
