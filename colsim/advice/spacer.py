"""Which spacer goes into the rotor's pocket."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from contextlib import nullcontext

from colsim.advice.decision import (
    Decision,
    Option,
    Status,
    about_steps,
    allowed_in_words,
    hints_for,
    with_steps_checked,
    worst_in_words,
)
from colsim.advice.over_unknowns import OverUnknowns, simulate_over_unknowns
from colsim.advice.to_measure import in_words, what_measuring_brings
from colsim.errors import RangeError, ScenarioError, SimulationError
from colsim.model import Container, Scenario, Target
from colsim.physics.choice import AUTO, engine_named
from colsim.sampling.checks import require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.many_fills import process_pool, require_room
from colsim.theory.pocket import greatest_spacer, least_spacer, second_nip_angle

__all__ = ["MAX_FILLS", "find_spacer", "spacer_bounds", "spacer_geometry"]

MAX_FILLS = 96  # enough to show a target of one vend in a hundred with ten containers and six spacers
SPACER_STEP = 6.0  # [mm] between the spacers looked at when none are named


def spacer_bounds(scenario: Scenario) -> tuple[float, float]:
    """Give the least and greatest spacer that geometry and friction alone allow for all that is loaded.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer does not matter.

    Returns
    -------
    (float, float)
        Thickness [mm]. The least is for a slow drum, and infinite if no spacer would do; the greatest is negative
        if a container stands proud of the bare pocket. Of several kinds the one that asks most counts at each end.
    """
    bounds = [_bounds_for(scenario, container) for container in scenario.loaded_products.values()]
    return max(least for least, _ in bounds), min(greatest for _, greatest in bounds)


def _bounds_for(scenario: Scenario, container: Container) -> tuple[float, float]:
    rotor = scenario.rotor
    if rotor.spacer_kind == "narrows_pocket":
        return _narrowing_bounds(scenario, container)
    try:
        least = least_spacer(
            rotor.pocket_width,
            rotor.pocket_depth,
            container.height,
            rotor_radius=rotor.radius,
            column_width=scenario.column.throat_width,
            friction=_wedge_friction(scenario, container),
        )
    except RangeError:
        least = math.inf
    greatest = greatest_spacer(
        rotor.pocket_width,
        rotor.pocket_depth,
        container.height,
        rotor_radius=rotor.radius,
        clearance=rotor.housing_clearance,
    )
    return least, greatest


def _narrowing_bounds(scenario: Scenario, container: Container) -> tuple[float, float]:
    rotor = scenario.rotor
    greatest = rotor.pocket_width - container.breadth
    wedge = 2 * math.degrees(math.atan(_wedge_friction(scenario, container)))
    for tenths in range(math.floor(greatest * 10) + 1):
        angle = second_nip_angle(
            rotor.pocket_width - tenths / 10,
            rotor.pocket_depth,
            container.height,
            rotor_radius=rotor.radius,
            column_width=scenario.column.throat_width,
        )
        if angle >= wedge:
            return tenths / 10, greatest
    return math.inf, greatest


def _wedge_friction(scenario: Scenario, container: Container) -> float:
    """Give the smaller of the frictions between which the second container is wedged: drum, and wall ahead of it."""
    wall = "right" if scenario.rotor.turn == "clockwise" else "left"
    on_drum = scenario.rotor.friction if container.rotor_friction is None else container.rotor_friction
    return min(on_drum, scenario.friction_on_wall(container, wall, container.height / 2))


def spacer_geometry(thickness: float, bounds: tuple[float, float]) -> str:
    """Say in words what the bounds say of one spacer."""
    least, greatest = bounds
    if thickness > greatest:
        return "too thick: the first stands proud of the drum" if greatest >= 0 else "the pocket is too shallow"
    if thickness < least:
        return "thin for a slow drum: a second sinks in and may be nipped"
    return "within the bounds"


def default_spacers(scenario: Scenario) -> tuple[float, ...]:
    """List the scenario's own spacer, none, and those on hand, or else every 6 mm as far as the question goes.

    Beside the container that is the last that leaves it room; under it, the first on which it stands proud.
    """
    if scenario.on_hand.spacers:
        wanted: Iterable[float] = (0.0, *scenario.on_hand.spacers)
    else:
        _, greatest = spacer_bounds(scenario)
        steps = max(0, math.floor(greatest / SPACER_STEP))
        last = steps if scenario.rotor.spacer_kind == "narrows_pocket" else steps + 1
        wanted = (SPACER_STEP * k for k in range(last + 1))
    return (scenario.rotor.spacer_thickness, *(s for s in wanted if _can_be_described(scenario, s)))


def _can_be_described(scenario: Scenario, thickness: float) -> bool:
    """Tell whether the spacer leaves a pocket, and room above it for what is loaded."""
    try:
        scenario.changed(**{"rotor.spacer_thickness": thickness})
    except ScenarioError:
        return False
    return True


def find_spacer(
    scenario: Scenario,
    *,
    spacers: Sequence[float] | None = None,
    max_fills: int = MAX_FILLS,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    progress: bool = False,
) -> Decision:
    """Find the spacer with which the column vends one container a turn.

    Every spacer is simulated on the same draws, with what nobody measured at its typical value and at both ends, until
    it is settled. The confidence is shared among the spacers: each one's intervals hold at ``1 - (1 -
    target.confidence) / number of options``, however often one looks.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer's kind counts, its thickness does not.
    spacers : sequence of float, optional
        Thicknesses to look at [mm]; if not given, the scenario's own, none, and those on hand, or else every 6 mm
        to the first too thick.
    max_fills : int
        Fills to simulate for each spacer and end, at most.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    Decision
        Recommended is the spacer in the middle of the longest run of neighbours that meet the target. Where none
        is shown to, the least bad of those that may is named, and none if all fail. Its first loadings are simulated
        again with half the time step; if the verdict turns on that, it does not meet the target.

    Raises
    ------
    ScenarioError
        If a spacer cannot go into the pocket, or a number is not allowed.
    SimulationError
        If the column does not hold what it is to be loaded with, or Ctrl-C came before the first fill was done.
    """
    thicknesses = tuple(sorted({float(s) for s in (default_spacers(scenario) if spacers is None else spacers)}))
    if not thicknesses:
        raise ScenarioError("spacers: got none; allowed: one thickness in mm or more, 0 for no spacer")
    scenarios = [scenario.changed(**{"rotor.spacer_thickness": thickness}) for thickness in thicknesses]
    max_fills = require_whole("max_fills", max_fills, least=1)
    engine = engine_named(engine)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    level = 1 - (1 - scenario.target.confidence) / len(thicknesses)
    bounds = spacer_bounds(scenario)
    with process_pool() if executor is None else nullcontext(executor) as pool:
        found = simulate_over_unknowns(
            scenarios, level=level, max_fills=max_fills, seed=seed, executor=pool, engine=engine, progress=progress
        )
        options = tuple(
            Option(thickness, _geometry(thickness, bounds, over), over)
            for thickness, over in zip(thicknesses, found, strict=True)
            if over.typical.records
        )
        if not options:
            raise SimulationError("stopped before the first fill was done; nothing to advise from")
        if all(option.fills.always_short for option in options):
            require_room(options[0].fills)
        if not any(option.over.interrupted for option in options):
            options = with_steps_checked(options, _best, executor=pool, progress=progress)
        best = _best(options)
        narrowed: tuple[str, ...] = ()
        if best is not None and best.step_check is not None and best.status is Status.DEPENDS:
            narrowed = what_measuring_brings(best.over, max_fills=max_fills, seed=seed, executor=pool)
    return _decision(scenario, options, best, seed, narrowed)


def _geometry(thickness: float, bounds: tuple[float, float], over: OverUnknowns) -> str:
    room = "; no room for all that was to be loaded" if over.typical.always_short else ""
    return spacer_geometry(thickness, bounds) + room


def _best(options: tuple[Option, ...]) -> Option | None:
    """Choose the middle of the longest run that meets, or the least bad of those that may."""
    runs: list[list[Option]] = [[]]
    for option in options:
        if option.status is Status.MEETS:
            runs[-1].append(option)
        elif runs[-1]:
            runs.append([])
    longest = max(runs, key=len)
    if longest:
        return longest[(len(longest) - 1) // 2]
    open_ones = [option for option in options if option.status is not Status.FAILS]
    return min(open_ones, key=lambda option: option.over.how_bad, default=None)


def _decision(
    scenario: Scenario, options: tuple[Option, ...], best: Option | None, seed: int, narrowed: tuple[str, ...]
) -> Decision:
    stopped = any(option.over.interrupted for option in options) or (best is not None and best.step_check is None)
    hints = () if best is None else hints_for(best)
    return Decision(
        decision="spacer",
        recommended=None if best is None else best.value,
        unit="mm",
        status=Status.FAILS if best is None else best.status,
        reason=" ".join(
            part
            for part in (
                "Stopped early, so not all was looked at." if stopped else "",
                _reason(options, best, scenario.target),
                about_steps(options, best, lambda option: _name(option.value)),
            )
            if part
        ),
        options=options,
        measure_next=(*narrowed, *hints),
        seed=seed,
        target=scenario.target.failures_per_vend,
    )


def _reason(options: tuple[Option, ...], best: Option | None, target: Target) -> str:
    allowed = allowed_in_words(target)
    if best is None:
        return f"Every spacer looked at goes wrong more often than {allowed}. " + worst_in_words(options)
    if best.turns_on_steps:
        return f"{_name(best.value)} stays within {allowed} with the usual time steps only."
    if best.status is Status.UNDECIDED:
        return (
            f"{_name(best.value)} went wrong least, but {best.estimate.fills} fills do not show whether it stays "
            f"within {allowed}. " + worst_in_words(options)
        )
    if best.status is Status.DEPENDS:
        on = f" It depends most on the {in_words(best.over.depends_on)}." if best.over.depends_on else ""
        return (
            f"{_name(best.value)} went wrong least, but whether it stays within {allowed} depends on what was not "
            f"measured.{on} {worst_in_words(options)}"
        ).rstrip()
    thinner = [option for option in options if option.value < best.value and option.status is Status.FAILS]
    thicker = [option for option in options if option.value > best.value and option.status is Status.FAILS]
    parts = [f"{_name(best.value)} stays within {allowed}."]
    if thinner:
        worst = thinner[-1]
        where = "Without one" if worst.value == 0 else f"Thinner, from {worst.value:g} mm down,"
        parts.append(f"{where} it fails: {worst.mechanism}.")
    if thicker:
        parts.append(f"Thicker, from {thicker[0].value:g} mm up, it fails: {thicker[0].mechanism}.")
    return " ".join(parts)


def _name(thickness: float) -> str:
    return "The bare pocket" if thickness == 0 else f"The {thickness:g} mm spacer"
