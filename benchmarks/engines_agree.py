"""Whether the compiled engine and the reference agree, on scenes that span from clean to failing and on fresh draws.

The rates of failed fills agree on a scene if the interval of their paired difference lies within five points, all
intervals holding together; that a difference is not significant would be no agreement.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor

import numpy as np
from common import ROTOR, fails, quick_or_full, table, write
from tqdm import tqdm
from two_engines import WITHIN, compare, scenes, varies

from colsim import Scenario, simulate_fill
from colsim.physics.engines import Settings

SEED = 20261126  # of draws that nothing was developed on
FILLS, SOFT_FILLS = 400, 120
ENGINES = ("compiled", "pymunk")
FINER = Settings(step=0.00025, iterations=60)


def chosen() -> list[Scenario]:
    """Give ten scenes: the four of `two_engines` at the usual speed, then flats, kinds, rebound and soft walls."""
    bare, spacer, wide, lifted = (each.changed(**{"rotor.speed": 45}) for each in scenes())
    water = {"diameter": 65, "mass": 0.515, "empty_mass": 0.015, "drink": "still", "headspace": 0.04}
    soft_rotor = ROTOR | {"spacer_thickness": 12}
    return [
        bare,
        spacer,
        wide,
        lifted,
        wide.changed(**{"container.set_flat": varies(0, 8), "title": "the wide column, flats of 0 to 8 mm"}),
        bare.changed(**{"container.restitution": 0.3, "title": "no spacer, rebound 0.3"}),
        spacer.changed(**{"rotor.torque_limit": varies(2, 20), "title": "12 mm spacer, motor of 2 to 20 N m"}),
        Scenario(
            title="two kinds in layers, the upper of 56 to 70 mm",
            containers={
                "can": {"like": "12 fl oz can", "friction": 0.2},
                "bottle": {"diameter": varies(56, 70), "mass": 0.5, "friction": 0.3},
            },
            column={"width": 90, "height": 3000, "wall_friction": 0.25},
            rotor=ROTOR,
            loading={"layers": [{"container": "can", "count": 3}, {"container": "bottle", "count": 3}]},
        ),
        Scenario(
            title="soft, wall of 0.06 to 0.14 mm, flats that set",
            container=water | {"wall_thickness": varies(0.06, 0.14), "set_fraction": 1.0},
            column={"width": 90, "height": 2500, "wall_friction": 0.25},
            rotor=soft_rotor,
            loading={"count": 12},
        ),
        Scenario(
            title="soft, both walls press, wall friction 0.05 to 0.8",
            container=water | {"wall_thickness": 0.08, "set_fraction": 0.0},
            column={"width": 66, "height": 1500, "wall_friction": varies(0.05, 0.8)},
            rotor=soft_rotor,
            loading={"count": 8},
        ),
    ]


def failed(scenario: Scenario, fill: int, engine: str, settings: Settings | None = None) -> bool:
    """Tell whether a fill fails on an engine."""
    return fails(simulate_fill(scenario, seed=SEED, fill=fill, engine=engine, settings=settings))


def both(job: tuple[Scenario, int]) -> tuple[bool, bool]:
    """Run a fill on the compiled engine and on the reference."""
    one, two = (failed(*job, engine) for engine in ENGINES)
    return one, two


def finer(job: tuple[Scenario, int]) -> tuple[bool, bool]:
    """Run a fill with a quarter of the step and three times the rounds on both."""
    one, two = (failed(*job, engine, FINER) for engine in ENGINES)
    return one, two


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    several = chosen()[:1] if quick else chosen()
    rows: list[list[object]] = []
    refined: list[list[object]] = []
    agreed = 0
    with ProcessPoolExecutor() as pool:
        for scenario in several:
            soft = any(container.is_soft for container in scenario.products.values())
            fills = 2 if quick else SOFT_FILLS if soft else FILLS
            jobs = [(scenario, fill) for fill in range(fills)]
            outcomes = list(tqdm(pool.map(both, jobs, chunksize=2), total=fills, desc=scenario.title))
            found = compare(outcomes, len(several))
            agreed += found.agree
            rates = (f"{found.ours / fills:.3f}", f"{found.other / fills:.3f}", found.only_ours, found.only_other)
            rows.append([scenario.title, fills, *rates, found.difference, found.verdict])
            apart = [(scenario, fill) for fill, (one, two) in enumerate(outcomes) if one != two]
            if apart and not soft:  # what is soft follows its loads at a pace of its own, which a step does not refine
                again = list(tqdm(pool.map(finer, apart), total=len(apart), desc="finer"))
                counts = np.array(again).sum(axis=0).tolist()
                both_ways = sum(one != two for one, two in again)
                refined.append([scenario.title, len(apart), found.only_ours, found.only_other, *counts, both_ways])
    failing = ["compiled fails", "pymunk fails", "only compiled", "only pymunk"]
    lines = table(["scene", "fills", *failing, "difference", "verdict"], rows)
    lines += ["", "Failed among those on which they differ, and with a quarter of the step and 60 rounds:", ""]
    columns = ["scene", "fills", "compiled", "pymunk", "compiled, finer", "pymunk, finer", "still apart"]
    lines += table(columns, refined)
    says = f"on {agreed} of {len(several)} scenes the engines agree within {100 * WITHIN:g} points"
    write("engines_agree", lines, quick=quick, holds=agreed == len(several), says=says)


if __name__ == "__main__":
    main()
