"""Whether outcomes turn on the tangential spring that the reference needs and Coulomb's friction does not have.

Columns near an edge on common draws, on pymunk with half, once and twice the tangential stiffness, beside the compiled
engine, which has no such spring.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from common import quick_or_full, table, write
from drawn_columns import failed, near_edge
from engines_agree import DRAWN, SEED, SOFT_EVERY
from tqdm import tqdm

from colsim.physics.pymunk_engine import PymunkEngine

COLUMNS, FILLS, SHARES = 4, 24, (0.5, 1.0, 2.0)
MOST_MOVED = 0.1  # that a rate may move by from half to twice


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    columns, fills = (1, 2) if quick else (COLUMNS, FILLS)
    rows: list[list[object]] = []
    worst = 0.0
    with ProcessPoolExecutor() as pool:
        for scenario in tqdm(near_edge(columns, DRAWN, pool, soft_every=SOFT_EVERY), total=columns):
            rates = []
            for share in SHARES:
                engine = partial(PymunkEngine, longest_step=0.00005 if share > 1 else 0.0001, tangential_ratio=share)
                one = partial(failed, scenario, seed=SEED, engine=engine)
                rates.append(float(np.mean(list(pool.map(one, range(fills), chunksize=2)))))
            ours = partial(failed, scenario, seed=SEED, engine="compiled")
            without = float(np.mean(list(pool.map(ours, range(fills), chunksize=4))))
            worst = max(worst, max(rates) - min(rates))
            rows.append([scenario.title, *(f"{rate:.2f}" for rate in (*rates, without))])
    lines = [f"Rate of failed fills, {fills} each, common draws.", ""]
    lines += table(["column", *(f"pymunk, {share:g} of it" for share in SHARES), "compiled, without"], rows)
    says = f"from half to twice the tangential stiffness a rate moves by {worst:.2f} at most"
    write("tangential", lines, quick=quick, holds=worst <= MOST_MOVED, says=says)


if __name__ == "__main__":
    main()
