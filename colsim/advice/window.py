"""Between which choices any serves: the edges, by bisection on common draws."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from colsim.advice.option import Alternative, Option, commonest_mechanism
from colsim.advice.risks import Case
from colsim.advice.status import Status, judged
from colsim.advice.study import Study
from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.sampling.fills import Fills
from colsim.sampling.looks import Run

__all__ = ["PROBE_FILLS", "Window", "coarse_window", "find_window"]

PROBE_FILLS = 32
"""Loadings of a probe, at most."""
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Window:
    """From where to where any choice serves, by the best guess in the unfavourable case.

    Attributes
    ----------
    low, high : float
        Ends [unit of the choice]: the last probes that served.
    below, above : str
        What goes wrong beyond each end; empty where nothing was looked at beyond it.
    within : float
        How near the ends were sought [unit of the choice].
    fills : int
        Loadings of each probe, at most.
    unit : str
        Unit of the choice.
    """

    low: float
    high: float
    below: str
    above: str
    within: float
    fills: int
    unit: str

    def depth(self, value: float) -> float:
        """Give how far a choice lies within: from the nearer end, or from the upper one at zero.

        An end beyond which nothing was looked at counts as well, but for none at all, 0, below which there is nothing.

        Parameters
        ----------
        value : float
            The choice [unit of the choice].

        Returns
        -------
        float
            [unit of the choice]; negative outside.
        """
        found = [self.high - value] + [value - self.low] * bool(self.below or self.low > 0)
        return min(found)

    def in_words(self) -> str:
        """Say from where to where any choice serves, and what ends it."""
        low, high = math.ceil(10 * self.low - _ROUNDING) / 10, math.floor(10 * self.high + _ROUNDING) / 10
        ends = [f"less: {self.below}" if self.below else "less was not looked at"] if self.below or low > 0 else []
        ends.append(f"more: {self.above}" if self.above else "more was not looked at")
        return f"Anything from {low:g} to {high:g} {self.unit} serves ({'; '.join(ends)})."


def coarse_window(options: Sequence[Option], best: Option, unit: str) -> Window:
    """Give the window as far as the options show it: half-way to the neighbours that do not meet the target.

    Parameters
    ----------
    options : sequence of Option
        In order of their values.
    best : Option
        One that meets the target.
    unit : str
        Unit of the choice.

    Returns
    -------
    Window
    """
    edges = _edges(options, best)
    low, high = ((edge.middle, edge.why) for edge in edges)
    within = max(edge.gap for edge in edges) / 2
    return Window(low[0], high[0], low[1], high[1], within, len(best.fills), unit)


def _edges(options: Sequence[Option], best: Option) -> tuple[_Edge, _Edge]:
    """Find the first and last of the neighbours that meet the target with the best one, and what lies beyond each."""
    first = last = options.index(best)
    while first > 0 and options[first - 1].status is Status.MEETS:
        first -= 1
    while last + 1 < len(options) and options[last + 1].status is Status.MEETS:
        last += 1
    below = options[first - 1] if first > 0 else None
    above = options[last + 1] if last + 1 < len(options) else None
    return _Edge(options[first].value, below), _Edge(options[last].value, above)


def find_window(
    options: Sequence[Option],
    best: Option,
    alternative: Callable[[float], Alternative],
    *,
    within: float,
    unit: str,
    study: Study,
) -> Window:
    """Seek the edges of what serves, between the options that meet the target and their neighbours that do not.

    Parameters
    ----------
    options : sequence of Option
        In order of their values.
    best : Option
        One that meets the target.
    alternative : callable
        Makes a choice of a value.
    within : float
        How near to seek [unit of the choice].
    unit : str
        Unit of the choice.
    study : Study
        Seed and where to run.

    Returns
    -------
    Window
        Each probe takes the unknowns of the best option's unfavourable case, and serves if no more of its loadings
        fail than the target allows. Interrupted by Ctrl-C, the edges as far as they were narrowed.

    Raises
    ------
    SimulationError
        If a fill cannot be carried through.
    """
    edges = _edges(options, best)
    case = best.risks.runs.get(Case.UNFAVOURABLE, best.fills).scenario
    while open_edges := [edge for edge in edges if edge.gap > within]:
        runs = [(edge, _run(case, alternative(edge.middle), best.risks.level, study)) for edge in open_edges]
        described = [(edge, run) for edge, run in runs if run is not None]
        found = study.simulate([run for _, run in described], at_most=PROBE_FILLS)
        if any(fills.interrupted for fills in found):
            break
        for edge in (edge for edge, run in runs if run is None):
            edge.bad, edge.why = edge.middle, "it does not go in"
        for (edge, _), fills in zip(described, found, strict=True):
            edge.take(fills)
    low, high = edges
    return Window(low.good, high.good, low.why, high.why, within, min(PROBE_FILLS, study.max_fills), unit)


class _Edge:
    """Between a choice that serves and one that does not."""

    def __init__(self, good: float, beyond: Option | None) -> None:
        self.good = good
        self.bad = good if beyond is None else beyond.value
        self.why = "" if beyond is None else beyond.mechanism or "not settled"

    @property
    def gap(self) -> float:
        return abs(self.bad - self.good)

    @property
    def middle(self) -> float:
        return (self.good + self.bad) / 2

    def take(self, fills: Fills) -> None:
        target = fills.scenario.target
        if not fills.invalid_count and fills.risk().per(target.unit).rate <= target.limit:
            self.good = self.middle
        else:
            self.bad, self.why = self.middle, commonest_mechanism([fills]) or self.why


def _run(case: Scenario, choice: Alternative, level: float, study: Study) -> Run | None:
    try:
        scenario = choice.of(case)
    except ScenarioError:
        return None
    return Run(scenario, lambda fills: judged(fills, level) is Status.FAILS, engine=study.engine)
