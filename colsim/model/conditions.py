"""Temperature, condensation and time, and what the technician has in the van."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from colsim.model.base import Description, Length, Temperature

__all__ = ["Conditions", "OnHand"]


class Conditions(Description):
    """How it is in the machine."""

    wet: bool = Field(
        False, description="whether condensation stands on the containers; lowers the frictions that words stand for"
    )
    loading_temperature: Annotated[Temperature, Field(ge=-10, le=60)] | None = Field(
        None, description="thermometer in the store or van, when loaded [deg C]"
    )
    service_temperature: Annotated[Temperature, Field(ge=-10, le=60)] | None = Field(
        None, description="thermometer in the column, in service [deg C]"
    )
    days: float = Field(
        0.0,
        ge=0,
        le=365,
        description="days that the lowest container lies there, and all are taken to; soft walls get softer by "
        "creep_exponent, and their flats set more, which the range of set_fraction takes in",
    )


class OnHand(Description):
    """What there is to put in."""

    spacers: tuple[Annotated[Length, Field(ge=0, le=200)], ...] = Field(
        (), strict=False, description="thicknesses of the spacers you have [mm]; advice looks at these, and at none"
    )
    liners: int = Field(0, ge=0, le=100, description="fresh liners you have")
