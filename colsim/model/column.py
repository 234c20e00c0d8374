"""The column: walls, liners, converging floor and throat."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import Angle, Description, Length, Number

__all__ = ["Column", "Liner"]


class Liner(Description):
    """A low-friction sheet on part of one wall or both; it lies flush and does not narrow the column."""

    wall: Literal["left", "right", "both"] = Field("both", description="which wall carries it, seen from the front")
    bottom: Length = Field(0.0, ge=0, description="tape from the throat up to its lower edge [mm]")
    top: Annotated[Length, Field(gt=0)] | None = Field(
        None, description="tape from the throat up to its upper edge [mm]; the whole wall if not given"
    )
    friction: Number = Field(
        ge=0,
        le=2,
        description="container on liner [-]: tangent of the angle at which a container slides along a tilted "
        "sheet of it (axis along the slope)",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.top is not None and self.top <= self.bottom:
            raise ScenarioError(
                f"top {self.top:g} mm must be above bottom {self.bottom:g} mm; measure both from the throat up"
            )
        return self

    def covers(self, wall: str) -> bool:
        """Tell whether the sheet is on this wall."""
        return self.wall in (wall, "both")


class Column(Description):
    """Two parallel walls, perhaps a converging floor, and a throat above the rotor."""

    width: Length = Field(gt=20, le=400, description="ruler between the walls, liner to liner [mm]")
    height: Length = Field(
        gt=50, le=3000, description="tape from the throat, where the rotor begins, up to the top of the walls [mm]"
    )
    throat: Annotated[Length, Field(gt=20, le=400)] | None = Field(
        None,
        description="ruler across the narrowest place above the rotor [mm]; the column's width if not given",
    )
    throat_radius: Length = Field(
        10.0,
        ge=0,
        le=100,
        description="radius to which the edge is rounded where wall or floor ends above the rotor, by radius "
        "gauge [mm]; assumed 10 if not given",
    )
    floor_slope: Annotated[Angle, Field(ge=10, lt=90)] | None = Field(
        None,
        description="slope of the converging floor above the horizontal [deg]; needed where the throat is "
        "narrower than the column",
    )
    wall_friction: Number = Field(
        ge=0,
        le=2,
        description="container on bare wall [-]: tangent of the angle at which a container slides along it (axis "
        "along the slope)",
    )
    floor_friction: Annotated[Number, Field(ge=0, le=2)] | None = Field(
        None, description="container on the floor and throat edge [-]; as the wall if not given"
    )
    liners: tuple[Liner, ...] = Field((), strict=False, description="sheets on the walls, if any")
    lean: Angle = Field(
        0.0,
        ge=-20,
        le=20,
        description="spirit level: lean of the column from the vertical, to the right positive [deg]",
    )

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.throat is not None and self.throat > self.width:
            raise ScenarioError(
                f"throat {self.throat:g} mm must be at most the column's width {self.width:g} mm; a column that "
                "widens downward is not modelled"
            )
        if self.floor_slope is None and self.throat_width < self.width:
            raise ScenarioError(
                f"floor_slope is missing: the throat ({self.throat_width:g} mm) is narrower than the column "
                f"({self.width:g} mm), "
                "so a floor converges to it; measure its slope above the horizontal"
            )
        if self.floor_height >= self.height:
            raise ScenarioError(
                f"the converging floor is {self.floor_height:.1f} mm high, as high as the column ({self.height:g} "
                "mm); measure floor_slope and height again"
            )
        for wall in ("left", "right"):
            zones = self.liner_zones(wall)
            for (_, top, _), (bottom, _, _) in pairwise(zones):
                if bottom < top:
                    raise ScenarioError(
                        f"liners on the {wall} wall overlap: one ends at {top:g} mm and the next begins at "
                        f"{bottom:g} mm above the throat; measure their edges again"
                    )
            for bottom, top, _ in zones:
                if bottom >= top:
                    raise ScenarioError(
                        f"a liner on the {wall} wall begins {bottom:g} mm above the throat, but ends at {top:g} mm; "
                        "measure its edges again"
                    )
            if zones and zones[-1][1] > self.height:
                raise ScenarioError(
                    f"a liner on the {wall} wall ends {zones[-1][1]:g} mm above the throat, beyond the column's "
                    f"height {self.height:g} mm"
                )
        return self

    @property
    def throat_width(self) -> float:
        """Clear width of the throat [mm]."""
        return self.width if self.throat is None else self.throat

    @property
    def floor_height(self) -> float:
        """Height of the converging floor [mm]; 0 where the walls run straight down to the rotor."""
        if self.floor_slope is None:
            return 0.0
        return (self.width - self.throat_width) / 2 * math.tan(math.radians(self.floor_slope))

    def throat_edge_length(self, housing_radius: float) -> float:
        """Give the length of wall or floor that the rounded throat edge takes, from the sharp corner upward.

        Parameters
        ----------
        housing_radius : float
            Radius of the housing around the drum [mm].

        Returns
        -------
        float
            Length [mm]: the edge's circle touches the line here, and the housing's circle from outside.
        """
        slope = math.radians(90.0 if self.floor_slope is None else self.floor_slope)
        x = self.throat_width / 2
        y = math.sqrt(housing_radius**2 - x**2)
        along, out = x * math.cos(slope) + y * math.sin(slope), x * math.sin(slope) - y * math.cos(slope)
        return math.sqrt(along**2 + 2 * self.throat_radius * (housing_radius - out)) - along

    def friction_at(self, wall: str, height: float) -> float:
        """Give the friction of one wall, ``"left"`` or ``"right"``, at a height above the throat [mm]."""
        zones = self.liner_zones(wall)
        return next((mu for bottom, top, mu in zones if bottom <= height <= top), self.wall_friction)

    def liner_zones(self, wall: str) -> list[tuple[float, float, float]]:
        """List the sheets of one wall from the bottom up.

        Parameters
        ----------
        wall : str
            ``"left"`` or ``"right"``.

        Returns
        -------
        list of (float, float, float)
            Lower edge [mm above the throat], upper edge [mm above the throat], friction [-].
        """
        zones = [
            (liner.bottom, self.height if liner.top is None else liner.top, liner.friction)
            for liner in self.liners
            if liner.covers(wall)
        ]
        return sorted(zones)
