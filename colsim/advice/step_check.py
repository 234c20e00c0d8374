"""Whether what is recommended comes out the same with finer time steps."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace

from tqdm import tqdm

from colsim.advice.risks import Case, Risks
from colsim.advice.study import Study
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
        Pairs of loadings on the same draws, in the typical and in the unfavourable case of what nobody measured.
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


def check_steps(risks: Risks, study: Study) -> StepCheck | None:
    """Simulate the first loadings of an option again, with half the time step.

    Parameters
    ----------
    risks : Risks
        What was simulated of the option, on one engine.
    study : Study
        Where to run, and whether to show a bar.

    Returns
    -------
    StepCheck or None
        Of the typical and the unfavourable case: the first 24 loadings each, or as many as there are. None if Ctrl-C
        came before all were done: what is missing could be what differs.

    Raises
    ------
    SimulationError
        If a loading cannot be carried through.
    """
    coarse = [risks.typical]
    worse = risks.runs.get(Case.UNFAVOURABLE)
    if worse is not None and worse is not risks.typical:
        coarse.append(worse)
    engine, seed = risks.typical.engine, risks.typical.seed
    settings = finer(engine)
    numbers = [range(min(CHECKED_FILLS, len(fills))) for fills in coarse]
    batches = [Batch(fills.scenario, seed, each, engine, settings) for fills, each in zip(coarse, numbers, strict=True)]
    total = sum(map(len, numbers))
    found: list[list[Fill]] = []
    with (
        suppress(KeyboardInterrupt),  # while the bar closes; if all are done, they count
        tqdm(total=total, unit="fill", desc="finer time steps", disable=not study.progress, leave=False) as bar,
    ):
        found, _ = simulate_batches(batches, study.executor, bar)
    if sum(map(len, found)) < total:
        return None
    return _compared(risks, coarse, found)


def _compared(risks: Risks, coarse: list[Fills], fine: list[list[Fill]]) -> StepCheck:
    pairs = [
        (usual.went_wrong, finer_one.went_wrong)
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
    runs = {case: instead.get(id(fills), fills) for case, fills in risks.runs.items()}
    is_shown = counted.p_value <= 1 - risks.scenario.target.confidence
    return StepCheck(
        fills=counted.fills,
        only_coarse=counted.only_first,
        only_fine=counted.only_second,
        turns=is_shown or replace(risks, runs=runs).status is not risks.status,
    )
