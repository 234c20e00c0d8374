"""Many fills of one scenario, over processes, with the risk that they show."""

from __future__ import annotations

import os
import signal
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from tqdm import tqdm

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.sampling.draws import fresh_seed, require_whole
from colsim.sampling.intervals import Estimate, Risk, clopper_pearson, per_fill, per_vend
from colsim.sampling.one_fill import Fill, Outcome, simulate_fill

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FAILURE", "Fills", "process_pool", "simulate_fills"]

FAILURE = "failure"
"""Name under which any outcome other than a single vend is counted."""

_LARGEST_CHUNK = 4  # fills that an interrupted worker still finishes


@dataclass(frozen=True)
class Fills:
    """Fills 0 to n - 1 of one scenario and seed.

    Attributes
    ----------
    scenario : Scenario
        What was simulated.
    seed : int
        Seed of all draws.
    fills : tuple of Fill
        In order, without a gap.
    asked_for : int
        Fills that were asked for; more than there are if the work was interrupted.
    """

    scenario: Scenario
    seed: int
    fills: tuple[Fill, ...]
    asked_for: int

    @property
    def interrupted(self) -> bool:
        """Whether there are fewer fills than were asked for."""
        return len(self.fills) < self.asked_for

    @property
    def valid(self) -> tuple[Fill, ...]:
        """The fills that can be believed."""
        return tuple(fill for fill in self.fills if not fill.invalid)

    def risk(self, outcome: Outcome | str = FAILURE, *, level: float = 0.95) -> Risk:
        """Estimate how often fills and vends fail.

        Parameters
        ----------
        outcome : str
            ``"failure"`` for the first vend of a fill that is not a single one, whatever it is; or one
            outcome, by which that first failure is sorted.
        level : float
            Confidence of the intervals.

        Returns
        -------
        Risk
            Share of fills, and failures over vends, each vend counted up to its fill's first failure.

        Raises
        ------
        ScenarioError
            If the outcome is unknown or the level is not between 0 and 1.
        """
        allowed = (FAILURE, *(kind for kind in Outcome if kind is not Outcome.SINGLE))
        if outcome not in allowed:
            raise ScenarioError(f"outcome: got {outcome!r}; allowed: {', '.join(allowed)}")
        if outcome == FAILURE:
            of_fills = self._share_of_fills(FAILURE, level)
            return Risk(of_fills, per_vend(of_fills, self.scenario.loading.count))
        # Two intervals enter the bound per vend, of this outcome and of all failures, each at half the error.
        both = 1 - (1 - level) / 2
        bound = per_vend(
            self._share_of_fills(outcome, both),
            self.scenario.loading.count,
            any_failure=self._share_of_fills(FAILURE, both),
        )
        return Risk(self._share_of_fills(outcome, level), replace(bound, level=level))

    def _share_of_fills(self, outcome: Outcome | str, level: float) -> Estimate:
        firsts = [fill.failure for fill in self.valid]
        failures = sum(first is not None and outcome in (FAILURE, first.outcome) for first in firsts)
        invalid = len(self.fills) - len(self.valid)
        vends = sum(fill.vends_to_failure for fill in self.valid)
        return per_fill(str(outcome), failures, len(self.fills), invalid, vends=vends, level=level)

    def hazard(self, *, level: float = 0.95) -> pd.DataFrame:
        """Tabulate how the risk of a vend depends on how many containers are in the column.

        Parameters
        ----------
        level : float
            Confidence of each row's own interval.

        Returns
        -------
        pandas.DataFrame
            A row for each number of containers before the vend, from full to one: columns ``containers left``,
            ``failures``, ``vends``, ``rate``, ``low``, ``high``. Vends after a fill's first failure do not count.
            One vend a fill enters a row, so its exact interval holds.
        """
        import pandas as pd

        vends: Counter[int] = Counter()
        failures: Counter[int] = Counter()
        for fill in self.valid:
            for vend in fill.vends[: fill.vends_to_failure]:
                vends[vend.before] += 1
                failures[vend.before] += vend.outcome is not Outcome.SINGLE
        rows = [
            (
                left,
                failures[left],
                vends[left],
                failures[left] / vends[left],
                *clopper_pearson(failures[left], vends[left], level),
            )
            for left in sorted(vends, reverse=True)
        ]
        return pd.DataFrame(rows, columns=["containers left", "failures", "vends", "rate", "low", "high"])

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the vends.

        Returns
        -------
        pandas.DataFrame
            A row a vend: ``fill``, ``vend``, ``outcome``, ``mechanism`` (empty text for a single vend) and
            ``remaining`` [containers]. Vends of invalid fills are left out.
        """
        import pandas as pd

        rows = [
            (fill.fill, vend.vend, str(vend.outcome), str(vend.mechanism or ""), vend.remaining)
            for fill in self.valid
            for vend in fill.vends
        ]
        return pd.DataFrame(rows, columns=["fill", "vend", "outcome", "mechanism", "remaining"])

    def summary(self) -> str:
        """Say in a few lines what was simulated and what came of it."""
        lines = [
            f"{self.scenario.title}: {len(self.fills)} fills of {self.scenario.loading.count} "
            f"{self.scenario.container.name}, seed {self.seed}"
        ]
        if self.interrupted:
            lines.append(f"stopped early: {len(self.fills)} of {self.asked_for} fills are done, and only these count")
        invalid = len(self.fills) - len(self.valid)
        if invalid:
            first = next(fill for fill in self.fills if fill.invalid)
            lines.append(f"{invalid} invalid, counted in both bounds; the first: {first.summary()}")
        risk = self.risk()
        lines += [_line(risk.per_fill, "fills", "fails"), _line(risk.per_vend, "vends", "goes wrong")]
        kinds = Counter((vend.outcome, vend.mechanism) for fill in self.valid if (vend := fill.failure))
        lines += [f"  {outcome} by {mechanism}: {n} fills" for (outcome, mechanism), n in kinds.most_common()]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def _line(estimate: Estimate, what: str, verb: str) -> str:
    over = estimate.fills if estimate.unit == "fill" else estimate.vends
    return (
        f"a {estimate.unit} {verb}: {estimate.rate:.3g}, {estimate.level:.0%} interval {estimate.low:.3g} to "
        f"{estimate.high:.3g} "
        f"({estimate.failures} of {over} {what})"
    )


def simulate_fills(
    scenario: Scenario,
    *,
    fills: int,
    seed: int | None = None,
    executor: Executor | None = None,
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
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    Fills
        Interrupted by Ctrl-C, the fills 0 to k that are done without a gap.

    Raises
    ------
    ScenarioError
        If fills or seed is not allowed.
    SimulationError
        If the column does not hold what it is to be loaded with.
    """
    fills = require_whole("fills", fills, least=1)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    size = max(1, min(_LARGEST_CHUNK, int(fills // (4 * (os.cpu_count() or 1)))))
    futures: list[Future[list[Fill]]] = []
    with process_pool() if executor is None else nullcontext(executor) as pool:
        try:
            for start in range(0, fills, size):
                chunk = range(start, min(start + size, fills))
                futures.append(pool.submit(_simulate_chunk, scenario, seed, chunk))
            for future in tqdm(futures, unit="chunk", desc=scenario.title, disable=not progress, leave=False):
                future.result()
        except KeyboardInterrupt:
            pass  # what is done without a gap is kept below
        finally:
            for future in futures:
                future.cancel()
    return Fills(scenario, seed, tuple(_finished(futures)), fills)


def _finished(futures: list[Future[list[Fill]]]) -> Iterator[Fill]:
    """Give the fills of the chunks that are done, up to the first that is not."""
    for future in futures:
        if not future.done() or future.cancelled() or future.exception() is not None:
            return
        yield from future.result()


def _simulate_chunk(scenario: Scenario, seed: int, numbers: Iterable[int]) -> list[Fill]:
    return [simulate_fill(scenario, seed=seed, fill=number) for number in numbers]


def process_pool(workers: int | None = None) -> ProcessPoolExecutor:
    """Make a pool of processes that leave Ctrl-C to their parent.

    Parameters
    ----------
    workers : int, optional
        How many; one for each core if not given.

    Returns
    -------
    ProcessPoolExecutor
    """
    return ProcessPoolExecutor(workers, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN))
