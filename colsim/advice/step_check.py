"""Whether what is recommended comes out the same with finer time steps."""

from __future__ import annotations

from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass, replace

from tqdm import tqdm

from colsim.advice.over_unknowns import End, OverUnknowns
from colsim.physics.choice import finer
from colsim.sampling.fills import Fills
from colsim.sampling.many_fills import Batch, simulate_batches
from colsim.sampling.one_fill import Fill
from colsim.sampling.pairs import Pairs

__all__ = ["CHECKED_FILLS", "StepCheck", "check_steps"]

CHECKED_FILLS = 24
"""Loadings at each end that are simulated again, at most."""


@dataclass(frozen=True)
class StepCheck:
    """Loadings that were simulated with the usual time step, and again with half of it.

    Attributes
    ----------
    fills : int
        Pairs of loadings on the same draws, with what nobody measured at its typical value, and at the unfavourable end
        or, where no end stood out, drawn over its range.
    only_coarse, only_fine : int
        Pairs in which only the loading with the usual step, or only that with the finer one, met trouble: a vend that
        was not a single one, or a simulation that cannot be believed.
    turns : bool
        Whether the verdict would be another one with the finer loadings in place of the others, or the two rates
        differ by more than chance at the target's confidence (exact McNemar test).
    """

    fills: int
    only_coarse: int
    only_fine: int
    turns: bool

    @property
    def changed(self) -> int:
        """Loadings that came out otherwise."""
        return self.only_coarse + self.only_fine

    def in_words(self) -> str:
        """Say how many loadings came out otherwise, and whether for the worse."""
        text = f"{self.changed} of {self.fills} loadings came out otherwise"
        if not self.changed:
            return text
        if self.only_coarse and self.only_fine:
            return f"{text}, {self.only_fine} of them worse"
        how = "worse" if self.only_fine else "better"
        return f"{text}, all of them {how}" if self.changed > 1 else f"{text}, and {how}"


def check_steps(over: OverUnknowns, *, executor: Executor, progress: bool = False) -> StepCheck | None:
    """Simulate the first loadings of an option again, with half the time step.

    Parameters
    ----------
    over : OverUnknowns
        What was simulated of the option, on one engine.
    executor : concurrent.futures.Executor
        Where to run.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    StepCheck or None
        Of the typical values, and of the unfavourable end or what was drawn over the ranges: the first 24 loadings
        each, or as many as there are. None if Ctrl-C came before all were done: what is missing could be what differs.

    Raises
    ------
    SimulationError
        If a loading cannot be carried through.
    """
    coarse = [over.typical]
    worse = over.runs.get(End.UNFAVOURABLE, over.runs.get(End.DRAWN))
    if worse is not None and worse is not over.typical:
        coarse.append(worse)
    engine, seed = over.typical.engine, over.typical.seed
    settings = finer(engine)
    numbers = [range(min(CHECKED_FILLS, len(fills))) for fills in coarse]
    batches = [Batch(fills.scenario, seed, each, engine, settings) for fills, each in zip(coarse, numbers, strict=True)]
    total = sum(map(len, numbers))
    found: list[list[Fill]] = []
    with (
        suppress(KeyboardInterrupt),  # while the bar closes; if all are done, they count
        tqdm(total=total, unit="fill", desc="finer time steps", disable=not progress, leave=False) as bar,
    ):
        found, _ = simulate_batches(batches, executor, bar)
    if sum(map(len, found)) < total:
        return None
    return _compared(over, coarse, found)


def _compared(over: OverUnknowns, coarse: list[Fills], fine: list[list[Fill]]) -> StepCheck:
    pairs = [
        (_met_trouble(usual), _met_trouble(finer_one))
        for fills, again in zip(coarse, fine, strict=True)
        for usual, finer_one in zip(fills, again, strict=False)
    ]
    counted = Pairs(
        fills=len(pairs),
        only_first=sum(usual and not finer_one for usual, finer_one in pairs),
        only_second=sum(finer_one and not usual for usual, finer_one in pairs),
    )
    instead = {
        id(fills): replace(fills, records=(*again, *fills[len(again) :]))
        for fills, again in zip(coarse, fine, strict=True)
    }
    runs = {end: instead.get(id(fills), fills) for end, fills in over.runs.items()}
    is_shown = counted.p_value <= 1 - over.scenario.target.confidence
    return StepCheck(
        fills=counted.fills,
        only_coarse=counted.only_first,
        only_fine=counted.only_second,
        turns=is_shown or replace(over, runs=runs).status is not over.status,
    )


def _met_trouble(fill: Fill) -> bool:
    return bool(fill.invalid) or fill.failure is not None
