"""Whether verdicts are true: columns drawn at random, judged as `colsim advise` does, against long runs on fresh draws.

* Fully measured columns: no verdict of "meets" where the long run shows more than the limit, none of "fails" where it
  shows less, and the intervals hold the rate of the long run as often as they promise.
* Columns of which some things are unknown: no verdict of "meets" where a corner of their ranges fails. Corners are
  tried at random, all unknowns at one of their ends each, with a few loadings each.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from common import quick_or_full, table, write
from drawn_columns import NEAR_EDGE_COUNT, drawn_columns
from tqdm import tqdm

from colsim import Scenario, find_spacer, simulate_fills
from colsim.advice.status import Status
from colsim.errors import ScenarioError
from colsim.sampling.intervals import clopper_pearson

SEED, FRESH, DRAWN = 4417, 90210, 31
LIMIT, MAX_FILLS = 0.1, 96  # share of loadings that may fail
COLUMNS, LONG_RUN = 40, 1000
WITH_UNKNOWNS, CORNERS, CORNER_FILLS = 20, 24, 8
SURE = 0.99  # confidence at which the long run must contradict a verdict to count as wrong
RANGES = {
    "rotor.speed": (20.0, 50.0),
    "rotor.lead_in": (4.0, 12.0),
    "column.wall_friction": (0.15, 0.35),
    "rotor.friction": (0.2, 0.35),
}


def measured(count: int) -> Iterator[Scenario]:
    changes = {"loading.count": NEAR_EDGE_COUNT, "target.failures_per_fill": LIMIT}
    return (column.changed(**changes) for column in drawn_columns(count, DRAWN))


def with_unknowns(count: int) -> Iterator[Scenario]:
    unknown = {path: {"kind": "unknown", "low": low, "high": high} for path, (low, high) in RANGES.items()}
    found = 0
    for column in measured(3 * count):
        try:
            scenario = column.changed(**unknown)
        except ScenarioError:
            continue
        yield scenario
        found += 1
        if found == count:
            return


def of_measured(columns: int, long_run: int, max_fills: int, pool: ProcessPoolExecutor) -> tuple[list[str], int, int]:
    """Judge measured columns; give the table, how many verdicts are wrong, and how many intervals hold."""
    rows: list[list[object]] = []
    wrong = held = 0
    for scenario in tqdm(measured(columns), total=columns, desc="measured"):
        own = [scenario.rotor.spacer_thickness]
        option = find_spacer(scenario, spacers=own, max_fills=max_fills, seed=SEED, executor=pool).options[0]
        judged = option.fills.risk_looking_often(level=option.risks.level).per_fill
        true = simulate_fills(scenario, fills=long_run, seed=FRESH, executor=pool).risk(level=SURE).per_fill
        is_wrong = (option.status is Status.MEETS and true.low > LIMIT) or (
            option.status is Status.FAILS and true.high < LIMIT
        )
        wrong += is_wrong
        # The long run is uncertain too: an interval misses if it lies wholly beside that of the long run.
        holds = judged.low <= true.high and judged.high >= true.low
        held += holds
        interval = f"{judged.low:.3f} to {judged.high:.3f}"
        verdict = f"{option.status}{', WRONG' if is_wrong else ''}"
        rows.append([scenario.title, verdict, judged.fills, interval, f"{true.rate:.3f}", "yes" if holds else "no"])
    heads = ["column", "verdict", "loadings", "interval", f"rate of {long_run} fresh loadings", "interval holds"]
    return table(heads, rows), wrong, held


def of_unknowns(columns: int, corners: int, max_fills: int, pool: ProcessPoolExecutor) -> tuple[list[str], int, int]:
    """Judge columns with unknowns; give the table, how many "meets" are wrong, and how many there are."""
    rng, rows, wrong, meeting = np.random.default_rng(SEED), list[list[object]](), 0, 0
    for scenario in tqdm(with_unknowns(columns), total=columns, desc="with unknowns"):
        own = [scenario.rotor.spacer_thickness]
        option = find_spacer(scenario, spacers=own, max_fills=max_fills, seed=SEED, executor=pool).options[0]
        worst = 0.0
        if option.status is Status.MEETS:
            meeting += 1
            for at in rng.integers(0, 2, (corners, len(RANGES))).tolist():
                corner = {path: ends[end] for (path, ends), end in zip(RANGES.items(), at, strict=True)}
                fills = simulate_fills(scenario.changed(**corner), fills=CORNER_FILLS, seed=FRESH, executor=pool)
                failed = sum(fill.went_wrong for fill in fills)
                worst = max(worst, clopper_pearson(failed, len(fills), SURE)[0])
        wrong += worst > LIMIT
        seen = f"at least {worst:.2f} at the worst corner" if option.status is Status.MEETS else "-"
        rows.append([scenario.title, f"{option.status}{', WRONG' if worst > LIMIT else ''}", seen])
    return table(["column", "verdict", "share that fails"], rows), wrong, meeting


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    columns, long_run, unknown, corners, most = (
        (1, 8, 1, 2, 8) if quick else (COLUMNS, LONG_RUN, WITH_UNKNOWNS, CORNERS, MAX_FILLS)
    )
    with ProcessPoolExecutor() as pool:
        rows, wrong, held = of_measured(columns, long_run, most, pool)
        more, wrong_meets, meeting = of_unknowns(unknown, corners, most, pool)
    lines = [f"Limit: {LIMIT:g} of loadings may fail, shown at 95 %.", "", *rows, "", *more]
    says = (
        f"{wrong} of {columns} verdicts on measured columns wrong, {held} of {columns} intervals hold; of {meeting} "
        f'"meets" with unknowns {wrong_meets} fail at a corner'
    )
    holds = wrong == 0 and wrong_meets == 0 and held >= 0.9 * columns
    write("verdicts", lines, quick=quick, holds=holds, says=says)


if __name__ == "__main__":
    main()
