"""Which spacer goes into the rotor's pocket."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import nullcontext

from colsim.advice.decision import Decision, Option, Status
from colsim.errors import RangeError, ScenarioError, SimulationError
from colsim.model import Scenario
from colsim.sampling import simulate_fills
from colsim.sampling.draws import fresh_seed, require_whole
from colsim.sampling.many_fills import process_pool
from colsim.theory.pocket import greatest_spacer, least_spacer, second_nip_angle

__all__ = ["find_spacer", "spacer_bounds", "spacer_geometry"]

SPACER_STEP = 6.0  # [mm] between the spacers looked at when none are named


def spacer_bounds(scenario: Scenario) -> tuple[float, float]:
    """Give the least and greatest spacer that geometry and friction alone allow.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer does not matter.

    Returns
    -------
    (float, float)
        Thickness [mm]. The least is for a slow drum, and infinite if no spacer would do; the greatest is negative
        if the container stands proud of the bare pocket.
    """
    rotor, container = scenario.rotor, scenario.container
    if rotor.spacer_kind == "narrows_pocket":
        return _narrowing_bounds(scenario)
    try:
        least = least_spacer(
            rotor.pocket_width,
            rotor.pocket_depth,
            container.height,
            rotor_radius=rotor.radius,
            column_width=scenario.column.throat_width,
            friction=_wedge_friction(scenario),
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


def _narrowing_bounds(scenario: Scenario) -> tuple[float, float]:
    rotor, container = scenario.rotor, scenario.container
    greatest = rotor.pocket_width - container.breadth
    wedge = 2 * math.degrees(math.atan(_wedge_friction(scenario)))
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


def _wedge_friction(scenario: Scenario) -> float:
    """Give the smaller of the frictions between which the second container is wedged: drum, and wall ahead of it."""
    wall = "right" if scenario.rotor.turn == "clockwise" else "left"
    return min(scenario.rotor.friction, scenario.column.friction_at(wall, scenario.container.height / 2))


def spacer_geometry(thickness: float, bounds: tuple[float, float]) -> str:
    """Say in words what the bounds say of one spacer."""
    least, greatest = bounds
    if thickness > greatest:
        return "too thick: the first stands proud of the drum" if greatest >= 0 else "the pocket is too shallow"
    if thickness < least:
        return "thin for a slow drum: a second sinks in and may be nipped"
    return "within the bounds"


def default_spacers(scenario: Scenario) -> tuple[float, ...]:
    """List the scenario's own spacer, none, and every 6 mm as far as the question goes.

    Beside the container that is the last that leaves it room; under it, the first on which it stands proud.
    """
    _, greatest = spacer_bounds(scenario)
    steps = max(0, math.floor(greatest / SPACER_STEP))
    last = steps if scenario.rotor.spacer_kind == "narrows_pocket" else steps + 1
    steps_of_six = [SPACER_STEP * k for k in range(last + 1)]
    return (scenario.rotor.spacer_thickness, *(s for s in steps_of_six if _can_be_described(scenario, s)))


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
    max_fills: int = 60,
    seed: int | None = None,
    executor: Executor | None = None,
    progress: bool = False,
) -> Decision:
    """Find the spacer with which the column vends one container a turn.

    Every spacer is simulated on the same draws, and the confidence is shared among them: each option's interval
    holds at ``1 - (1 - target.confidence) / number of options``.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer's kind counts, its thickness does not.
    spacers : sequence of float, optional
        Thicknesses to look at [mm]; if not given, the scenario's own, none, and every 6 mm to the first too thick.
    max_fills : int
        Fills to simulate for each spacer.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given.
    progress : bool
        Whether to show a bar for each spacer on standard error.

    Returns
    -------
    Decision
        Recommended is the spacer in the middle of the longest run of neighbours that meet the target. Where none
        is shown to, the one with the fewest failures is named if it is undecided, and none if all fail.

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
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    level = 1 - (1 - scenario.target.confidence) / len(thicknesses)
    bounds = spacer_bounds(scenario)
    options = []
    with process_pool() if executor is None else nullcontext(executor) as pool:
        for thickness, changed in zip(thicknesses, scenarios, strict=True):
            fills = simulate_fills(changed, fills=max_fills, seed=seed, executor=pool, progress=progress)
            if fills.fills:
                options.append(Option(thickness, spacer_geometry(thickness, bounds), fills, level))
            if fills.interrupted:
                break
    if not options:
        raise SimulationError("stopped before the first fill was done; nothing to advise from")
    return _decide(scenario, tuple(options), seed, stopped_early=fills.interrupted)


