"""Clogging of discs in a plane hopper, hard and soft, against what is published of it.

Hard ones: To, Lai and Pak, Physical Review Letters 86 (2001) 71 (from memory): the probability J that a hopper of equal
discs clogs falls from 1 to 0 as the opening grows from 2 to 5 diameters. Free of any constant are: the number that
passes before a clog is geometric, so J(N) = 1 - (1 - p)^N with one p (form: arXiv:0705.1744, Duke experiments of 2009),
J does not rise with the opening, and does not fall with friction.

Soft ones: Tao, Wilson and Weeks, Physical Review E 104 (2021) 044909 (abstract): stiffer particles, and less gravity,
clog more easily; at low friction the mean number in an arch depends on the opening over the diameter alone. Softness is
weight over stiffness times diameter, after Hong and others, Physical Review E 96 (2017) 062605 (from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from common import quick_or_full, table, write
from scipy.sparse import coo_array
from scipy.sparse.csgraph import shortest_path
from tqdm import tqdm

from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Contacts, Settings
from colsim.physics.scene import Body, Chain, ContactParameters, Line, Part, Scene
from colsim.sampling.intervals import clopper_pearson

DIAMETER, MASS, SLOPE = 60.0, 0.5, math.radians(60)
ABREAST = 12  # discs of a loose layer, as wide as the hopper's top
GRAVITY = 9806.65
HARD = 1e-3  # softness of what counts as hard: pairs dented by a thousandth of the diameter by one weight
NEAR_ONE, NEAR_NONE = 0.9, 0.1
QUIET = 1.0  # [s] without any disc passing after which those left are taken as held


@dataclass(frozen=True)
class Hopper:
    """An opening [diameters], friction [-], softness of the discs [-], and gravity over that of the earth [-]."""

    opening: float
    friction: float
    softness: float = HARD
    gravity: float = 1.0

    @property
    def stiffness(self) -> float:
        """Of two discs pressed together under the earth's gravity [mN/mm]."""
        return MASS * GRAVITY / (self.softness * DIAMETER)

    def scene(self, *, shut: bool) -> Scene:
        """Give the hopper with its outlet at height 0."""
        half, top = self.opening * DIAMETER / 2, ABREAST * DIAMETER * 0.6
        foot, high, friction = (top - half) * math.tan(SLOPE), 400 * DIAMETER, self.friction
        left = Chain(
            tuple(
                Line(a, b, friction, Part.LEFT_WALL)
                for a, b in itertools.pairwise([(-top, high), (-top, foot), (-half, 0.0)])
            )
        )
        right = Chain(
            tuple(
                Line(a, b, friction, Part.RIGHT_WALL)
                for a, b in itertools.pairwise([(half, 0.0), (top, foot), (top, high)])
            )
        )
        gate = (Chain((Line((-half, 0.0), (half, 0.0), friction),)),) if shut else ()
        return Scene((0.0, -GRAVITY * self.gravity), (left, right, *gate), friction)


def passed_before_a_clog(hopper: Hopper, count: int, seed: int) -> tuple[int, int]:
    """Fill the hopper over a shut gate, open it, and count the discs that pass, and those in the arch (0 without)."""
    rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(round(hopper.opening * 100), count)))
    moment, contact = MASS * (DIAMETER / 2) ** 2 / 2, ContactParameters(2 * hopper.stiffness)
    bodies = [Body(k, DIAMETER, 0.0, MASS, moment, restitution=0.3, contact=contact) for k in range(count)]
    # An eighth of a radian of the fastest contact a step; slower where gravity is less.
    pace = 1 / math.sqrt(hopper.gravity)
    settings = Settings(step=min(0.001 * pace, 0.25 / math.sqrt(2 * contact.constant_stiffness / MASS)))
    filling = CompiledEngine(hopper.scene(shut=True), settings)
    start = ABREAST * DIAMETER * 0.6 * math.tan(SLOPE) + DIAMETER
    for body in bodies:
        row, place = divmod(body.index, ABREAST)
        off = rng.uniform(-0.02, 0.02, 2) * DIAMETER
        x = 1.05 * (place - (ABREAST - 1) / 2) * DIAMETER
        filling.add(body, (x + off[0], start + row * 1.2 * DIAMETER + off[1]))
    filling.advance(round(4.0 * pace / settings.step))
    engine, state = CompiledEngine(hopper.scene(shut=False), settings), filling.state()
    for body, place, angle in zip(bodies, state.position.tolist(), state.angle.tolist(), strict=True):
        engine.add(body, (place[0], place[1]), angle)
    passed, quiet, look = 0, 0.0, round(0.05 * pace / settings.step)
    while passed < count and quiet < QUIET:
        engine.advance(look)
        state = engine.state()
        out = state.index[state.position[:, 1] < -2 * DIAMETER].tolist()
        for index in out:
            engine.remove(index)
        passed += len(out)
        still_falling = bool(np.any(np.abs(state.velocity) > 20.0 / pace))
        quiet = 0.0 if out or still_falling else quiet + 0.05
    return passed, 0 if passed == count else in_arch(engine.contacts())


