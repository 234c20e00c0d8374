"""How fast soft sections may follow their loads, and how finely the engine must work meanwhile.

Failed fills of a column of thin-walled still water, with flats that circulate and with flats that set, over the time
of the response, the time over which loads are averaged, and the step.
"""

from __future__ import annotations

import itertools
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from common import ROTOR, fails, quick_or_full, table, write
from tqdm import tqdm

from colsim import Scenario, simulate_fill
from colsim.physics.engines import Settings

SETTINGS = {
    "as shipped": Settings(),
    "response 0.1 s": Settings(response=0.1),
    "response 0.4 s": Settings(response=0.4),
    "loads over 0.02 s": Settings(memory=0.02),
    "loads over 0.1 s": Settings(memory=0.1),
    "step 0.5 ms": Settings(step=0.0005),
    "step 0.25 ms": Settings(step=0.00025),
    "60 rounds": Settings(iterations=60),
    "fast and short: 0.02 s, 0.005 s": Settings(response=0.02, memory=0.005),
}


def scenes() -> list[Scenario]:
    """Give three counts, each with flats that circulate and that set for good."""
    return [
        Scenario(
            title=f"{count}, {word}",
            container={
                "diameter": 65,
                "mass": 0.515,
                "empty_mass": 0.015,
                "drink": "still",
                "wall_thickness": 0.12,
                "headspace": 0.04,
                "set_fraction": fraction,
            },
            column={"width": 90, "height": 2500, "wall_friction": 0.25},
            rotor=ROTOR | {"spacer_thickness": 12},
            loading={"count": count},
        )
        for fraction, word in ((0.0, "round"), (1.0, "set"))
        for count in (4, 8, 12)
    ]


def outcome(job: tuple[Scenario, Settings, int]) -> tuple[bool, float]:
    """Tell whether a fill fails, and the greatest overlap in it [mm]."""
    scenario, settings, fill = job
    found = simulate_fill(scenario, seed=9, fill=fill, settings=settings)
    return fails(found), max((v.overlap for v in found.vends), default=0.0)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 1 if quick else 24
    chosen = scenes()[:1] if quick else scenes()
    settings = dict(itertools.islice(SETTINGS.items(), 1)) if quick else SETTINGS
    rows: list[list[object]] = []
    with ProcessPoolExecutor() as pool:
        for name, how in tqdm(settings.items()):
            jobs = itertools.product(chosen, [how], range(fills))
            found = np.array(list(pool.map(outcome, jobs, chunksize=4))).reshape(len(chosen), fills, 2)
            failed = found[:, :, 0].sum(axis=1).astype(int).tolist()
            rows.append([name, *failed, f"{found[:, :, 1].mean():.2f}", f"{found[:, :, 1].max():.2f}"])
    head = [
        f"Failed fills of {fills}, the same draws in every row (containers loaded; flats round or set), and overlaps "
        "of bodies, mean of the fills' greatest and the greatest of all [mm].",
        "",
    ]
    columns = ["settings", *(scenario.title for scenario in chosen), "overlap", "greatest"]
    write("softness", head + table(columns, rows), quick=quick)


if __name__ == "__main__":
    main()
