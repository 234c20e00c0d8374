"""One loading of a column, vended until it is empty or has failed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from colsim.errors import ScenarioError, SimulationError
from colsim.model import Container, Scenario
from colsim.model.contradictions import container_contradictions
from colsim.model.spread import Spread
from colsim.physics.choice import AUTO, EngineMaker, engine_maker, engine_named
from colsim.physics.cross_section import CrossSection, build_cross_section, container_body
from colsim.physics.engines import Contacts, DivergedError, Settings
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Body
from colsim.physics.vending import Frame, LostContainerError, Turn, VendingColumn
from colsim.sampling.draws import draw_container, draw_fill_wide, draw_placement, require_whole, with_drawn

__all__ = ["SEEN_FROM_OUTSIDE", "Fill", "Outcome", "Vend", "simulate_fill"]


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
    peak_force : float
        Greatest contact force, looked at 25 times a second [N].
    dent : float
        Deepest dent of a container at one contact, looked at 25 times a second [mm].
    topped_up : bool
        Whether it came after the top-up.
    """

    vend: int
    outcome: Outcome
    mechanism: Mechanism | None
    remaining: int
    before: int
    duration: float
    peak_force: float = math.nan
    dent: float = math.nan
    topped_up: bool = False


@dataclass(frozen=True, repr=False)
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
    short : int
        Containers that were to go in but found no room.
    drawn : mapping of str to float
        What was drawn for the whole of this fill, by dotted path.
    bodies : tuple of Body
        The containers, in the order of loading.
    invalid : str
        Why the simulation of this fill cannot be believed; empty if it can.
    section : CrossSection
        The geometry that was simulated.
    contacts : Contacts or None
        Contacts at the end, at rest; None if the fill is invalid.
    frames : tuple of Frame
        Every fiftieth of a second if recorded, and always the last state.
    engine : str
        Name of the engine; results of two engines are not the same to the last bit.
    """

    scenario: Scenario
    seed: int
    fill: int
    vends: tuple[Vend, ...]
    loaded: int
    dispensed: int
    left: int
    short: int
    drawn: Mapping[str, float]
    bodies: tuple[Body, ...]
    invalid: str
    section: CrossSection
    contacts: Contacts | None
    frames: tuple[Frame, ...]
    engine: str = ""

    def __repr__(self) -> str:
        return f"<Fill: {self.summary()}>"

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
    scenario: Scenario,
    *,
    seed: int,
    fill: int = 0,
    record: bool = False,
    settings: Settings | None = None,
    engine: str | EngineMaker = AUTO,
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
    engine : str or callable
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one; or what makes an engine of a scene and settings.

    Returns
    -------
    Fill
        A fill that breaks the conservation of containers, holds a NaN, or whose draws do not go
        together is returned as invalid. Unknowns stand at their typical values. What finds no room when loading stays
        out and is counted as short.

    Raises
    ------
    ScenarioError
        If the seed or fill is not a whole number of 0 or more, or there is no such engine.
    SimulationError
        If anything unforeseen goes wrong; it names the fill and its seed, which replay it.
    """
    maker = engine_maker(engine) if isinstance(engine, str) else engine
    seed, fill = require_whole("seed", seed), require_whole("fill", fill)
    name = engine_named(engine) if isinstance(engine, str) else getattr(engine, "__name__", repr(engine))
    try:
        found = _simulate(scenario, seed, fill, maker, settings or Settings(), record=record)
    except ScenarioError:
        raise
    except Exception as error:
        what = ": ".join([type(error).__name__, *str(error).splitlines()[:1]])
        raise SimulationError(f"fill {fill} (seed {seed}): {what}") from error
    return replace(found, engine=name)


def _simulate(
    scenario: Scenario, seed: int, fill: int, maker: EngineMaker, settings: Settings, *, record: bool
) -> Fill:
    drawn = draw_fill_wide(scenario, seed, fill)
    invalid = ""
    try:
        as_drawn = with_drawn(scenario, drawn)
    except ScenarioError as error:
        as_drawn, invalid = scenario, f"what was drawn does not go together: {error}"
    section = build_cross_section(as_drawn)
    frames: list[Frame] = []
    column = VendingColumn(
        section,
        maker(section.scene, settings),
        settings=settings,
        speed=as_drawn.rotor.speed * 2 * math.pi / 60,
        watch=frames.append if record else None,
    )
    spreads = {name: product.spreads for name, product in scenario.products.items()}
    course = _Course(as_drawn, spreads, (seed, fill), column, section)
    if not invalid:
        try:
            course.run()
        except (LostContainerError, DivergedError) as error:
            invalid = str(error)
        except ScenarioError as error:
            invalid = f"what was drawn does not go together: {error}"
    loaded, left = len(course.bodies), len(column.left)
    if not invalid and not loaded:
        invalid = "not even one container found room"
    if not invalid and loaded != column.dispensed + left:
        invalid = f"loaded {loaded}, but {column.dispensed} came and {left} are left"
    return Fill(
        scenario=scenario,
        seed=seed,
        fill=fill,
        vends=tuple(course.vends),
        loaded=loaded,
        dispensed=column.dispensed,
        left=left,
        short=course.short,
        drawn=drawn,
        bodies=tuple(course.bodies),
        invalid=invalid,
        section=section,
        contacts=None if invalid else column.contacts(),
        frames=(*frames, column.frame()),
    )


