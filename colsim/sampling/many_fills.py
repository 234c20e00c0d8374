"""Many fills of one scenario, or of several, over processes."""

from __future__ import annotations

import os
from collections.abc import Container, Iterator, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import nullcontext, suppress
from dataclasses import dataclass, replace
from typing import Any, cast

from tqdm import tqdm

from colsim.errors import SimulationError
from colsim.model import Scenario
from colsim.physics.choice import AUTO, engine_named, make_ready
from colsim.physics.engines import Settings
from colsim.sampling.checks import require_executor, require_scenario, require_settings, require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.fills import Fills
from colsim.sampling.one_fill import Fill, lost_fill, simulate_fill
from colsim.sampling.workers import WorkerPool, process_pool

__all__ = ["Batch", "require_room", "simulate_batches", "simulate_fills"]

_LARGEST_CHUNK = 4  # fills that an interrupted worker still finishes
_TRIES = 2  # of a fill in a process of its own, before it counts as the one that kills it


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
    chunks = list(_chunks(batches))
    done: dict[int, list[Fill]] = {}  # by place among the chunks
    futures: dict[int, Future[list[Fill]]] = {}
    interrupted = False
    try:
        for engine in sorted({batch.engine for batch in batches if batch.numbers}):
            make_ready(engine)
        while len(done) < len(chunks):
            try:
                for place in (place for place in range(len(chunks)) if place not in done):
                    futures[place] = pool.submit(_simulate_chunk, chunks[place][1])
                for place, future in futures.items():
                    done[place] = future.result()
                    bar.update(len(done[place]))
            except BrokenExecutor:
                done |= (more := _finished(futures, done))
                bar.update(sum(map(len, more.values())))
                futures.clear()
                _go_on(chunks, done, pool, bar)
    except KeyboardInterrupt:
        interrupted = True  # what is done without a gap is kept below
    finally:
        for future in futures.values():
            future.cancel()
    done |= _finished(futures, done)
    return _without_gaps(chunks, done, len(batches)), interrupted


def _without_gaps(
    chunks: Sequence[tuple[int, Batch]], done: Mapping[int, list[Fill]], batches: int
) -> list[list[Fill]]:
    """Give for each batch the fills of its chunks up to the first that is not done."""
    found: list[list[Fill]] = [[] for _ in range(batches)]
    gaps = set()
    for place, (which, _) in enumerate(chunks):
        if place not in done:
            gaps.add(which)
        elif which not in gaps:
            found[which] += done[place]
    return found


def _chunks(batches: Sequence[Batch]) -> Iterator[tuple[int, Batch]]:
    """Divide batches into what a worker is handed at a time; each part with the place of its batch."""
    total = sum(len(batch.numbers) for batch in batches)
    size = max(1, min(_LARGEST_CHUNK, int(total // (4 * (os.cpu_count() or 1)))))
    for which, batch in enumerate(batches):
        for start in range(0, len(batch.numbers), size):
            yield which, replace(batch, numbers=batch.numbers[start : start + size])


def _finished(futures: Mapping[int, Future[list[Fill]]], known: Container[int]) -> dict[int, list[Fill]]:
    """Give the fills of the chunks that came to a good end, but for those that are known."""
    return {
        place: future.result()
        for place, future in futures.items()
        if place not in known and future.done() and not future.cancelled() and future.exception() is None
    }


def _go_on(chunks: Sequence[tuple[int, Batch]], done: dict[int, list[Fill]], pool: Executor, bar: tqdm[Any]) -> None:
    """Simulate what a worker that died may have held, fill by fill, so that the rest can be handed out again."""
    if not isinstance(pool, WorkerPool):
        raise SimulationError(
            "a worker process of the executor died, and what it held is lost; it may have run out of memory: give it "
            "fewer workers, or leave the executor out, and what dies is begun again"
        )
    pool.renew()
    left = [place for place in range(len(chunks)) if place not in done]
    for place in left[: 2 * pool.workers + 1]:  # each process holds one, and as many are queued for them, and one more
        batch = chunks[place][1]
        done[place] = [_simulate_alone(replace(batch, numbers=range(k, k + 1)), pool) for k in batch.numbers]
        bar.update(len(done[place]))


def _simulate_alone(one: Batch, pool: WorkerPool) -> Fill:
    """Simulate one fill in a process of its own; invalid if that dies twice."""
    for _ in range(_TRIES):
        with suppress(BrokenExecutor):
            (fill,) = pool.call_alone(_simulate_chunk, one)
            return cast(Fill, fill)
    return lost_fill(
        one.scenario,
        seed=one.seed,
        number=one.numbers[0],
        engine=one.engine,
        settings=one.settings,
        why=f"its process died {_TRIES} times",
    )


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


def _simulate_chunk(batch: Batch) -> list[Fill]:
    return [
        simulate_fill(batch.scenario, seed=batch.seed, number=k, engine=batch.engine, settings=batch.settings)
        for k in batch.numbers
    ]
