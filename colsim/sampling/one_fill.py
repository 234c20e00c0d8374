"""One loading of a column, vended until it is empty or has failed: its record, and its replay frame by frame."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from colsim.errors import ScenarioError, SimulationError
from colsim.model import Scenario
from colsim.physics.choice import AUTO, EngineMaker, engine_maker, engine_named
from colsim.physics.cross_section import CrossSection, build_cross_section
from colsim.physics.engines import Contacts, DivergedError, Settings
from colsim.physics.scene import Body
from colsim.physics.vending import Frame, LostContainerError, VendingColumn
from colsim.sampling.checks import require_scenario, require_settings, require_whole
from colsim.sampling.course import Course
from colsim.sampling.draws import draw_fill_wide, with_drawn
from colsim.sampling.vend import SEEN_FROM_OUTSIDE, Outcome, Vend
from colsim.version import __version__

__all__ = ["SEEN_FROM_OUTSIDE", "Fill", "Outcome", "Replay", "Vend", "lost_fill", "replay", "simulate_fill"]


@dataclass(frozen=True, repr=False, slots=True)
class Fill:
    """One loading, vended until empty or failed: a small record, from which it can be made again.

    Attributes
    ----------
    seed, number : int
        Which draws; with the same scenario the same pair gives the same fill again.
    vends : tuple of Vend
        In order.
    loaded, dispensed, left : int
        Containers that went in, came out, and are still in.
    short : int
        Containers that were to go in but found no room.
    drawn : mapping of str to float
        What was drawn for the whole of this fill, by dotted path [unit of the field].
    invalid : str
        Why the simulation of this fill cannot be believed; empty if it can.
    engine : str
        Name of the engine; results of two engines are not the same to the last bit.
    settings : Settings
        How finely it worked.
    version : str
        Of colsim, likewise.
    """

    seed: int
    number: int
    vends: tuple[Vend, ...]
    loaded: int
    dispensed: int
    left: int
    short: int
    drawn: Mapping[str, float]
    invalid: str
    engine: str
    settings: Settings
    version: str

    def __repr__(self) -> str:
        return f"<Fill: {self.summary()}>"

    def __str__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"

    @property
    def failure(self) -> Vend | None:
        """First vend that was not a single one, if any."""
        return next((vend for vend in self.vends if vend.outcome is not Outcome.SINGLE), None)

    @property
    def went_wrong(self) -> bool:
        """Whether it failed or cannot be believed, which counts as failed."""
        return bool(self.invalid) or self.failure is not None

    @property
    def vends_to_failure(self) -> int:
        """Vends up to the first failure, that one included; all of them in a clean fill."""
        return self.failure.number if self.failure else len(self.vends)

    def summary(self) -> str:
        """Say in a line what happened."""
        name = _named(self.seed, self.number)
        if self.invalid:
            return f"{name} is invalid: {self.invalid}"
        last = self.failure
        if last is None:
            return f"{name}: all {self.loaded} containers came one by one"
        seen = SEEN_FROM_OUTSIDE[last.outcome]
        return f"{name}: vend {last.number} of {self.loaded}: {last.outcome} ({last.mechanism}): {seen}"

    def replay(self, scenario: Scenario) -> Replay:
        """Make this fill again, with a frame every fiftieth of a second.

        Parameters
        ----------
        scenario : Scenario
            The one that it was made of; a record is too small to hold it. `Fills.replay` knows it.

        Returns
        -------
        Replay
            The same fill to the last bit.

        Raises
        ------
        ScenarioError
            If it is not a scenario, or the fill was made on an engine that has no name in colsim.
        SimulationError
            If the fill was made with another version of colsim, or comes out otherwise: of another scenario, or on
            another machine.
        """
        name = _named(self.seed, self.number)
        if self.version != __version__:
            raise SimulationError(
                f"{name} was made with colsim {self.version}, and this is {__version__}, which may give another one: "
                f"install {self.version} to replay it, or see what this version gives with replay(scenario, "
                f"seed={self.seed}, number={self.number})"
            )
        again = replay(scenario, seed=self.seed, number=self.number, settings=self.settings, engine=self.engine)
        if again.fill != self:
            raise SimulationError(
                f"{name} comes out otherwise than it did ({again.fill.summary()}): give the scenario that it was made "
                "of; on another processor or with other versions of numpy or numba fills may differ"
            )
        return again


@dataclass(frozen=True, repr=False)
class Replay:
    """A fill made again, with what is too much to keep of each.

    Attributes
    ----------
    scenario : Scenario
        What was simulated.
    fill : Fill
        Its record.
    bodies : tuple of Body
        The containers, in the order of loading.
    section : CrossSection
        The geometry that was simulated.
    frames : tuple of Frame
        Every fiftieth of a second, and always the last state.
    contacts : Contacts or None
        Contacts at the end, at rest; None if the fill is invalid.
    """

    scenario: Scenario
    fill: Fill
    bodies: tuple[Body, ...]
    section: CrossSection
    frames: tuple[Frame, ...]
    contacts: Contacts | None

    def __repr__(self) -> str:
        return f"<Replay of {_named(self.fill.seed, self.fill.number)}: {len(self.frames)} frames>"

    def __str__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        return self.fill._repr_html_()

    def summary(self) -> str:
        """Say in a line what happened."""
        return self.fill.summary()


def simulate_fill(
    scenario: Scenario,
    *,
    seed: int,
    number: int = 0,
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
    number : int
        Which fill of that seed, from 0; the same one as among many.
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
        If the scenario or the settings are something else, the seed or number is not a whole number of 0 or more, or
        there is no such engine.
    SimulationError
        If anything unforeseen goes wrong; it names the fill and its seed, which replay it.
    """
    return _simulated(scenario, seed, number, settings, engine)[0]


