"""Many fills of one scenario, or of several, over processes."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import nullcontext, suppress
from dataclasses import dataclass, replace
from typing import Any

from tqdm import tqdm

from colsim.errors import SimulationError
from colsim.model import Scenario
from colsim.physics.choice import AUTO, engine_named, make_ready
from colsim.physics.engines import Settings
from colsim.sampling.checks import require_executor, require_scenario, require_settings, require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.fills import Fills
from colsim.sampling.one_fill import Fill, simulate_fill

__all__ = ["Batch", "process_pool", "require_room", "simulate_batches", "simulate_fills"]

_LARGEST_CHUNK = 4  # fills that an interrupted worker still finishes


def simulate_fills(
    scenario: Scenario,
    *,
    fills: int,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    settings: Settings | None = None,
    progress: bool = False,
) -> Fills:
    """Simulate many fills of one scenario.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    fills : int
        How many, at least 1.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given. The result is the same on any.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    settings : Settings, optional
        How finely the engine works.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    Fills
        Interrupted by Ctrl-C, the fills 0 to k that are done without a gap.

    Raises
    ------
    ScenarioError
        If the scenario, settings or executor is something else, fills or seed is not allowed, or there is no such
        engine.
    SimulationError
        If the column does not hold what it is to be loaded with, or a fill cannot be carried through.
    """
    require_scenario(scenario)
    require_settings(settings)
    require_executor(executor)
    engine, fills = engine_named(engine), require_whole("fills", fills, least=1)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    done: list[Fill] = []
    with (
        process_pool() if executor is None else nullcontext(executor) as pool,
        suppress(KeyboardInterrupt),  # while the bar closes; what is done counts
        tqdm(total=fills, unit="fill", desc=scenario.title, disable=not progress, leave=False) as bar,
    ):
        (done,), _ = simulate_batches([Batch(scenario, seed, range(fills), engine, settings)], pool, bar)
    result = Fills(scenario, seed, tuple(done), fills)
    require_room(result)
    return result


@dataclass(frozen=True)
class Batch:
    """Some fills of one scenario that are to be simulated.

    Attributes
    ----------
    scenario : Scenario
        What is simulated.
    seed : int
        Seed of all draws.
    numbers : range
        Which fills.
    engine : str
        On which engine.
    settings : Settings or None
        How finely it works; the usual ones if None.
    """

    scenario: Scenario
    seed: int
    numbers: range
    engine: str = AUTO
    settings: Settings | None = None


def simulate_batches(batches: Sequence[Batch], pool: Executor, bar: tqdm[Any]) -> tuple[list[list[Fill]], bool]:
    """Simulate several batches side by side.

    Their engines are compiled, or loaded from where they are kept, before anything is handed out: a process that is
    begun or called after that finds the machine code and compiles none.

    Parameters
    ----------
    batches : sequence of Batch
        In the order in which they are handed out.
    pool : concurrent.futures.Executor
        Where to run.
    bar : tqdm
        Moved on by each fill that is done.

    Returns
    -------
    list of list of Fill
        For each batch its fills from the first on without a gap; all of them, unless Ctrl-C came.
    bool
        Whether Ctrl-C came.

    Raises
    ------
    ScenarioError
        If there is no such engine, or numba does not work here.
    SimulationError
        If a fill cannot be carried through.
    """
    total = sum(len(batch.numbers) for batch in batches)
    size = max(1, min(_LARGEST_CHUNK, int(total // (4 * (os.cpu_count() or 1)))))
    futures: list[list[Future[list[Fill]]]] = [[] for _ in batches]
    interrupted = False
    try:
        for engine in sorted({batch.engine for batch in batches if batch.numbers}):
            make_ready(engine)
        for batch, mine in zip(batches, futures, strict=True):
            for start in range(0, len(batch.numbers), size):
                mine.append(pool.submit(_simulate_chunk, replace(batch, numbers=batch.numbers[start : start + size])))
        for mine in futures:
            for future in mine:
                bar.update(len(future.result()))
    except KeyboardInterrupt:
        interrupted = True  # what is done without a gap is kept below
    finally:
        for mine in futures:
            for future in mine:
                future.cancel()
    return [list(_finished(mine)) for mine in futures], interrupted


def require_room(fills: Fills) -> None:
    """Refuse a load for which there never is room.

    Parameters
    ----------
    fills : Fills
        What was simulated.

    Raises
    ------
    SimulationError
        If no valid fill found room for all that was to be loaded.
    """
    if fills.always_short:
        fewest = min(fill.short for fill in fills.valid)
        first = fills.valid[0]
        raise SimulationError(
            f"the column has no room for {fewest} of the {fills.scenario.load} in any of {len(fills.valid)} fills "
            f"(seed {fills.seed}, fill {first.number}): load fewer, or measure column.height again"
        )


def _finished(futures: list[Future[list[Fill]]]) -> Iterator[Fill]:
    """Give the fills of the chunks that are done, up to the first that is not."""
    for future in futures:
        if not future.done() or future.cancelled() or future.exception() is not None:
            return
        yield from future.result()


def _simulate_chunk(batch: Batch) -> list[Fill]:
    return [
        simulate_fill(batch.scenario, seed=batch.seed, number=k, engine=batch.engine, settings=batch.settings)
        for k in batch.numbers
    ]


def process_pool(workers: int | None = None) -> ProcessPoolExecutor:
    """Make a pool of processes that leave Ctrl-C to their parent; none is begun before it is given work.

    Parameters
    ----------
    workers : int, optional
        How many; one for each core if not given.

    Returns
    -------
    ProcessPoolExecutor

    Raises
    ------
    ScenarioError
        If the number is not a whole one of 1 or more.
    """
    workers = None if workers is None else require_whole("workers", workers, least=1)
    return _PoolWithoutInterrupts(workers, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN))


class _PoolWithoutInterrupts(ProcessPoolExecutor):
    """A pool whose workers never see a Ctrl-C, not even before their initializer has run."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Submit work; processes that this starts inherit that SIGINT is blocked. It reaches the parent afterwards."""
        if not hasattr(signal, "pthread_sigmask"):  # Windows
            return super().submit(fn, *args, **kwargs)
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return super().submit(fn, *args, **kwargs)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
