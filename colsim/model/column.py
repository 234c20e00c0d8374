"""The column: walls, liners, converging floor and throat."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import Angle, AssumedRange, Description, Friction, Length
from colsim.model.checks import require_known, require_numbers
from colsim.model.spread import StandIn
from colsim.model.stand_ins import (
    FRICTION_ON_LINER,
    FRICTION_ON_WALL,
    LIFTED_EDGE,
    LinerCondition,
    WallSurface,
    any_of,
)
from colsim.theory.packing import capacity

__all__ = ["Column", "Liner", "LinerZone"]


class Liner(Description):
    """A low-friction sheet on part of one wall or both; it lies flush and does not narrow the column."""

    may_spread: ClassVar[bool] = True

    wall: Literal["left", "right", "both"] = Field("both", description="which wall carries it, seen from the front")
    bottom: Length = Field(
        0.0, ge=0, description="tape from the throat up to its lower edge [mm]; sheets of one wall do not overlap"
    )
    top: Annotated[Length, Field(gt=0)] | None = Field(
        None,
        description="tape from the throat up to its upper edge [mm], above the lower edge and at most the column's "
        "height; the whole wall if not given",
    )
    friction: Friction = Field(
        ge=0,
        le=2,
        description="container on liner [-]: tangent of the angle at which a container slides along a tilted "
        'sheet of it (axis along the slope), or that angle as text, such as "10 deg"; by the sheet\'s condition if not '
        "given",
    )
    condition: LinerCondition | None = Field(None, description="how the sheet looks, if you cannot measure it")
    lifted_edge: Length = Field(
        0.0,
        ge=0,
        le=50,
        description="ruler: how far its top edge stands off the wall [mm]; 0 if it lies flush; below the height of a "
        "container",
    )

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the ranges that the sheet's condition stands for.

        Parameters
        ----------
        data : mapping
            What was given.

        Returns
        -------
        mapping of str to StandIn
            By field; empty without a condition that is known.
        """
        condition = str(data.get("condition"))
        if condition not in FRICTION_ON_LINER:
            return {}
        edge = {"lifted_edge": LIFTED_EDGE} if condition == "lifted" else {}
        return {"friction": FRICTION_ON_LINER[condition], **edge}

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.top is not None and self.top <= self.bottom:
            raise ScenarioError(
                f"top {self.top:g} mm must be above bottom {self.bottom:g} mm; measure both from the throat up"
            )
        return self

    def covers(self, wall: str) -> bool:
        """Tell whether the sheet is on a wall.

        Parameters
        ----------
        wall : {"left", "right"}
            Seen from the front.

        Returns
        -------
        bool
        """
        return self.wall in (wall, "both")


class LinerZone(NamedTuple):
    """One sheet on one wall: lower and upper edge [mm above the throat], friction [-], and its edge's lift [mm]."""

    bottom: float
    top: float
    friction: float
    lifted_edge: float


