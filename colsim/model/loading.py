"""How the column is loaded, and what is asked of it."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from colsim.model.base import Description, Number

__all__ = ["Loading", "Target"]


class Loading(Description):
    """How many containers go in, and to which side each is laid."""

    count: int = Field(ge=1, le=200, description="containers loaded, the one in the pocket included")
    pattern: Literal["alternate", "one_side", "random"] = Field(
        "alternate",
        description="which wall each is laid against: left and right in turn, always the same, or as it comes",
    )
    placement_scatter: Number = Field(
        0.5,
        ge=0,
        le=1,
        description="how far off that wall a hand lays it, at most, as a share of the free width [-]; assumed 0.5",
    )


class Target(Description):
    """What the operator will put up with."""

    failures_per_vend: Number = Field(0.01, gt=0, lt=1, description="greatest share of vends that may go wrong [-]")
    confidence: Number = Field(0.95, ge=0.5, lt=1, description="confidence at which that must be shown [-]")