def replay(
    scenario: Scenario,
    *,
    seed: int,
    number: int = 0,
    settings: Settings | None = None,
    engine: str | EngineMaker = AUTO,
) -> Replay:
    """Make one fill again, or for the first time, with a frame every fiftieth of a second.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    seed : int
        Seed of all draws, 0 or more.
    number : int
        Which fill of that seed, from 0.
    settings : Settings, optional
        How finely the engine works.
    engine : str or callable
        As for `simulate_fill`.

    Returns
    -------
    Replay
        Its ``fill`` is what `simulate_fill` gives for the same, to the last bit.

    Raises
    ------
    ScenarioError
        As `simulate_fill`.
    SimulationError
        As `simulate_fill`.

    Examples
    --------
    >>> from colsim import Scenario
    >>> from colsim.sampling import replay
    >>> scenario = Scenario(
    ...     container={"diameter": 66, "mass": 0.54, "stiffness": 70},
    ...     column={"width": 90, "height": 900, "wall_friction": 0.25},
    ...     rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80},
    ...     loading={"count": 2},
    ... )
    >>> again = replay(scenario, seed=1)
    >>> print(again)
    fill 0 (seed 1): all 2 containers came one by one
    >>> again.fill.replay(scenario).fill == again.fill
    True
    """
    frames: list[Frame] = []
    fill, course, column = _simulated(scenario, seed, number, settings, engine, frames.append)
    return Replay(
        scenario=scenario,
        fill=fill,
        bodies=tuple(course.bodies),
        section=course.section,
        frames=(*frames, column.frame()),
        contacts=None if fill.invalid else column.contacts(),
    )


def _named(seed: int, number: int) -> str:
    return f"fill {number} (seed {seed})"


def lost_fill(
    scenario: Scenario, *, seed: int, number: int, engine: str = AUTO, settings: Settings | None = None, why: str
) -> Fill:
    """Give the record of a fill that cannot be simulated: invalid, with what was drawn for it.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    seed : int
        Seed of all draws, 0 or more.
    number : int
        Which fill of that seed, from 0.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    settings : Settings, optional
        How finely the engine was to work.
    why : str
        Why it cannot be simulated.

    Returns
    -------
    Fill

    Raises
    ------
    ScenarioError
        If there is no such engine, or numba does not work here.
    """
    return Fill(
        seed=seed,
        number=number,
        vends=(),
        loaded=0,
        dispensed=0,
        left=0,
        short=0,
        drawn=draw_fill_wide(scenario, seed, number),
        invalid=why,
        engine=engine_named(engine),
        settings=settings or Settings(),
        version=__version__,
    )


def _simulated(
    scenario: Scenario,
    seed: int,
    number: int,
    settings: Settings | None,
    engine: str | EngineMaker,
    watch: Callable[[Frame], None] | None = None,
) -> tuple[Fill, Course, VendingColumn]:
    """Check what is asked for and simulate it; what goes wrong names the fill."""
    require_scenario(scenario)
    require_settings(settings)
    seed, number = require_whole("seed", seed), require_whole("number", number)
    if callable(engine):
        maker, name = engine, getattr(engine, "__name__", repr(engine))
    else:
        maker, name = engine_maker(engine), engine_named(engine)
    try:
        course, column, drawn, invalid = _carried_through(
            scenario, (seed, number), maker, settings or Settings(), watch
        )
    except ScenarioError:
        raise
    except Exception as error:
        what = ": ".join([type(error).__name__, *str(error).splitlines()[:1]])
        raise SimulationError(f"{_named(seed, number)}: {what}") from error
    fill = Fill(
        seed=seed,
        number=number,
        vends=tuple(course.vends),
        loaded=len(course.bodies),
        dispensed=column.dispensed,
        left=len(column.left),
        short=course.short,
        drawn=drawn,
        invalid=invalid,
        engine=name,
        settings=settings or Settings(),
        version=__version__,
    )
    return fill, course, column


def _carried_through(
    scenario: Scenario,
    draw: tuple[int, int],
    maker: EngineMaker,
    settings: Settings,
    watch: Callable[[Frame], None] | None,
) -> tuple[Course, VendingColumn, Mapping[str, float], str]:
    """Give the course of a fill, the column as it is then, what was drawn, and why it is invalid."""
    drawn = draw_fill_wide(scenario, *draw)
    invalid = ""
    try:
        as_drawn = with_drawn(scenario, drawn)
    except ScenarioError as error:
        as_drawn, invalid = scenario, f"what was drawn does not go together: {error}"
    section = build_cross_section(as_drawn)
    column = VendingColumn(
        section,
        maker(section.scene, settings),
        settings=settings,
        speed=as_drawn.rotor.speed * 2 * math.pi / 60,
        watch=watch,
    )
    spreads = {name: product.spreads for name, product in scenario.products.items()}
    course = Course(as_drawn, spreads, draw, column, section)
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
    return course, column, drawn, invalid
