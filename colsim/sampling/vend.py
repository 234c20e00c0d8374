"""What one vend of a column did."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from colsim.physics.mechanism import Mechanism

__all__ = ["SEEN_FROM_OUTSIDE", "Outcome", "Vend"]


class Outcome(StrEnum):
    """What one vend did."""

    SINGLE = "single"
    DOUBLE = "double"
    LATE = "late"
    BRIDGE = "bridge"
    STALL = "stall"

    @property
    def ends_the_fill(self) -> bool:
        """Whether nothing more can be vended after it."""
        return self in (Outcome.BRIDGE, Outcome.STALL)


SEEN_FROM_OUTSIDE: Mapping[Outcome, str] = MappingProxyType(
    {
        Outcome.SINGLE: "one container comes",
        Outcome.DOUBLE: "two or more containers come for one payment",
        Outcome.LATE: "nothing comes, but the next turn brings one",
        Outcome.BRIDGE: "the motor turns, nothing comes, and the column is not empty",
        Outcome.STALL: "the motor hums or trips and the rotor stands still",
    }
)
"""What a person sees and hears of each outcome."""


@dataclass(frozen=True, slots=True)
class Vend:
    """One vend of a fill.

    Attributes
    ----------
    number : int
        Number within the fill, from 1.
    outcome : Outcome
        What came.
    mechanism : Mechanism or None
        Why it was not a single one; None if it was.
    remaining : int
        Containers left in the column afterwards.
    before : int
        Containers in the column beforehand.
    duration : float
        Until everything was at rest again [s].
    peak_force : float
        Greatest contact force, looked at 25 times a second [N].
    dent : float
        Deepest dent of a container at one contact, looked at 25 times a second [mm].
    topped_up : bool
        Whether it came after the top-up.
    """

    number: int
    outcome: Outcome
    mechanism: Mechanism | None
    remaining: int
    before: int
    duration: float
    peak_force: float = math.nan
    dent: float = math.nan
    topped_up: bool = False
