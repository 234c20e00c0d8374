"""How to simulate: what all options of a question share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass

from colsim.physics.choice import AUTO, engine_named
from colsim.sampling.checks import require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.fills import Fills
from colsim.sampling.looks import Run, simulate_until_settled
from colsim.sampling.workers import process_pool

__all__ = ["Study", "study"]


@dataclass(frozen=True)
class Study:
    """How to simulate.

    Attributes
    ----------
    seed : int
        Seed of all draws.
    max_fills : int
        Fills of each option in each case of the unknowns, at most.
    executor : concurrent.futures.Executor
        Where to run.
    engine : str
        On which engine.
    progress : bool
        Whether to show bars on standard error.
    """

    seed: int
    max_fills: int
    executor: Executor
    engine: str = AUTO
    progress: bool = False

    def simulate(self, runs: Sequence[Run], *, at_most: int | None = None) -> list[Fills]:
        """Simulate runs on common draws until each is settled, or has as many fills as may be.

        Parameters
        ----------
        runs : sequence of Run
            What to simulate, side by side.
        at_most : int, optional
            Fills of each, where that is less than those of an option.

        Returns
        -------
        list of Fills
            As `simulate_until_settled`; none of no runs.

        Raises
        ------
        ScenarioError
            If ``at_most`` is not a whole number of 1 or more.
        SimulationError
            If a fill cannot be carried through.
        """
        if not runs:
            return []
        most = self.max_fills if at_most is None else min(at_most, self.max_fills)
        return simulate_until_settled(
            runs, max_fills=most, seed=self.seed, executor=self.executor, progress=self.progress
        )


@contextmanager
def study(
    *, max_fills: int, seed: int | None, executor: Executor | None, engine: str, progress: bool
) -> Iterator[Study]:
    """Check how to simulate, and make ready where to run.

    Parameters
    ----------
    max_fills : int
        Fills of each option in each case of the unknowns, at most; 1 or more.
    seed : int or None
        Seed of all draws; a fresh one if None.
    executor : concurrent.futures.Executor or None
        Where to run; if None one process for each core, as long as the context lasts.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    progress : bool
        Whether to show bars on standard error.

    Yields
    ------
    Study

    Raises
    ------
    ScenarioError
        If a number is not allowed, or there is no such engine.
    """
    max_fills = require_whole("max_fills", max_fills, least=1)
    engine = engine_named(engine)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    with process_pool() if executor is None else nullcontext(executor) as pool:
        yield Study(seed, max_fills, pool, engine, progress)