def _decide(scenario: Scenario, options: tuple[Option, ...], seed: int, *, stopped_early: bool) -> Decision:
    target = scenario.target.failures_per_vend
    best = _middle_of_longest_run(options)
    status = Status.MEETS
    if best is None:
        undecided = [option for option in options if option.status is Status.UNDECIDED]
        best = min(undecided, key=_how_bad, default=None)
        status = Status.FAILS if best is None else Status.UNDECIDED
    return Decision(
        decision="spacer",
        recommended=None if best is None else best.value,
        unit="mm",
        status=status,
        reason=("Stopped early, so not all was looked at. " if stopped_early else "")
        + _reason(options, best, status, target),
        options=options,
        measure_next=_measure_next(scenario, best, status),
        seed=seed,
        target=target,
    )


def _how_bad(option: Option) -> tuple[bool, float, float]:
    """Order options by their best guess, with those of which nothing is known last."""
    e = option.estimate
    return (math.isnan(e.rate), e.rate, e.high)


def _middle_of_longest_run(options: tuple[Option, ...]) -> Option | None:
    runs: list[list[Option]] = [[]]
    for option in options:
        if option.status is Status.MEETS:
            runs[-1].append(option)
        elif runs[-1]:
            runs.append([])
    longest = max(runs, key=len)
    return longest[(len(longest) - 1) // 2] if longest else None


def _reason(options: tuple[Option, ...], best: Option | None, status: Status, target: float) -> str:
    allowed = f"{1000 * target:g} bad vends in 1000"
    if best is None:
        return f"Every spacer looked at goes wrong more often than {allowed}. " + _worst(options)
    if status is Status.UNDECIDED:
        return (
            f"{_name(best.value)} went wrong least, but {best.estimate.fills} fills do not show whether it stays "
            f"within {allowed}. " + _worst(options)
        )
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
    return "No spacer" if thickness == 0 else f"The {thickness:g} mm spacer"


def _worst(options: tuple[Option, ...]) -> str:
    causes = Counter(option.mechanism for option in options if option.mechanism)
    return f"What goes wrong most: {causes.most_common(1)[0][0]}." if causes else ""


def _measure_next(scenario: Scenario, best: Option | None, status: Status) -> tuple[str, ...]:
    hints = []
    if best is not None and status is Status.UNDECIDED:
        n = scenario.loading.count
        level = best.estimate.level
        q = scenario.target.failures_per_vend * n / (1 + (n - 1) * scenario.target.failures_per_vend)
        needed = math.ceil(math.log((1 - level) / 2) / math.log1p(-q))
        more = (
            f"simulate at least {needed} fills a spacer"
            if best.estimate.failures == 0
            else "simulate more fills a spacer"
        )
        hints.append(f"{more} (now {best.estimate.fills})")
    named = {
        "rotor.torque_limit": "the torque at which the motor stalls",
        "rotor.speed": "the drum's speed",
        "rotor.friction": "container on rotor friction",
        "rotor.lead_in": "the rounding of the pocket's mouth",
    }
    assumed = scenario.assumed()
    hints += [f"{what} ({path}, now assumed {assumed[path]:g})" for path, what in named.items() if path in assumed]
    return tuple(hints)
