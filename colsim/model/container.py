"""A bottle or can lying on its side."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import AssumedRange, Description, Length, Mass, Number
from colsim.model.spread import StandIn
from colsim.model.stand_ins import (
    CARBONATION,
    FRICTION_OF_CONTAINERS,
    WALL_THICKNESS,
    Drink,
    Surface,
    WallFeel,
)

__all__ = ["Container"]


class Container(Description):
    """A bottle or can as it lies in the column.

    Write ``like = "500 ml still water"`` to start from a catalogue entry and change only what you measured.
    """

    may_spread: ClassVar[bool] = True
    drawn_for_each: ClassVar[frozenset[str]] = frozenset({"diameter", "length", "mass", "empty_mass", "set_flat"})

    without_effect: ClassVar[frozenset[str]] = frozenset({"length", "wall_thickness", "carbonation"})
    """Fields that are read and kept, but that no simulation uses yet."""

    like: str | None = Field(None, description="name of a catalogue entry that gives what is not written here")
    name: str = Field("container", description="what you call it")
    diameter: Length = Field(
        gt=20, le=150, description="calliper across the widest part, turned a quarter and averaged [mm]"
    )
    length: Annotated[Length, Field(gt=20, le=400)] | None = Field(
        None, description="ruler from base to the top of the cap [mm]"
    )
    mass: Mass = Field(gt=0.02, le=5, description="kitchen scale, full and closed [kg]")
    empty_mass: Annotated[Mass, Field(gt=0, le=1)] | None = Field(
        None,
        description="kitchen scale, empty and dry with its cap [kg]; assumed 3.5 % of the mass if not given",
    )
    liquid_spin: Annotated[Number, AssumedRange(0.1, 0.3)] = Field(
        0.2,
        ge=0,
        le=1,
        description="share of the liquid that spins up with the wall [-]; assumed 0.2, not measurable on site",
    )
    set_flat: Length = Field(
        0.0,
        ge=0,
        description="width of a permanent flat [mm]: on a tilting board, flat down and axis across the slope, "
        "height times the tangent of the angle at which it starts to roll; 0 if it rolls at once",
    )
    friction: Annotated[Number, AssumedRange(0.15, 0.45)] = Field(
        0.25,
        ge=0,
        le=2,
        description="container on container [-]: tangent of the angle at which one slides along another "
        "(axes along the slope); by its surface, or assumed 0.25, if not given",
    )
    wall_friction: Annotated[Number, Field(ge=0, le=2)] | None = Field(
        None, description="this container on bare wall [-], where it differs from column.wall_friction"
    )
    liner_friction: Annotated[Number, Field(ge=0, le=2)] | None = Field(
        None, description="this container on the liners [-], where it differs from theirs"
    )
    rotor_friction: Annotated[Number, Field(ge=0, le=2)] | None = Field(
        None, description="this container on drum and housing [-], where it differs from rotor.friction"
    )
    surface: Surface | None = Field(
        None, description="what touches: bare wall, film or paper label, shrink sleeve, or a can"
    )
    restitution: Annotated[Number, AssumedRange(0.0, 0.4)] = Field(
        0.2,
        ge=0,
        le=0.9,
        description="rebound speed over impact speed [-]: square root of rebound over drop height; assumed 0.2",
    )
    wall_thickness: Annotated[Length, Field(gt=0, le=5)] | None = Field(
        None, description="micrometer on a piece cut from an empty one, half-way up [mm]; by its feel if not given"
    )
    wall_feel: WallFeel | None = Field(None, description="side wall under the thumb, if you cannot measure it")
    carbonation: Annotated[Number, Field(ge=0, le=6)] | None = Field(
        None, description="carbon dioxide in the drink, from the bottler [volumes]; by the drink if not given"
    )
    drink: Drink | None = Field(None, description="what is in it, if you do not know its carbonation")

    @model_validator(mode="before")
    @classmethod
    def _fill_from_catalogue(cls, data: Any) -> Any:
        if not isinstance(data, dict) or data.get("like") is None:
            return data
        from colsim.model.catalogue import find_entry  # the catalogue is made of containers

        return {**find_entry(data["like"]).values(), **data}

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the ranges that surface, feel and drink stand for."""
        tables: dict[str, tuple[str, Mapping[Any, StandIn]]] = {
            "friction": ("surface", FRICTION_OF_CONTAINERS),
            "wall_thickness": ("wall_feel", WALL_THICKNESS),
            "carbonation": ("drink", CARBONATION),
        }
        return {
            field: table[str(data[word])] for field, (word, table) in tables.items() if str(data.get(word)) in table
        }

    @model_validator(mode="after")
    def _check(self) -> Self:
        if self.empty_mass is not None and self.empty_mass >= self.mass:
            raise ScenarioError(
                f"empty_mass {self.empty_mass:g} kg must be below mass {self.mass:g} kg; weigh it full and empty again"
            )
        if self.set_flat > self.diameter / 2:
            raise ScenarioError(
                f"set_flat {self.set_flat:g} mm must be at most half the diameter ({self.diameter / 2:g} mm); "
                "a container flatter than that will not roll at all and is outside this model"
            )
        return self

    def as_given(self) -> dict[str, Any]:
        """Write what was given, without what its catalogue entry gives all the same."""
        from colsim.model.catalogue import without_entry

        # So that another ``like`` brings its own sizes.
        return without_entry(super().as_given())

    @property
    def height(self) -> float:
        """Height lying on its set flat [mm]: the perimeter is kept, so h = d - 2 b / pi."""
        return self.diameter - 2.0 * self.set_flat / math.pi

    @property
    def breadth(self) -> float:
        """Greatest width of the cross-section [mm]: height plus flat."""
        return self.height + self.set_flat

    @property
    def moment_of_inertia(self) -> float:
        """Moment about its own axis [kg mm2]: the wall turns as a ring, a share of the liquid as a solid cylinder."""
        wall = 0.035 * self.mass if self.empty_mass is None else self.empty_mass
        radius = self.diameter / 2
        return (wall + self.liquid_spin * (self.mass - wall) / 2) * radius**2
