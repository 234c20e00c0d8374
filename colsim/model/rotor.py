"""The rotor: a turning drum with pockets, a spacer, and its housing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import Field, model_validator

from colsim.errors import ScenarioError
from colsim.model.base import AssumedRange, Description, Friction, Length, Torque, TurningSpeed
from colsim.model.spread import StandIn
from colsim.model.stand_ins import MOTOR_TORQUE, Motor
from colsim.model.units import QUANTITIES, read_quantity

__all__ = ["Rotor"]


class Rotor(Description):
    """A drum under the throat that carries one container a turn in its pocket."""

    may_spread: ClassVar[bool] = True

    radius: Length = Field(
        gt=20, le=300, description="half the calliper or ruler reading across the drum [mm]; more than half the throat"
    )
    pockets: int = Field(
        ge=1,
        le=6,
        description="count them; one vend turns the drum by one pocket; they do not run into each other, and land is "
        "left between",
    )
    pocket_width: Length = Field(
        gt=10,
        le=400,
        description="ruler across the mouth of the bare pocket, without spacer [mm]; below the drum's diameter, and "
        "wide enough for a container with the spacer in",
    )
    pocket_depth: Length = Field(
        gt=5,
        le=300,
        description="ruler laid in the bare pocket from its floor to the height of the drum's highest point [mm]; "
        "below the radius",
    )
    spacer_thickness: Length = Field(
        0.0,
        ge=0,
        le=200,
        description="calliper on the insert in the pocket [mm], which it does not fill; 0 without one",
    )
    spacer_kind: Literal["raises_floor", "narrows_pocket"] = Field(
        "raises_floor",
        description="whether the insert lies on the pocket's floor, or its thickness is taken off the width, half "
        "on each side",
    )
    housing_clearance: Annotated[Length, AssumedRange(1.0, 4.0)] = Field(
        2.0,
        gt=0,
        le=30,
        description="feeler gauge between drum and housing [mm]; assumed 2 if not given",
    )
    lead_in: Annotated[Length, AssumedRange(3.0, 15.0)] = Field(
        10.0,
        ge=0,
        le=30,
        description="radius to which the edges of the pocket's mouth are rounded, by radius gauge [mm]; less than "
        "takes the pocket's sides or the land; assumed 10, or what fits, if not given",
    )
    friction: Annotated[Friction, AssumedRange(0.15, 0.4)] = Field(
        0.25,
        ge=0,
        le=2,
        description="container on drum and housing [-] or angle as text, as for a wall; assumed 0.25 if not given",
    )
    speed: Annotated[TurningSpeed, AssumedRange(15.0, 60.0)] = Field(
        45.0,
        gt=0,
        le=120,
        description="turns a minute while vending, by stopwatch [rpm]; assumed 45 if not given",
    )
    torque_limit: Annotated[Torque, AssumedRange(8.0, 40.0)] = Field(
        20.0,
        gt=0,
        le=500,
        description="torque at which the motor stalls, at the drum's shaft [N m]: with the plug out fix a lever of "
        "known length to the shaft, or clamp it to the drum, and hook a spring or luggage scale to its end, square to "
        "it; clear of hands, run the motor until it stalls, and read: newtons times metres, or kilograms times 9.81 "
        "times metres; fingers and sleeves stay out; by what the motor is like, or assumed 20, if not given",
    )
    motor: Motor | None = Field(None, description="what the motor is like, if you cannot measure its torque")
    rest: Literal["pocket_up", "land_up"] = Field(
        "pocket_up", description="what faces the column between vends: a pocket, or the land between two pockets"
    )
    turn: Literal["clockwise", "counterclockwise"] = Field("clockwise", description="seen from the front")

    pocket_takes: Annotated[Length, Field(gt=10, le=400)] | None = Field(
        None,
        description="diameter of the widest container that goes into the bare pocket [mm], if you cannot get a "
        "ruler in: with pocket_refuses it stands in for pocket_width",
    )
    pocket_refuses: Annotated[Length, Field(gt=10, le=400)] | None = Field(
        None, description="diameter of the narrowest container that does not go in [mm], above pocket_takes"
    )

    @classmethod
    def stand_ins(cls, data: Mapping[str, Any]) -> Mapping[str, StandIn]:
        """Give the ranges that the motor, and containers tried in the pocket, stand for.

        Parameters
        ----------
        data : mapping
            What was given.

        Returns
        -------
        mapping of str to StandIn
            By field.

        Raises
        ------
        ScenarioError
            If ``pocket_takes`` and ``pocket_refuses`` are both given, and one cannot be read as a finite length or the
            first is not below the second.
        """
        found: dict[str, StandIn] = {}
        if str(data.get("motor")) in MOTOR_TORQUE:
            found["torque_limit"] = MOTOR_TORQUE[str(data["motor"])]
        if data.get("pocket_takes") is not None and data.get("pocket_refuses") is not None:
            low, high = (_read_length(name, data[name]) for name in ("pocket_takes", "pocket_refuses"))
            if low >= high:
                raise ScenarioError(
                    f"pocket_takes {low:g} mm must be below pocket_refuses {high:g} mm; try both in the pocket again"
                )
            found["pocket_width"] = StandIn(
                kind="unknown", low=low, high=high, origin="between a container that goes in and one that does not"
            )
        return found

    @model_validator(mode="after")
    def _check(self) -> Self:
        floor = self.radius - self.pocket_depth
        if floor <= 0:
            raise ScenarioError(
                f"pocket_depth {self.pocket_depth:g} mm must be below the radius {self.radius:g} mm; a pocket "
                "cannot reach the drum's axis"
            )
        if self.pocket_width >= 2 * self.radius:
            raise ScenarioError(
                f"pocket_width {self.pocket_width:g} mm must be below the drum's diameter {2 * self.radius:g} mm"
            )
        corner = math.degrees(math.atan2(self.pocket_width / 2, floor))
        if self.pockets > 1 and corner >= 180 / self.pockets:
            raise ScenarioError(
                f"{self.pockets} pockets of {self.pocket_width:g} x {self.pocket_depth:g} mm run into each other "
                "inside a drum of radius "
                f"{self.radius:g} mm (floor corners {corner:.0f} deg from the middle, below "
                f"{180 / self.pockets:.0f} allowed); count and measure again"
            )
        self._assume_at_most("lead_in", self._greatest_lead_in())
        if self.clear_depth <= 0 or self.clear_width <= 0:
            raise ScenarioError(
                f"spacer_thickness {self.spacer_thickness:g} mm fills the whole pocket ({self.pocket_width:g} x "
                f"{self.pocket_depth:g} mm)"
            )
        if (
            self.clear_width / 2 + self.lead_in >= self.radius - self.lead_in
            or self.mouth_height <= self.radius - self.clear_depth
        ):
            raise ScenarioError(
                f"nothing is left of the pocket's sides: mouth rounded to {self.lead_in:g} mm, "
                f"{self.clear_width:g} mm wide and "
                f"{self.clear_depth:g} mm deep with the spacer in; take a thinner spacer or measure lead_in again"
            )
        if self.pockets > 1 and (mouth := self.mouth_half_angle) >= 180 / self.pockets:
            raise ScenarioError(
                f"no land is left between {self.pockets} pockets: a mouth {self.clear_width:g} mm wide and rounded to "
                f"{self.lead_in:g} mm reaches {mouth:.0f} deg to each side, below {180 / self.pockets:.0f} "
                "allowed; measure again"
            )
        return self

    def _greatest_lead_in(self) -> float:
        """Give the radius of the bare pocket's mouth that leaves nothing of its sides or of the land [mm].

        By plane geometry, all three linear in the radius L: the rounding's centre lies w/2 + L beside the axis, R - L
        from it. It stays off the axis' height, above the pocket's floor, and within half a pitch.
        """
        half, floor = self.pocket_width / 2, self.radius - self.pocket_depth
        greatest = (self.radius**2 - half**2 - floor**2) / (2 * self.radius + self.pocket_width)
        pitch = math.sin(math.pi / self.pockets) if self.pockets > 1 else 1.0
        return min(greatest, (self.radius * pitch - half) / (1 + pitch))

    @property
    def clear_width(self) -> float:
        """Width of the pocket that the spacer leaves [mm]."""
        return self.pocket_width - (self.spacer_thickness if self.spacer_kind == "narrows_pocket" else 0.0)

    @property
    def clear_depth(self) -> float:
        """Depth of the pocket that the spacer leaves [mm], to the height of the drum's highest point."""
        return self.pocket_depth - (self.spacer_thickness if self.spacer_kind == "raises_floor" else 0.0)

    @property
    def mouth_height(self) -> float:
        """Height above the axis at which the pocket's straight sides end in the rounded mouth, pocket up [mm]."""
        return math.sqrt((self.radius - self.lead_in) ** 2 - (self.clear_width / 2 + self.lead_in) ** 2)

    @property
    def mouth_half_angle(self) -> float:
        """Angle at the drum's axis from the pocket's middle to where its rounded mouth meets the land [deg]."""
        return math.degrees(math.atan2(self.clear_width / 2 + self.lead_in, self.mouth_height))

    @property
    def housing_radius(self) -> float:
        """Radius of the housing around the drum [mm]."""
        return self.radius + self.housing_clearance


def _read_length(name: str, value: Any) -> float:
    try:
        length = read_quantity(value, QUANTITIES["length"])
    except ScenarioError as error:
        raise ScenarioError([(name, what) for _, what in error.problems]) from None
    if not math.isfinite(length):
        raise ScenarioError([(name, f"got {value!r}; allowed: a finite number")])
    return length
