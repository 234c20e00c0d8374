"""Whether the compiled engine and the reference agree, on scenes that span from clean to failing and on fresh draws.

The rates of failed fills agree on a scene if the interval of their paired difference lies within five points, all
intervals holding together; that a difference is not significant would be no agreement. Eight scenes are wanted. Where
rigid containers do not agree at the usual settings, the whole scene is run again with half the step on both.
"""

from __future__ import annotations

from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from common import ROTOR, fails, quick_or_full, table, write
from tqdm import tqdm
from two_engines import WITHIN, Compared, compare, scenes, varies

from colsim import Scenario, simulate_fill
from colsim.physics.engines import Settings

SEED = 20261127  # of draws that nothing was developed on
FILLS, SOFT_FILLS, AGAIN_FILLS = 800, 160, 400
WANTED = 8  # scenes
ENGINES = ("compiled", "pymunk")
HALF = Settings(step=0.0005, iterations=40)
FINER = Settings(step=0.00025, iterations=60)


def chosen() -> list[Scenario]:
    """Give a dozen: the four of `two_engines` at the usual speed, then flats, kinds, rotors, a lean, and soft walls."""
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
        bare.changed(
            **{"rotor.pockets": 2, "rotor.pocket_depth": 60, "title": "two pockets of 60 mm, no spacer"},
        ),
        wide.changed(**{"column.lean": varies(0, 6), "title": "the wide column, leaning 0 to 6 deg"}),
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


def both(scenario: Scenario, settings: Settings, fill: int) -> tuple[bool, bool]:
    """Run a fill on the compiled engine and on the reference."""
    one, two = (failed(scenario, fill, engine, settings) for engine in ENGINES)
    return one, two


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    several = chosen()[:1] if quick else chosen()
    rows: list[list[object]] = []
    refined: list[list[object]] = []
    agreed = 0
    again: list[str] = []
    with ProcessPoolExecutor() as pool:

        def run(scenario: Scenario, settings: Settings, fills: Iterable[int], what: str) -> list[tuple[bool, bool]]:
            numbers = list(fills)
            found = pool.map(partial(both, scenario, settings), numbers, chunksize=2)
            return list(tqdm(found, total=len(numbers), desc=f"{scenario.title}, {what}"))

        def row(scenario: Scenario, settings: Settings, outcomes: list[tuple[bool, bool]]) -> Compared:
            found = compare(outcomes, len(several))
            rates = (f"{found.ours / found.fills:.3f}", f"{found.other / found.fills:.3f}")
            apart_by = (found.only_ours, found.only_other, found.difference, found.verdict)
            rows.append([scenario.title, f"{1000 * settings.step:g}", found.fills, *rates, *apart_by])
            return found

        for scenario in several:
            soft = any(container.is_soft for container in scenario.products.values())
            fills = 2 if quick else SOFT_FILLS if soft else FILLS
            outcomes = run(scenario, Settings(), range(fills), "usual step")
            found = row(scenario, Settings(), outcomes)
            agreed += found.agree
            apart = [fill for fill, (one, two) in enumerate(outcomes) if one != two]
            if soft:  # what is soft follows its loads at a pace of its own, which a step does not refine
                continue
            if not found.agree and not quick:
                other = row(scenario, HALF, run(scenario, HALF, range(AGAIN_FILLS), "half the step"))
                again += [scenario.title] * other.agree
            if apart:
                refining = run(scenario, FINER, apart, "finer")
                counts = np.array(refining).sum(axis=0).tolist()
                both_ways = sum(one != two for one, two in refining)
                refined.append([scenario.title, len(apart), found.only_ours, found.only_other, *counts, both_ways])
    failing = ["compiled fails", "pymunk fails", "only compiled", "only pymunk"]
    lines = table(["scene", "step [ms]", "fills", *failing, "difference", "verdict"], rows)
    lines += ["", "Failed among those on which they differ, and with a quarter of the step and 60 rounds:", ""]
    columns = ["scene", "fills", "compiled", "pymunk", "compiled, finer", "pymunk, finer", "still apart"]
    lines += table(columns, refined)
    says = f"on {agreed} of {len(several)} scenes the engines agree within {100 * WITHIN:g} points at the usual step"
    if again:
        says += f", with half of it on {len(again)} more ({'; '.join(again)})"
    write("engines_agree", lines, quick=quick, holds=agreed >= WANTED, says=says)


if __name__ == "__main__":
    main()
