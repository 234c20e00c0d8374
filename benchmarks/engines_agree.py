"""Whether engines agree on columns near an edge, on fresh draws: our two solvers, the reference, an outside witness.

Columns are drawn at random, and kept if 20 to 80 % of their fills fail on draws of their own. On fresh draws, common to
both engines, the rates of failed fills agree if the 95 % interval of their paired difference lies within so many
points; that a difference is not significant would be no agreement. Each column has as many fills as that takes, up to a
most: its interval is looked at after some, twice as many, and so on, and all looks share the error. It takes hours;
outcomes are kept after each look, and a run that was cut short goes on from them.

* The implicit solver against the explicit one, both compiled: another integration of the same contacts; one column of
  four has soft walls. Within three points.
* The compiled engine against pymunk: shapes, collision detection and integration of another's making. Within five.
* The compiled engine against MuJoCo with the same springs: all of it another's, friction included. Within five.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from common import RESULTS, quick_or_full, table, write
from drawn_columns import failed, near_edge
from kept_outcomes import KeptOutcomes
from mujoco_engine import SETTINGS as MUJOCO
from mujoco_engine import MujocoEngine
from paired import Compared, compare
from tqdm import tqdm

from colsim import Scenario
from colsim.physics.engines import Settings

SEED, DRAWN = 20261127, 77  # of fresh draws, and of the columns
SOFT_EVERY = 4  # columns
EXPLICIT = Settings(step=0.0001, iterations=0)


@dataclass(frozen=True)
class Comparison:
    """One pair of engines: the other one, on how many columns with how many fills, at least and at most."""

    name: str
    engine: Any
    settings: Settings | None
    columns: int
    fills: int
    most: int
    within: float
    firm_only: bool = False

    @property
    def looks(self) -> list[int]:
        """After how many fills the interval is looked at."""
        return [self.fills * 2**k for k in range((self.most // self.fills).bit_length())]


COMPARISONS = (
    Comparison("explicit solver, 0.1 ms", "compiled", EXPLICIT, 20, 200, 1600, 0.03),
    Comparison("pymunk", "pymunk", None, 8, 100, 800, 0.05),
    Comparison("MuJoCo", MujocoEngine, MUJOCO, 8, 100, 800, 0.05, firm_only=True),
)


def both(scenario: Scenario, other: Comparison, fill: int) -> tuple[bool, bool]:
    """Run a fill on the compiled engine as shipped and on the other."""
    ours = failed(scenario, fill, seed=SEED, engine="compiled")
    return ours, failed(scenario, fill, seed=SEED, engine=other.engine, settings=other.settings)


def compared(
    other: Comparison, scenario: Scenario, pool: ProcessPoolExecutor, kept: KeptOutcomes | None
) -> list[tuple[bool, bool]]:
    """Run fills of a column on both engines until they are shown to agree, or to differ, or there are the most."""
    name = f"{other.name}: {scenario.title}"
    outcomes = [] if kept is None else kept[name]
    for look in other.looks:
        if len(outcomes) < look:
            jobs = pool.map(partial(both, scenario, other), range(len(outcomes), look), chunksize=4)
            outcomes += tqdm(jobs, total=look - len(outcomes), desc=name)
            if kept is not None:
                kept[name] = outcomes
        found = compare(outcomes[:look], len(other.looks), other.within)
        if found.agree or found.differ:
            return outcomes[:look]
    return outcomes


def shown(
    other: Comparison, chosen: Sequence[Scenario], pool: ProcessPoolExecutor, kept: KeptOutcomes | None
) -> tuple[list[str], list[Compared], Compared]:
    """Compare on all columns; give the table, each column, and all of them taken together."""
    rows: list[list[object]] = []
    columns: list[Compared] = []
    together: list[tuple[bool, bool]] = []
    for scenario in chosen:
        outcomes = compared(other, scenario, pool, kept)
        together += outcomes
        columns.append(compare(outcomes, len(other.looks), other.within))
        rows.append(_row(scenario.title, columns[-1]))
        tqdm.write(f"{other.name}: {' | '.join(map(str, rows[-1]))}", file=sys.stderr)
    whole = compare(together, len(other.looks), other.within)
    rows.append(_row("all together", whole))
    heads = ["column", "fills", "compiled fails", "other fails", "only compiled", "only other", "difference", "verdict"]
    return table(heads, rows), columns, whole


def _row(title: str, found: Compared) -> list[object]:
    rates = (f"{found.ours / found.fills:.3f}", f"{found.other / found.fills:.3f}")
    return [title, found.fills, *rates, found.only_ours, found.only_other, found.difference, found.verdict]


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    lines: list[str] = []
    says: list[str] = []
    holds = True
    here = Path(__file__)
    more = [here.with_name(f"{name}.py") for name in ("mujoco_engine", "drawn_columns")]
    kept = None if quick else KeptOutcomes(RESULTS / "engines_agree.json", here, *more)
    with ProcessPoolExecutor() as pool:
        most = 1 if quick else max(other.columns for other in COMPARISONS)
        drawn = list(tqdm(near_edge(most, DRAWN, pool, soft_every=SOFT_EVERY), total=most, desc="choosing columns"))
        for other in (replace(other, fills=2, most=2, columns=1) if quick else other for other in COMPARISONS):
            firm = [each for each in drawn if not (other.firm_only and each.products["container"].is_soft)]
            rows, columns, whole = shown(other, firm[: other.columns], pool, kept)
            lines += ["", f"Compiled engine as shipped (implicit, 1 ms) against: {other.name}", "", *rows]
            agreed = sum(column.agree for column in columns)
            says.append(
                f"{other.name}: shown to agree within {100 * other.within:g} points on {agreed} of {len(columns)} "
                f"columns; all together {whole.difference}"
            )
            holds = holds and whole.agree and agreed == len(columns)
    write("engines_agree", lines[1:], quick=quick, holds=holds, says="; ".join(says))


if __name__ == "__main__":
    main()
