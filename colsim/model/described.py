"""What the closed forms ask of a container, so that a container may be made of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, Self

from colsim.model.spread import Spread
from colsim.model.squeeze_test import SqueezeReading

__all__ = ["DescribedContainer"]


class DescribedContainer(Protocol):
    """Numbers of a container as they were given or stood in for, None where there is none; as `Container` has them."""

    @property
    def name(self) -> str:
        """What it is called."""

    @property
    def diameter(self) -> float:
        """[mm]."""

    @property
    def length(self) -> float | None:
        """[mm]."""

    @property
    def body_length(self) -> float | None:
        """Of the straight part [mm]."""

    @property
    def mass(self) -> float:
        """[kg]."""

    @property
    def contents(self) -> float:
        """Mass of the drink [kg]."""

    @property
    def inside_volume(self) -> float | None:
        """[ml]."""

    @property
    def gauge_pressure(self) -> float | None:
        """At the temperature of loading [kPa]."""

    @property
    def carbonation(self) -> float | None:
        """[volumes]."""

    @property
    def stiffness(self) -> float | None:
        """Between two boards [N/mm]."""

    @property
    def creep_exponent(self) -> float | None:
        """[-]."""

    @property
    def squeeze_test(self) -> tuple[SqueezeReading, ...]:
        """Readings; none without a test."""

    @property
    def tested_diameter(self) -> float | None:
        """Of the one in the squeeze test [mm]."""

    @property
    def is_soft(self) -> bool:
        """Whether its wall holds its shape."""

    @property
    def spreads(self) -> Mapping[str, Spread]:
        """Spreads of its numbers, by field."""

    def with_known(self, values: Mapping[str, float]) -> Self:
        """Give it with some numbers known, and all others at their typical values.

        Parameters
        ----------
        values : mapping of str to float
            By field [unit of the field].

        Returns
        -------
        DescribedContainer
            Of the same class, without spreads.

        Raises
        ------
        ScenarioError
            If the numbers do not go together.
        """