class _Course:
    """One fill as it goes on: what was loaded, what was vended."""

    def __init__(
        self,
        scenario: Scenario,
        spreads: Mapping[str, Mapping[str, Spread]],
        draw: tuple[int, int],
        column: VendingColumn,
        section: CrossSection,
    ) -> None:
        self._scenario, self._spreads, self._draw = scenario, spreads, draw
        self._column, self._section = column, section
        self._surfaces = {name: k for k, name in enumerate(scenario.loaded_products)}
        self.bodies: list[Body] = []
        self.vends: list[Vend] = []
        self.short = 0

    def run(self) -> None:
        """Load, vend, top up once if that is wanted, and vend until empty or failed."""
        loading = self._scenario.loading
        self._load(loading.total)
        if loading.top_up_at is not None:
            if not self._vend_down_to(loading.top_up_at):
                return
            self._load(loading.total - len(self._column.left))
        self._vend_down_to(0, topped_up=loading.top_up_at is not None)

    def _load(self, count: int) -> None:
        """Lay in containers until that many are in or the next finds no room."""
        for k in range(count):
            item = len(self.bodies)
            name = self._scenario.product_of(item)
            container = self._drawn_container(name, item)
            placement = draw_placement(self._scenario.loading, *self._draw, item)
            body = container_body(container, item, self._surfaces[name], self._scenario.conditions)
            if not self._column.lay(body, placement.across, placement.angle):
                self._column.take_out(item)
                self.short += count - k
                break
            self.bodies.append(body)
        self._column.set_flats()

    def _drawn_container(self, name: str, item: int) -> Container:
        typical = self._scenario.products[name]
        container = draw_container(typical, *self._draw, item, spreads=self._spreads[name])
        if container is not typical:
            problems = tuple(container_contradictions(self._scenario, container, name))
            if problems:
                raise ScenarioError(problems)
        return container

    def _vend_down_to(self, level: int, *, topped_up: bool = False) -> bool:
        """Vend until at most so many are left; tell whether it came to that."""
        while (before := len(self._column.left)) > level:
            # The first vend of a fresh load takes the turns that bring a container as far as the outlet.
            turns = 1 if self.vends else self._section.turns_to_first
            number = len(self.vends) + 1
            vend = replace(self._vend(turns), vend=number, before=before, topped_up=topped_up)
            self.vends.append(vend)
            if vend.outcome.ends_the_fill:
                return False
        return True

    def _vend(self, turns: int) -> Vend:
        """Turn as often as it takes, and once more if nothing came."""
        made: list[Turn] = []
        held: Mechanism | None = None
        dropped = 0
        for number in range(turns + 1):
            if number == turns:
                held = self._column.why_held()
            made.append(turn := self._column.turn())
            dropped += len(turn.dropped)
            if turn.blocked or (dropped and number >= turns - 1):
                break
        outcome, mechanism = self._judged(dropped, held, made)
        return Vend(
            vend=0,
            outcome=outcome,
            mechanism=mechanism,
            remaining=len(self._column.left),
            before=0,
            duration=sum(turn.duration for turn in made),
            peak_force=max(turn.peak_force for turn in made),
            dent=max(turn.dent for turn in made),
        )

    def _judged(self, dropped: int, held: Mechanism | None, made: list[Turn]) -> tuple[Outcome, Mechanism | None]:
        if made[-1].blocked:
            return Outcome.STALL, self._column.why_blocked()
        if not dropped:
            return Outcome.BRIDGE, held
        if held is not None:
            return Outcome.LATE, held
        if dropped > 1:
            shared = any(turn.shared for turn in made)
            return Outcome.DOUBLE, Mechanism.SECOND_IN_POCKET if shared else Mechanism.UNKNOWN
        return Outcome.SINGLE, None
