"""Whether engines agree on columns near an edge, on fresh draws: our two solvers, the reference, an outside witness.

Columns are drawn at random, and kept if 20 to 80 % of their fills fail on draws of their own. On fresh draws, common to
both engines, the rates of failed fills agree if the 95 % interval of their paired difference lies within so many
points; that a difference is not significant would be no agreement. It is given column by column, for which the fills of
one column are few, and for all columns together, by which the verdict goes.

* The implicit solver against the explicit one, both compiled: another integration of the same contacts; one column of
  four has soft walls. Within three points.
* The compiled engine against pymunk: shapes, collision detection and integration of another's making. Within five.
* The compiled engine against MuJoCo with the same springs: all of it another's, friction included. Within five.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any

from common import quick_or_full, table, write
from drawn_columns import failed, near_edge
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
    """One pair of engines: the other one, on how many columns with how many fills, and how near they must be."""

    name: str
    engine: Any
    settings: Settings | None
    columns: int
    fills: int
    within: float
    firm_only: bool = False


COMPARISONS = (
    Comparison("explicit solver, 0.1 ms", "compiled", EXPLICIT, 20, 40, 0.03),
    Comparison("pymunk", "pymunk", None, 8, 24, 0.05),
    Comparison("MuJoCo", MujocoEngine, MUJOCO, 8, 40, 0.05, firm_only=True),
)


def both(scenario: Scenario, other: Comparison, fill: int) -> tuple[bool, bool]:
    """Run a fill on the compiled engine as shipped and on the other."""
    ours = failed(scenario, fill, seed=SEED, engine="compiled")
    return ours, failed(scenario, fill, seed=SEED, engine=other.engine, settings=other.settings)


def shown(
    other: Comparison, chosen: Sequence[Scenario], pool: ProcessPoolExecutor, fills: int
) -> tuple[list[str], int, Compared]:
    """Compare on all columns; give the table, on how many the engines agree, and all columns taken together."""
    rows: list[list[object]] = []
    agreed = 0
    together: list[tuple[bool, bool]] = []
    for scenario in chosen:
        jobs = pool.map(partial(both, scenario, other), range(fills), chunksize=4)
        outcomes = list(tqdm(jobs, total=fills, desc=f"{other.name}: {scenario.title}"))
        together += outcomes
        agreed += compare(outcomes, 1, other.within).agree
        rows.append(_row(scenario.title, compare(outcomes, 1, other.within)))
    whole = compare(together, 1, other.within)
    rows.append(_row("all together", whole))
    heads = ["column", "fills", "compiled fails", "other fails", "only compiled", "only other", "difference", "verdict"]
    return table(heads, rows), agreed, whole


def _row(title: str, found: Compared) -> list[object]:
    rates = (f"{found.ours / found.fills:.3f}", f"{found.other / found.fills:.3f}")
    return [title, found.fills, *rates, found.only_ours, found.only_other, found.difference, found.verdict]


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    lines: list[str] = []
    says: list[str] = []
    holds = True
    with ProcessPoolExecutor() as pool:
        most = 1 if quick else max(other.columns for other in COMPARISONS)
        drawn = list(tqdm(near_edge(most, DRAWN, pool, soft_every=SOFT_EVERY), total=most, desc="choosing columns"))
        for other in COMPARISONS:
            columns, fills = (1, 2) if quick else (other.columns, other.fills)
            chosen = [each for each in drawn if not (other.firm_only and each.products["container"].is_soft)][:columns]
            rows, agreed, whole = shown(other, chosen, pool, fills)
            lines += ["", f"Compiled engine as shipped (implicit, 1 ms) against: {other.name}", "", *rows]
            lies = "lies" if whole.agree else "does not lie"
            says.append(
                f"{other.name}: all columns together {whole.difference}, which {lies} within {100 * other.within:g} "
                f"points; column by column shown on {agreed} of {len(chosen)}"
            )
            holds = holds and whole.agree
    write("engines_agree", lines[1:], quick=quick, holds=holds, says="; ".join(says))


if __name__ == "__main__":
    main()