class Column(Description):
    """Two parallel walls, perhaps a converging floor, and a throat above the rotor."""

    may_spread: ClassVar[bool] = True

    width: Length = Field(
        gt=20,
        le=400,
        description="ruler between the walls, liner to liner [mm]; at least the width of a container and below twice "
        "its height",
    )
    height: Length = Field(
        gt=50, le=3000, description="tape from the throat, where the rotor begins, up to the top of the walls [mm]"
    )
    throat: Annotated[Length, Field(gt=20, le=400)] | None = Field(
        None,
        description="ruler across the narrowest place above the rotor [mm], at least the width of a container and at "
        "most that of the column; the column's width if not given",
    )
    throat_radius: Annotated[Length, AssumedRange(3.0, 15.0)] = Field(
        10.0,
        ge=0,
        le=100,
        description="radius to which the edge is rounded where wall or floor ends above the rotor, by radius "
        "gauge [mm]; less than takes the whole wall or floor; assumed 10, or what fits, if not given",
    )
    floor_slope: Annotated[Angle, Field(ge=10, lt=90)] | None = Field(
        None,
        description="slope of the converging floor above the horizontal [deg]; needed where the throat is narrower "
        "than the column; the floor ends below the top of the walls",
    )
    wall_friction: Friction = Field(
        ge=0,
        le=2,
        description="container on bare wall [-]: tangent of the angle at which a container slides along it (axis "
        'along the slope), or that angle as text, such as "14 deg"; by wall_surface if not given',
    )
    wall_surface: WallSurface | None = Field(
        None, description="what the bare walls are, if you cannot measure their friction"
    )
    floor_friction: Annotated[Friction, Field(ge=0, le=2)] | None = Field(
        None, description="container on the floor and throat edge [-] or angle as text; as the wall if not given"
    )
    liners: tuple[Liner, ...] = Field((), strict=False, description="sheets on the walls, if any")
    lean: Angle = Field(
        0.0,
        ge=-20,
        le=20,
        description="spirit level: lean of the column from the vertical, to the right positive [deg]",
    )

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the range that the wall's surface stands for, whatever lies on it.

        Parameters
        ----------
        data : mapping
            What was given.

        Returns
        -------
        mapping of str to StandIn
            By field; empty without a surface that is known.
        """
        surface = str(data.get("wall_surface"))
        return {"wall_friction": any_of(FRICTION_ON_WALL[surface].values())} if surface in FRICTION_ON_WALL else {}

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
            for lower, upper in pairwise(zones):
                if upper.bottom < lower.top:
                    raise ScenarioError(
                        f"liners on the {wall} wall overlap: one ends at {lower.top:g} mm and the next begins at "
                        f"{upper.bottom:g} mm above the throat; measure their edges again"
                    )
            for zone in zones:
                if zone.bottom >= zone.top:
                    raise ScenarioError(
                        f"a liner on the {wall} wall begins {zone.bottom:g} mm above the throat, but ends at "
                        f"{zone.top:g} mm; "
                        "measure its edges again"
                    )
            if zones and zones[-1].top > self.height:
                raise ScenarioError(
                    f"a liner on the {wall} wall ends {zones[-1].top:g} mm above the throat, beyond the column's "
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

    @property
    def edge_room(self) -> float:
        """Length of wall or floor that the rounded throat edge must not take whole [mm]."""
        if self.floor_height == 0:
            return self.height
        return self.floor_height / math.sin(math.radians(self.floor_slope or 90.0))

    def capacity(self, thickness: float) -> int:
        """Give how many containers fit between the parallel walls.

        Parameters
        ----------
        thickness : float
            Of a container as it lies [mm].

        Returns
        -------
        int

        Raises
        ------
        ScenarioError
            If it is no number.
        RangeError
            Where the closed form does not hold.
        """
        require_numbers(thickness=thickness)
        return capacity(self.height - self.floor_height, thickness, self.width)

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

        Raises
        ------
        ScenarioError
            If the radius is no number, or below half the throat's width.
        """
        along, out = self._housing_corner(housing_radius)
        return math.sqrt(along**2 + 2 * self.throat_radius * (housing_radius - out)) - along

    def greatest_throat_radius(self, housing_radius: float) -> float:
        """Give the radius of a throat edge that takes all of the wall or floor, so that any allowed one is below.

        Parameters
        ----------
        housing_radius : float
            Radius of the housing around the drum [mm]; above half the throat's width.

        Returns
        -------
        float
            [mm]; `throat_edge_length` solved for the radius.

        Raises
        ------
        ScenarioError
            As `throat_edge_length`.
        """
        along, out = self._housing_corner(housing_radius)
        return ((self.edge_room + along) ** 2 - along**2) / (2 * (housing_radius - out))

    def _housing_corner(self, housing_radius: float) -> tuple[float, float]:
        """Give where wall or floor meets the housing, along the wall and out of it, from the drum's axis [mm]."""
        slope = math.radians(90.0 if self.floor_slope is None else self.floor_slope)
        x = self.throat_width / 2
        require_numbers(housing_radius=housing_radius)
        if housing_radius < x:
            text = f"got {housing_radius:g} mm; allowed: at least half the throat's width ({x:g} mm)"
            raise ScenarioError([("housing_radius", text)])
        y = math.sqrt(housing_radius**2 - x**2)
        return x * math.cos(slope) + y * math.sin(slope), x * math.sin(slope) - y * math.cos(slope)

    def liner_zones(self, wall: str) -> list[LinerZone]:
        """List the sheets of one wall from the bottom up.

        Parameters
        ----------
        wall : str
            ``"left"`` or ``"right"``.

        Returns
        -------
        list of LinerZone

        Raises
        ------
        ScenarioError
            If there is no such wall.
        """
        require_known("wall", wall, ("left", "right"))
        zones = [
            LinerZone(liner.bottom, self.height if liner.top is None else liner.top, liner.friction, liner.lifted_edge)
            for liner in self.liners
            if liner.covers(wall)
        ]
        return sorted(zones)
