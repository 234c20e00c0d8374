"""Clogging of discs in a plane hopper, against what is published of it.

To, Lai and Pak, Physical Review Letters 86 (2001) 71 (from memory): the probability J that a hopper of equal discs
clogs falls from 1 to 0 as the opening grows from 2 to 5 diameters. Free of any constant are: the number that passes
before a clog is geometric, so J(N) = 1 - (1 - p)^N with one p (form: arXiv:0705.1744, Duke experiments of 2009), J does
not rise with the opening, and does not fall with friction.
"""

from __future__ import annotations

import itertools
import math
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from common import quick_or_full, table, write
from tqdm import tqdm

from colsim.physics.engines import Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import Body, Chain, Line, Scene
from colsim.sampling.intervals import clopper_pearson

DIAMETER, MASS, SLOPE = 60.0, 0.5, math.radians(60)
ABREAST = 12  # discs of a loose layer, as wide as the hopper's top
GRAVITY = 9806.65
NEAR_ONE, NEAR_NONE = 0.9, 0.1
QUIET = 1.0  # [s] without any disc passing after which those left are taken as held


def scene(opening: float, friction: float, *, shut: bool) -> Scene:
    """Give a hopper with its outlet at height 0; opening in diameters."""
    half, top = opening * DIAMETER / 2, ABREAST * DIAMETER * 0.6
    foot = (top - half) * math.tan(SLOPE)
    high = 400 * DIAMETER
    left = Chain((Line((-top, high), (-top, foot), friction), Line((-top, foot), (-half, 0.0), friction)))
    right = Chain((Line((half, 0.0), (top, foot), friction), Line((top, foot), (top, high), friction)))
    gate = (Chain((Line((-half, 0.0), (half, 0.0), friction),)),) if shut else ()
    return Scene((0.0, -GRAVITY), (left, right, *gate), friction)


def passed_before_a_clog(opening: float, friction: float, count: int, seed: int) -> int:
    """Fill the hopper over a shut gate, open it, and count the discs that pass; all of them if it does not clog."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(round(opening * 100), count)))
    bodies = [Body(k, DIAMETER, 0.0, MASS, MASS * (DIAMETER / 2) ** 2 / 2, restitution=0.3) for k in range(count)]
    filling = PymunkEngine(scene(opening, friction, shut=True), Settings())
    start = ABREAST * DIAMETER * 0.6 * math.tan(SLOPE) + DIAMETER
    for body in bodies:
        row, place = divmod(body.index, ABREAST)
        off = rng.uniform(-0.02, 0.02, 2) * DIAMETER
        x = 1.05 * (place - (ABREAST - 1) / 2) * DIAMETER
        filling.add(body, (x + off[0], start + row * 1.2 * DIAMETER + off[1]))
    filling.advance(4000)
    engine, state = PymunkEngine(scene(opening, friction, shut=False), Settings()), filling.state()
    for body, place, angle in zip(bodies, state.position.tolist(), state.angle.tolist(), strict=True):
        engine.add(body, (place[0], place[1]), angle)
    passed, quiet = 0, 0.0
    while passed < count and quiet < QUIET:
        engine.advance(50)
        state = engine.state()
        out = state.index[state.position[:, 1] < -2 * DIAMETER].tolist()
        for index in out:
            engine.remove(index)
        passed += len(out)
        still_falling = bool(np.any(np.abs(state.velocity) > 20.0))
        quiet = 0.0 if out or still_falling else quiet + 0.05
    return passed


def job(arguments: tuple[float, float, int, int]) -> int:
    return passed_before_a_clog(*arguments)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    runs, count = (2, 12) if quick else (60, 120)
    openings = (2.0, 5.0) if quick else (2.0, 2.5, 3.0, 3.5, 4.0, 5.0)
    frictions = (0.3,) if quick else (0.0, 0.3, 0.6)
    rows: list[list[object]] = []
    share: dict[tuple[float, float], float] = {}
    gaps: list[float] = []
    with ProcessPoolExecutor() as pool:
        for friction, opening in tqdm(list(itertools.product(frictions, openings))):
            found = list(pool.map(job, [(opening, friction, count, seed) for seed in range(runs)], chunksize=2))
            clogged = sum(passed < count for passed in found)
            share[friction, opening] = clogged / runs
            low, high = clopper_pearson(clogged, runs)
            # One p for all: the clogs over the discs that came to the outlet.
            p = clogged / max(1, sum(found) + clogged)
            gaps += [abs(1 - (1 - p) ** n - float(np.mean(np.array(found) < n))) for n in (count // 4, count // 2)]
            rows.append(
                [f"{friction:g}", f"{opening:g}", f"{clogged / runs:.2f} ({low:.2f} to {high:.2f})", f"{p:.4f}"]
                + [f"{1 - (1 - p) ** n:.2f} / {np.mean(np.array(found) < n):.2f}" for n in (count // 4, count // 2)]
            )
    head = [
        f"Equal discs, {count} in a hopper with walls at 60 degrees, {runs} runs each; J is the share that clogs.",
        "Last columns: J for fewer discs as one p predicts it / as counted in the same runs.",
        "",
    ]
    columns = ["friction", "opening [diameters]", "J (95 % interval)", "p", f"J({count // 4})", f"J({count // 2})"]
    rough = [friction for friction in frictions if friction > 0]
    holds = (
        all(
            share[friction, openings[0]] >= NEAR_ONE and share[friction, openings[-1]] <= NEAR_NONE
            for friction in rough
        )
        and all(share[f, a] >= share[f, b] for f in frictions for a, b in itertools.pairwise(openings))
        and all(share[f, a] <= share[g, a] for f, g in itertools.pairwise(frictions) for a in openings)
    )
    says = (
        "J is near one at 2 diameters and near none at 5, does not rise with the opening nor fall with friction; "
        f"one p for all sizes is off by up to {max(gaps):.2f} in J"
    )
    write("hopper", head + table(columns, rows), quick=quick, holds=holds, says=says)


if __name__ == "__main__":
    main()