def in_arch(contacts: Contacts) -> int:
    """Give the least number of discs that touch each other from the left wall to the right one."""
    rows: dict[int, int] = {}
    for body in contacts.body.tolist():
        rows.setdefault(body, len(rows))
    left, right = len(rows) + 10_000, len(rows) + 10_001
    edges = []
    for body, other, part in zip(contacts.body.tolist(), contacts.other.tolist(), contacts.part, strict=True):
        if part is not None:
            edges.append((rows[body], left if part is Part.LEFT_WALL else right))
        elif other >= 0:
            edges.append((rows[body], rows.setdefault(other, len(rows))))
    a, b = np.array(edges).T
    graph = coo_array((np.ones(len(a)), (a, b)), shape=(right + 1, right + 1)).tocsr()
    steps = shortest_path(graph, directed=False, unweighted=True, indices=left)[right]
    return int(steps) - 1 if np.isfinite(steps) else 0


def job(arguments: tuple[Hopper, int, int]) -> tuple[int, int]:
    return passed_before_a_clog(*arguments)


def runs_of(hopper: Hopper, count: int, runs: int, pool: Executor) -> tuple[list[int], list[int]]:
    """Run a hopper with so many seeds; give what passed, and the arches that were seen."""
    found = list(pool.map(job, [(hopper, count, seed) for seed in range(runs)], chunksize=2))
    return [passed for passed, _ in found], [arch for _, arch in found if arch]


def hard(pool: Executor, runs: int, count: int, openings: Sequence[float]) -> tuple[list[str], bool, str]:
    """Look at hard discs: by opening and friction."""
    frictions = (0.0, 0.3, 0.6) if len(openings) > 2 else (0.3,)
    rows: list[list[object]] = []
    share: dict[tuple[float, float], float] = {}
    gaps: list[float] = []
    for friction, opening in tqdm(list(itertools.product(frictions, openings)), desc="hard"):
        found, _ = runs_of(Hopper(opening, friction), count, runs, pool)
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
    rough = [friction for friction in frictions if friction > 0]
    holds = (
        all(share[f, openings[0]] >= NEAR_ONE and share[f, openings[-1]] <= NEAR_NONE for f in rough)
        and all(share[f, a] >= share[f, b] for f in frictions for a, b in itertools.pairwise(openings))
        and all(share[f, a] <= share[g, a] for f, g in itertools.pairwise(frictions) for a in openings)
    )
    head = [
        f"Hard discs, {count} in a hopper with walls at 60 degrees, {runs} runs each; J is the share that clogs.",
        "Last columns: J for fewer discs as one p predicts it / as counted in the same runs.",
        "",
    ]
    columns = ["friction", "opening [diameters]", "J (95 % interval)", "p", f"J({count // 4})", f"J({count // 2})"]
    says = (
        f"hard discs: J {'is' if holds else 'is NOT'} near one at 2 diameters and near none at 5, without rising with "
        f"the opening or falling with friction; one p for all sizes is off by up to {max(gaps):.2f} in J"
    )
    return [*head, *table(columns, rows)], holds, says


def soft(pool: Executor, runs: int, count: int, *, quick: bool) -> tuple[list[str], bool, str]:
    """Look at softness and gravity at low friction."""
    openings, softnesses = ((1.6,), (1e-3, 3e-2)) if quick else ((1.3, 1.6, 1.9, 2.2), (1e-3, 5e-3, 2e-2, 5e-2))
    rows: list[list[object]] = []
    clogs: dict[tuple[float, float, float], int] = {}
    arches: dict[float, list[float]] = {}
    for opening in tqdm(openings, desc="soft"):
        cases = [(softness, 1.0) for softness in softnesses] + [(softnesses[-1], 0.1)]
        for softness, gravity in cases:
            found, seen = runs_of(Hopper(opening, 0.05, softness, gravity), count, runs, pool)
            clogged = clogs[opening, softness, gravity] = sum(passed < count for passed in found)
            low, high = clopper_pearson(clogged, runs)
            arch = f"{np.mean(seen):.2f} +- {np.std(seen) / math.sqrt(len(seen)):.2f}" if seen else "-"
            if len(seen) >= runs // 3:
                arches.setdefault(opening, []).append(float(np.mean(seen)))
            share = f"{clogged / runs:.2f} ({low:.2f} to {high:.2f})"
            rows.append([f"{opening:g}", f"{softness:g}", f"{gravity:g}", share, arch])
    totals = [sum(clogs[opening, softness, 1.0] for opening in openings) for softness in softnesses]
    lighter = sum(clogs[opening, softnesses[-1], 0.1] for opening in openings)
    holds = all(a >= b for a, b in itertools.pairwise(totals)) and totals[0] > totals[-1] and lighter > totals[-1]
    spread = max((max(each) - min(each) for each in arches.values()), default=math.nan)
    head = [
        "",
        f"Soft discs, {count}, friction 0.05, {runs} runs each: softness is weight over stiffness of a pair times "
        "diameter; gravity over the earth's. Arch: discs from wall to wall.",
        "",
    ]
    says = (
        f"soft discs: {'/'.join(map(str, totals))} clogs from stiffest to softest over all openings, {lighter} with "
        f"the softest at a tenth of the gravity; mean arches of one opening differ by {spread:.2f} at most"
    )
    return [*head, *table(["opening", "softness", "gravity", "J (95 % interval)", "in the arch"], rows)], holds, says


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    runs, count = (2, 12) if quick else (30, 120)
    openings = (2.0, 5.0) if quick else (2.0, 3.0, 4.0, 5.0)
    with ProcessPoolExecutor() as pool:
        parts = [hard(pool, runs, count, openings), soft(pool, runs, 12 if quick else 60, quick=quick)]
    lines = [line for part, _, _ in parts for line in part]
    says = "; ".join(words for _, _, words in parts)
    write("hopper", lines, quick=quick, holds=all(good for _, good, _ in parts), says=says)


if __name__ == "__main__":
    main()
