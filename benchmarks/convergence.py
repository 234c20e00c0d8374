"""Whether the shipped time step is fine enough: drawn columns at it and at an eighth of it, on common draws.

Columns are drawn by Latin hypercube over what machines and containers are like, with the spreads of a real column
(`drawn_columns`); one of four has soft walls. For each the rates of failed fills are compared. Where a column has an
edge, a spacer at which it turns between clean and failing, the error is also given as the shift of that edge in mm of
spacer: the rates of both are looked at on spacers around it, and the area between the two curves is the shift. At most
0.3 mm is wanted.

Then cheaper and finer settings on the same columns, by which step and rounds were chosen.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from common import quick_or_full, table, write
from drawn_columns import drawn_columns, failed, with_soft_walls, with_spacer
from paired import compare
from tqdm import tqdm

from colsim import Scenario
from colsim.physics.engines import Settings

SEED, DRAWN, COLUMNS, FILLS = 31, 41, 60, 12
SHIPPED = Settings()
EIGHTH = Settings(step=SHIPPED.step / 8, iterations=SHIPPED.iterations)
TRIED = (
    Settings(step=0.002),
    Settings(iterations=4),
    Settings(iterations=8),
    SHIPPED,
    Settings(iterations=40),
    Settings(step=0.0005),
)
SPACERS, AROUND, EDGE_FILLS = np.arange(0.0, 21.0, 3.0), np.arange(-2.0, 2.1, 1.0), 12  # [mm]
COARSE_FILLS, EDGES, TRIAL = 8, 8, 16
WANTED = 0.3  # [mm]


def outcomes(scenario: Scenario, settings: Settings, fills: int, pool: ProcessPoolExecutor) -> list[bool]:
    """Simulate so many fills and tell of each whether it fails."""
    one = partial(failed, scenario, seed=SEED, engine="compiled", settings=settings)
    return list(pool.map(one, range(fills), chunksize=2))


def edge_of(scenario: Scenario, pool: ProcessPoolExecutor) -> float | None:
    """Give a spacer about which the column turns between clean and failing [mm], or None if there is none."""
    rates = {}
    for spacer in SPACERS.tolist():
        if (other := with_spacer(scenario, spacer)) is not None:
            rates[spacer] = float(np.mean(outcomes(other, SHIPPED, COARSE_FILLS, pool)))
    steps = [(abs(rates[a] - rates[b]), (a + b) / 2) for a, b in zip(rates, list(rates)[1:], strict=False)]
    size, place = max(steps, default=(0.0, 0.0))
    return place if size >= 0.5 else None


def shift(scenario: Scenario, edge: float, pool: ProcessPoolExecutor) -> tuple[float, list[str]]:
    """Give by how much the edge moves with an eighth of the step [mm], and the rates on the spacers around it."""
    moved, rates = 0.0, []
    for off in AROUND.tolist():
        other = with_spacer(scenario, max(0.0, edge + off)) if edge + off >= 0 else None
        if other is None:
            continue
        two = [float(np.mean(outcomes(other, settings, EDGE_FILLS, pool))) for settings in (SHIPPED, EIGHTH)]
        moved += (two[0] - two[1]) * float(AROUND[1] - AROUND[0])
        rates.append(f"{edge + off:g}: {two[0]:.2f}/{two[1]:.2f}")
    return moved, rates


def by_settings(columns: Sequence[Scenario], finest: Sequence[list[bool]], pool: ProcessPoolExecutor) -> list[str]:
    """Tabulate how far the rates of several settings are from those of an eighth of the shipped step."""
    rows: list[list[object]] = []
    for settings in tqdm(TRIED, desc="settings"):
        begun = time.perf_counter()
        found = [outcomes(column, settings, len(fine), pool) for column, fine in zip(columns, finest, strict=True)]
        took = time.perf_counter() - begun
        off = [float(np.mean(a) - np.mean(b)) for a, b in zip(found, finest, strict=True)]
        changed = sum(x != y for a, b in zip(found, finest, strict=True) for x, y in zip(a, b, strict=True))
        fills = sum(len(fine) for fine in finest)
        rows.append(
            [
                f"{1000 * settings.step:g}",
                settings.iterations,
                f"{changed} of {fills}",
                f"{np.mean(off):+.4f}",
                f"{np.max(np.abs(off)):.2f}",
                took,
            ]
        )
    shipped = next(row[-1] for row, settings in zip(rows, TRIED, strict=True) if settings == SHIPPED)
    rows = [[*row[:-1], f"{row[-1] / shipped:.2f}"] for row in rows]
    heads = ["step [ms]", "rounds", "fills that change", "mean difference of rates", "largest", "time over shipped"]
    return table(heads, rows)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    count, fills = (1, 2) if quick else (COLUMNS, FILLS)
    columns = list(with_soft_walls(drawn_columns(count, DRAWN), every=4))
    rows: list[list[object]] = []
    edges: list[list[object]] = []
    shifts: list[float] = []
    finest: list[list[bool]] = []
    pairs: list[tuple[bool, bool]] = []
    with ProcessPoolExecutor() as pool:
        for column in tqdm(columns, desc="columns"):
            coarse, fine = (outcomes(column, settings, fills, pool) for settings in (SHIPPED, EIGHTH))
            both = list(zip(coarse, fine, strict=True))
            pairs += both
            finest.append(fine)
            found = compare(both, 1, 0.05)
            rates = (f"{found.ours / fills:.2f}", f"{found.other / fills:.2f}")
            rows.append([column.title, *rates, found.only_ours, found.only_other, found.difference])
        for column in tqdm(columns[:1] if quick else columns, desc="edges"):
            if len(edges) >= EDGES or (edge := edge_of(column, pool)) is None:
                continue
            moved, around = shift(column, edge, pool)
            shifts.append(moved)
            edges.append([column.title, f"{edge:g}", f"{moved:+.2f}", ", ".join(around)])
        trial = columns[:1] if quick else columns[:TRIAL]
        tried = by_settings(trial, finest[: len(trial)], pool)
    whole = compare(pairs, 1, 0.05)
    worst = max((abs(each) for each in shifts), default=0.0)
    lines = [
        f"Each column {fills} fills at {1000 * SHIPPED.step:g} ms with {SHIPPED.iterations} rounds, and at an eighth "
        "of that step, on common draws.",
        "",
        *table(["column", "shipped fails", "an eighth fails", "only shipped", "only an eighth", "difference"], rows),
        "",
        f"All together: {whole.only_ours} and {whole.only_other} of {whole.fills} fills fail only with the one, a "
        f"difference of rates of {whole.difference}.",
        "",
        f"Edges: rate of failed fills by spacer, shipped/an eighth, {EDGE_FILLS} fills each; a shift of one fill in "
        f"{EDGE_FILLS} on one spacer is {(AROUND[1] - AROUND[0]) / EDGE_FILLS:.2f} mm.",
        "",
        *table(["column", "edge near [mm]", "shift [mm]", "spacer: shipped/an eighth"], edges),
        "",
        f"Other settings on the first {TRIAL} columns, against an eighth of the shipped step:",
        "",
        *tried,
    ]
    says = f"the edges of {len(shifts)} columns move by {worst:.2f} mm of spacer at most, {WANTED:g} mm wanted"
    write("convergence", lines, quick=quick, holds=bool(shifts) and worst <= WANTED, says=says)


if __name__ == "__main__":
    main()
