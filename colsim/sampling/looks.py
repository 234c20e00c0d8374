"""Simulating several scenarios until each is settled, with looks on a fixed schedule."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import nullcontext, suppress
from dataclasses import dataclass, field
from typing import Any

from tqdm import tqdm

from colsim.model import Scenario
from colsim.physics.choice import AUTO
from colsim.physics.engines import Settings
from colsim.sampling.checks import require_executor, require_whole
from colsim.sampling.fills import Fills
from colsim.sampling.many_fills import Batch, simulate_batches
from colsim.sampling.one_fill import Fill
from colsim.sampling.workers import process_pool

__all__ = ["Run", "look_schedule", "simulate_until_settled"]

FIRST_LOOK = 8


@dataclass
class Run:
    """One scenario that is simulated until it is settled.

    Attributes
    ----------
    scenario : Scenario
        What is simulated.
    settled : callable
        Given the fills up to a look, tells whether that is enough; it must depend on nothing else.
    done : list of Fill
        Fills from 0 on that are there already; more are added.
    engine : str
        On which engine; those that are there already must be of the same.
    settings : Settings or None
        How finely it works, likewise.
    is_settled : bool
        What ``settled`` said at the last look.
    """

    scenario: Scenario
    settled: Callable[[Fills], bool]
    done: list[Fill] = field(default_factory=list)
    engine: str = AUTO
    settings: Settings | None = None
    is_settled: bool = field(default=False, init=False)


def look_schedule(max_fills: int) -> Iterator[int]:
    """List the numbers of fills at which one looks: 8, 12, 16, 24, 32, 48 and so on, and at last the greatest.

    Parameters
    ----------
    max_fills : int
        The greatest number.

    Yields
    ------
    int
        [fills]

    Raises
    ------
    ScenarioError
        If the greatest number is not a whole one of 1 or more.
    """
    max_fills = require_whole("max_fills", max_fills, least=1)
    look = FIRST_LOOK
    while look < max_fills:
        yield look
        look = look * 3 // 2 if look & (look - 1) == 0 else look * 4 // 3
    yield max_fills


def simulate_until_settled(
    runs: Sequence[Run], *, max_fills: int, seed: int, executor: Executor | None = None, progress: bool = False
) -> list[Fills]:
    """Simulate each run until it is settled, or has as many fills as may be.

    Parameters
    ----------
    runs : sequence of Run
        What to simulate, side by side.
    max_fills : int
        Fills of each, at most.
    seed : int
        Seed of all draws, common to all runs.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given. The result is the same on any.
    progress : bool
        Whether to show a bar on standard error, which runs up to the most that may be needed.

    Returns
    -------
    list of Fills
        For each run its fills from 0 on, whose intervals allow for the looks; interrupted by Ctrl-C, those that were
        done without a gap.

    Raises
    ------
    ScenarioError
        If a number is not allowed, the executor is something else, or there is no such engine.
    SimulationError
        If a fill cannot be carried through.
    """
    require_executor(executor)
    max_fills, seed = require_whole("max_fills", max_fills, least=1), require_whole("seed", seed)
    finished = False
    with (
        process_pool() if executor is None else nullcontext(executor) as pool,
        suppress(KeyboardInterrupt),  # between two looks, or while the bar closes; what is done counts
        tqdm(
            total=sum(max_fills - len(run.done) for run in runs), unit="fill", disable=not progress, leave=False
        ) as bar,
    ):
        for look in look_schedule(max_fills):
            finished = _take_to(look, max_fills, runs, seed, pool, bar)
            if not finished:
                break
    return [
        Fills(
            run.scenario,
            seed,
            tuple(run.done),
            asked_for=len(run.done) if run.is_settled or finished else max_fills,
            looked_often=True,
        )
        for run in runs
    ]


def _take_to(look: int, most: int, runs: Sequence[Run], seed: int, pool: Executor, bar: tqdm[Any]) -> bool:
    """Take those runs that are not settled to a look; tell whether that was not cut short."""
    open_runs = [run for run in runs if not run.is_settled]
    batches = [
        Batch(run.scenario, seed, range(min(len(run.done), look), look), run.engine, run.settings) for run in open_runs
    ]
    found, interrupted = simulate_batches(batches, pool, bar)
    for run, fills in zip(open_runs, found, strict=True):
        run.done += fills
        so_far = Fills(run.scenario, seed, tuple(run.done[:look]), look, looked_often=True)
        run.is_settled = not so_far.interrupted and run.settled(so_far)
        if run.is_settled and bar.total is not None:
            bar.total -= most - max(look, len(run.done))
            bar.refresh()
    return not interrupted
