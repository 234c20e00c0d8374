"""One loading of a column, vended until it is empty or has failed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

from colsim.errors import SimulationError
from colsim.model import Scenario
from colsim.physics.cross_section import CrossSection, build_cross_section, container_body
from colsim.physics.engines import Contacts, Settings
from colsim.physics.mechanism import Mechanism, why_blocked, why_held
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.vending import Frame, LostContainerError, VendingColumn
from colsim.sampling.draws import draw_placement, require_whole

__all__ = ["ENGINE", "SEEN_FROM_OUTSIDE", "Fill", "Outcome", "Vend", "simulate_fill"]

ENGINE = "pymunk, cross-section"


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


@dataclass(frozen=True)
class Vend:
    """One vend of a fill.

    Attributes
    ----------
    vend : int
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
    """

    vend: int
    outcome: Outcome
    mechanism: Mechanism | None
    remaining: int
    before: int
    duration: float


@dataclass(frozen=True)
class Fill:
    """One loading, vended until empty or failed.

    Attributes
    ----------
    scenario : Scenario
        What was simulated.
    seed, fill : int
        Which draws; the same pair gives the same fill again.
    vends : tuple of Vend
        In order.
    loaded, dispensed, left : int
        Containers that went in, came out, and are still in.
    invalid : str
        Why the simulation of this fill cannot be believed; empty if it can.
    section : CrossSection
        The geometry that was simulated.
    contacts : Contacts or None
        Contacts at the end, at rest; None if the fill is invalid.
    frames : tuple of Frame
        Every fiftieth of a second if recorded, and always the last state.
    """

    scenario: Scenario
    seed: int
    fill: int
    vends: tuple[Vend, ...]
    loaded: int
    dispensed: int
    left: int
    invalid: str
    section: CrossSection
    contacts: Contacts | None
    frames: tuple[Frame, ...]

    @property
    def failure(self) -> Vend | None:
        """First vend that was not a single one, if any."""
        return next((vend for vend in self.vends if vend.outcome is not Outcome.SINGLE), None)

    @property
    def vends_to_failure(self) -> int:
        """Vends up to the first failure, that one included; all of them in a clean fill."""
        return self.failure.vend if self.failure else len(self.vends)

    def summary(self) -> str:
        """Say in a line what happened."""
        if self.invalid:
            return f"fill {self.fill} (seed {self.seed}) is invalid: {self.invalid}"
        last = self.failure
        if last is None:
            return f"fill {self.fill} (seed {self.seed}): all {self.loaded} containers came one by one"
        where = f"fill {self.fill} (seed {self.seed}): vend {last.vend} of {self.loaded}"
        return f"{where}: {last.outcome} ({last.mechanism}): {SEEN_FROM_OUTSIDE[last.outcome]}"


def simulate_fill(
    scenario: Scenario, *, seed: int, fill: int = 0, record: bool = False, settings: Settings | None = None
) -> Fill:
    """Load a column once and vend it until it is empty or fails.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    seed : int
        Seed of all draws, 0 or more.
    fill : int
        Which fill of that seed, from 0; the same one as among many.
    record : bool
        Whether to keep a frame every fiftieth of a second.
    settings : Settings, optional
        How finely the engine works.

    Returns
    -------
    Fill
        A fill that breaks the conservation of containers or holds a number that is none is returned as invalid.

    Raises
    ------
    ScenarioError
        If the seed or fill is not a whole number of 0 or more.
    SimulationError
        If the column does not hold ``loading.count`` containers.
    """
    seed, fill = require_whole("seed", seed), require_whole("fill", fill)
    settings = settings or Settings()
    section = build_cross_section(scenario)
    frames: list[Frame] = []
    column = VendingColumn(
        section,
        PymunkEngine(section.scene, settings),
        step=settings.step,
        speed=scenario.rotor.speed * 2 * math.pi / 60,
        watch=frames.append if record else None,
    )
    vends: list[Vend] = []
    invalid = ""
    try:
        _load(column, scenario, seed, fill)
        vends.extend(_vend_until_over(column, scenario.loading.count, section))
    except LostContainerError as error:
        invalid = str(error)
    left, loaded = len(column.left), scenario.loading.count
    if not invalid and loaded != column.dispensed + left:
        invalid = f"loaded {loaded}, but {column.dispensed} came and {left} are left"
    return Fill(
        scenario=scenario,
        seed=seed,
        fill=fill,
        vends=tuple(vends),
        loaded=loaded,
        dispensed=column.dispensed,
        left=left,
        invalid=invalid,
        section=section,
        contacts=None if invalid else column.contacts(),
        frames=(*frames, column.frame()),
    )


def _load(column: VendingColumn, scenario: Scenario, seed: int, fill: int) -> None:
    for item in range(scenario.loading.count):
        body = container_body(scenario.container, item)
        placement = draw_placement(scenario.loading, seed, fill, item)
        if not column.lay(body, placement.across, placement.angle):
            raise SimulationError(
                f"the column holds only {item} of {scenario.loading.count} containers (seed {seed}, fill {fill}): "
                "lower loading.count, or measure column.height again"
            )


def _vend_until_over(column: VendingColumn, count: int, section: CrossSection) -> Iterator[Vend]:
    before, number = count, 0
    while before:
        number += 1
        # The first vend of a fresh load takes the turns that bring a container as far as the outlet.
        outcome, mechanism, duration = _vend(column, section, section.turns_to_first if number == 1 else 1)
        remaining = len(column.left)
        yield Vend(number, outcome, mechanism, remaining, before, duration)
        if outcome.ends_the_fill:
            return
        before = remaining


def _vend(column: VendingColumn, section: CrossSection, turns: int) -> tuple[Outcome, Mechanism | None, float]:
    """Turn as often as it takes, and once more if nothing came."""
    dropped, duration = 0, 0.0
    held: Mechanism | None = None
    for number in range(turns + 1):
        if number == turns:
            held = why_held(column.contacts(), column.state)
        turn = column.turn()
        duration += turn.duration
        dropped += len(turn.dropped)
        if turn.blocked:
            return Outcome.STALL, why_blocked(column.contacts(), column.state, section.drum_radius), duration
        if dropped and number >= turns - 1:
            break
    if not dropped:
        return Outcome.BRIDGE, held, duration
    if held is not None:
        return Outcome.LATE, held, duration
    if dropped > 1:
        return Outcome.DOUBLE, Mechanism.SECOND_IN_POCKET, duration
    return Outcome.SINGLE, None, duration
