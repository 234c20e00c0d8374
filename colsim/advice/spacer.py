"""Which spacer goes into the rotor's pocket."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor

from colsim.advice.decision import Decision
from colsim.advice.option import Alternative, Option
from colsim.advice.pipeline import Inquiry, Question, decide, least_bad
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.advice.spacer_options import can_be_described, default_spacers, spacer_alternative
from colsim.advice.status import Status
from colsim.advice.study import study
from colsim.advice.window import Window, coarse_window, find_window
from colsim.model import Scenario
from colsim.physics.choice import AUTO
from colsim.sampling.checks import require_list, require_number

__all__ = ["MAX_FILLS", "find_spacer"]

MAX_FILLS = 96  # enough to show a target of one vend in a hundred with ten containers and six spacers
EDGES_WITHIN = 0.5  # [mm] to which the edges of what serves are sought


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

    Every spacer is simulated on the same draws, in all cases of what nobody measured, until it is settled. The
    confidence is shared among the spacers, however often one looks. Where some meet the target, the edges between which
    any spacer serves are sought to half a millimetre on the same draws.

    Parameters
    ----------
    scenario : Scenario
        Its own spacer's kind counts; its thickness is looked at with the others.
    spacers : sequence of float, optional
        Thicknesses to look at [mm]; if not given, the scenario's own, none, and those on hand, or else every 6 mm
        to the first too thick, and the whole millimetre that lies deepest between the edges.
    max_fills : int
        Fills to simulate for each spacer and case, at most.
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
        Recommended is, of the spacers that meet the target, the one farthest from both edges of the widest range of
        neighbours that do. Where none is shown to, the least bad of those that may is named, and none if all fail.

    Raises
    ------
    ScenarioError
        If a spacer cannot go into the pocket, or a number is not allowed.
    SimulationError
        If the column does not hold what it is to be loaded with, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.
    """
    question = _Spacer(scenario, spacers)
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        return decide(question, how)


class _Spacer(Question):
    decision, unit, things = "spacer", "mm", "spacer looked at"

    def __init__(self, scenario: Scenario, spacers: Sequence[float] | None) -> None:
        super().__init__(scenario)
        self.bounds = spacer_bounds(scenario)
        self.thicknesses = sorted(set(default_spacers(scenario) if spacers is None else _named_spacers(spacers)))
        self._sought = False
        self.any_can_be_had = spacers is None and not scenario.on_hand.spacers

    @property
    def possible(self) -> int:
        return len(self.thicknesses) + self.any_can_be_had

    @property
    def with_present(self) -> bool:
        return self.scenario.rotor.spacer_thickness in self.thicknesses

    def alternative(self, thickness: float) -> Alternative:
        return spacer_alternative(self.scenario, thickness, self.bounds)

    def next(self, inquiry: Inquiry) -> Sequence[Alternative]:
        options = inquiry.options
        if not options:
            return [self.alternative(thickness) for thickness in self.thicknesses]
        best = self.choose(options)
        if self._sought or best is None or best.status is not Status.MEETS:
            return ()
        self._sought = True
        window = find_window(
            options,
            best,
            self.alternative,
            within=EDGES_WITHIN,
            unit=self.unit,
            study=inquiry.study,
        )
        if not (window.below or window.above):
            return ()  # nothing ends it among what was looked at
        self.window = window
        high = min(window.high, max(window.low, self.bounds[1]))
        deepest = float(round((window.low + high) / 2 if window.low > 0 else 0.0))
        looked_at = {option.value for option in options}
        if not self.any_can_be_had or deepest in looked_at or not can_be_described(self.scenario, deepest):
            return ()
        return [self.alternative(deepest)]

    def choose(self, options: Sequence[Option]) -> Option | None:
        runs: list[list[Option]] = [[]]
        for option in options:
            if option.status is Status.MEETS:
                runs[-1].append(option)
            elif runs[-1]:
                runs.append([])
        widest = max(runs, key=lambda run: run[-1].value - run[0].value if run else -1.0)
        if not widest:
            return least_bad(options)
        window = self.window or coarse_window(options, widest[0], self.unit)
        return max(widest, key=lambda option: (self._room(window, option.value), -option.value))

    def _room(self, window: Window, thickness: float) -> float:
        """Give how far a thickness lies within what serves, and within what does not stand proud by measure [mm]."""
        return min(window.depth(thickness), self.bounds[1] - thickness)

    def beside(self, options: Sequence[Option], best: Option) -> Sequence[str]:
        thinner = [option for option in options if option.value < best.value and option.status is Status.FAILS]
        thicker = [option for option in options if option.value > best.value and option.status is Status.FAILS]
        window = self.window_among(options)
        parts = [] if window is None else [window.in_words()]
        if window is not None and 0 <= self.bounds[1] < window.high:
            parts.append(f"By measure the first one stands proud of the drum above {self.bounds[1]:.1f} mm.")
        if thinner:
            worst = thinner[-1]
            where = "The bare pocket" if worst.value == 0 else f"Thinner, from {worst.value:g} mm down, it"
            parts.append(f"{where} fails: {worst.mechanism}.")
        if thicker:
            parts.append(f"Thicker, from {thicker[0].value:g} mm up, it fails: {thicker[0].mechanism}.")
        return parts


def _named_spacers(spacers: Sequence[float]) -> list[float]:
    allowed = "thicknesses as numbers in mm, 0 for the bare pocket"
    return [require_number("spacers", each, allowed) for each in require_list("spacers", spacers, "[0, 6, 12]")]
