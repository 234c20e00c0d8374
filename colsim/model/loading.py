"""How the column is loaded, and what is asked of it."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import AssumedRange, Description, Friction, Number

__all__ = ["Layer", "Loading", "Target"]

MOST_CONTAINERS = 200


class Layer(Description):
    """Containers of one kind on top of each other."""

    container: str = Field(description="name of one of the containers that are described")
    count: int = Field(ge=1, le=MOST_CONTAINERS, description="how many of it")


class Loading(Description):
    """How many containers go in, and to which side each is laid."""

    may_spread: ClassVar[bool] = True

    count: Annotated[int, Field(ge=1, le=MOST_CONTAINERS)] | None = Field(
        None,
        description="containers loaded, the one in the pocket included, where all are of one kind, in place of "
        "layers; no more than fit",
    )
    layers: tuple[Layer, ...] = Field(
        (),
        strict=False,
        description="containers and counts from the bottom up, where there are several kinds, in place of count; no "
        "more than fit",
    )
    top_up_at: Annotated[int, Field(ge=1, le=MOST_CONTAINERS)] | None = Field(
        None,
        description="containers left in the column at which it is once filled up again, with the kind on top; fewer "
        "than are loaded",
    )
    pattern: Literal["alternate", "one_side", "random"] = Field(
        "alternate",
        description="which wall each is laid against: left and right in turn, always the same, or as it comes",
    )
    placement_scatter: Annotated[Number, AssumedRange(0.2, 0.8)] = Field(
        0.5,
        ge=0,
        le=1,
        description="how far off that wall a hand lays it, at most, as a share of the free width [-]; assumed 0.5",
    )
    mixed_friction: Annotated[Friction, Field(ge=0, le=2)] | None = Field(
        None,
        description="container of one kind on one of another [-] or angle as text, measured like container on "
        "container; between the two if not given",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if (self.count is None) == (not self.layers):
            given = "both" if self.layers else "neither"
            raise ScenarioError(f"got {given} of count and layers; allowed: count for one kind, layers for several")
        if self.top_up_at is not None and self.top_up_at >= self.total:
            raise ScenarioError(f"top_up_at {self.top_up_at} must be below the {self.total} containers that are loaded")
        return self

    @property
    def total(self) -> int:
        """Containers of a fresh load."""
        return self.count if self.count is not None else sum(layer.count for layer in self.layers)

    @property
    def vends(self) -> int:
        """Vends of a fill that never fails: one for each container loaded, and for each added at the top-up."""
        return self.total + (0 if self.top_up_at is None else self.total - self.top_up_at)


class Target(Description):
    """What the operator will put up with."""

    failures_per_vend: Number = Field(0.01, gt=0, lt=1, description="greatest share of vends that may go wrong [-]")
    failures_per_fill: Annotated[Number, Field(gt=0, lt=1)] | None = Field(
        None, description="greatest share of loadings that may meet trouble [-]; holds instead of the one per vend"
    )
    confidence: Number = Field(0.95, ge=0.5, lt=1, description="confidence at which that must be shown [-]")

    @property
    def unit(self) -> Literal["vend", "fill"]:
        """What the limit is per: a vend, or a fill, which is a loading until it is empty or fails."""
        return "vend" if self.failures_per_fill is None else "fill"

    @property
    def limit(self) -> float:
        """Greatest share that may go wrong [-], of vends or of fills."""
        return self.failures_per_vend if self.failures_per_fill is None else self.failures_per_fill

    @property
    def counted(self) -> str:
        """What the limit counts, in words."""
        return "bad vends" if self.unit == "vend" else "bad loadings"

    def in_words(self) -> str:
        """Say how often things may go wrong."""
        return f"{1000 * self.limit:g} {self.counted} in 1000"
