"""Temperature, condensation and time, and what the technician has in the van."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, field_validator

from colsim.errors import ScenarioError
from colsim.model.base import Description, Length, Temperature
from colsim.model.units import is_number

__all__ = ["Conditions", "OnHand"]


class Conditions(Description):
    """How it is in the machine."""

    wet: bool = Field(
        False, description="whether condensation stands on the containers; lowers the frictions that words stand for"
    )
    loading_temperature: Annotated[Temperature, Field(ge=-10, le=60)] | None = Field(
        None, description="thermometer in the store or van, when loaded [deg C]; for a drink with gas -1.5 to 40"
    )
    service_temperature: Annotated[Temperature, Field(ge=-10, le=60)] | None = Field(
        None, description="thermometer in the column, in service [deg C]; for a drink with gas -1.5 to 40"
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
        (),
        strict=False,
        description="thicknesses of the spacers you have [mm], all with their unit or none; advice looks at these, and "
        "at none",
    )
    liners: int = Field(0, ge=0, le=100, description="fresh liners you have")

    @field_validator("spacers", mode="before")
    @classmethod
    def _require_units_of_all_or_none(cls, value: Any) -> Any:
        """Refuse a list in which a bare number may have lost its unit."""
        items = value if isinstance(value, (list, tuple)) else ()
        if any(isinstance(item, str) for item in items) and any(is_number(item) for item in items):
            listed = ", ".join(f'"{item}"' if isinstance(item, str) else f"{item}" for item in items)
            raise ScenarioError(
                f"got [{listed}], some with a unit and some without; allowed: all with their unit, or all as bare "
                "numbers of mm"
            )
        return value
