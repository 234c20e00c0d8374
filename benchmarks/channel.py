"""What holds itself up in a plain channel open below: round discs never, set flats and pairs on one side by friction.

A stack stands between upright parallel walls on a disc that stands on the ground; then that disc is taken away. Theory
(derived, see `theory.equilibrium`): round discs that alternate never hold, whatever the friction and their diameters;
with two at a time on each side they may from a friction of 1; with set flats only where the angles of friction of wall
and container come together to at least the angle between the two normals of a container.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from common import quick_or_full, table, write
from tqdm import tqdm

from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Engine, Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import Body, Chain, ContactParameters, Line, Point, Scene

DIAMETER, MASS, GRAVITY = 66.0, 0.5, 9806.65
COUNT = 8
STIFFNESS = 70.0  # between two boards [N/mm]
SETTLING, WATCHED = 2000, 2000  # steps of a millisecond before and after the lowest is taken away
SCATTER = 0.1  # of the unequal diameters
FLAT = 8.0  # [mm]
AT_REST = 2.0  # [mm/s]
Maker = Callable[[Scene, Settings], Engine]
RUN_ON: dict[Maker, int] = {CompiledEngine: 20, PymunkEngine: 1}  # most runs of a case; the reference is slow


@dataclass(frozen=True)
class Stack:
    """A stack and its channel.

    Attributes
    ----------
    ratio : float
        Width of the channel over mean diameter [-].
    wall, own : float
        Friction of the walls, and of the containers among themselves [-].
    pattern : tuple of int
        Sides in order from the bottom, repeated: -1 left, 1 right.
    flat : float
        Width of set flats [mm], turned at random; the perimeter is that of the disc.
    scatter : float
        Greatest deviation of a diameter from the mean [-].
    """

    ratio: float
    wall: float
    own: float
    pattern: tuple[int, ...] = (-1, 1)
    flat: float = 0.0
    scatter: float = 0.0

    def scene(self) -> Scene:
        """Give two walls and the ground, far higher than any stack."""
        half, high = self.ratio * DIAMETER / 2, 100 * DIAMETER
        pieces = (
            Line((-half, high), (-half, 0.0), self.wall),
            Line((-half, 0.0), (half, 0.0), self.wall),
            Line((half, 0.0), (half, high), self.wall),
        )
        return Scene((0.0, -GRAVITY), (Chain(pieces),), self.own)

    def laid(self, seed: int) -> tuple[list[Body], list[Point], list[float]]:
        """Give containers, each against its wall and on the one below, and how each is turned."""
        rng = np.random.default_rng(seed)
        diameters = (DIAMETER * (1 + self.scatter * rng.uniform(-1, 1, COUNT + 1))).tolist()
        contact = ContactParameters.of_boards(STIFFNESS)
        bodies = [
            Body(
                k, diameter - 2 * self.flat / math.pi, self.flat, MASS, MASS * (diameter / 2) ** 2 / 2, contact=contact
            )
            for k, diameter in enumerate(diameters)
        ]
        angles = (rng.uniform(0, math.pi, COUNT + 1) * (self.flat > 0)).tolist()
        places: list[Point] = []
        for body in bodies:
            x = self.pattern[body.index % len(self.pattern)] * (self.ratio * DIAMETER / 2 - body.reach)
            y = body.reach
            if places:
                y = places[-1][1] + math.sqrt(
                    (body.reach + bodies[body.index - 1].reach) ** 2 - (x - places[-1][0]) ** 2
                )
            places.append((x, y))
        return bodies, places, angles


def holds(stack: Stack, seed: int = 0, engine: Maker = CompiledEngine) -> bool | None:
    """Take the lowest away and tell whether the others stay; None if they do not even come to rest on it."""
    world = engine(stack.scene(), Settings())
    for body, place, angle in zip(*stack.laid(seed), strict=True):
        world.add(body, place, angle)
    world.advance(SETTLING)
    before = world.state()
    sides = [stack.pattern[k % len(stack.pattern)] for k in range(COUNT + 1)]
    if np.any(np.sign(before.position[:, 0]) != sides) or np.abs(before.velocity).max() > AT_REST:
        return None
    world.remove(0)
    world.advance(WATCHED)
    after = world.state()
    sunk = before.position[1:, 1] - after.position[:, 1]
    return bool(sunk.max() < DIAMETER / 4 and np.abs(after.velocity).max() < AT_REST)


def job(arguments: tuple[Stack, int, Maker]) -> bool | None:
    return holds(*arguments)


def in_words(found: Sequence[bool | None]) -> str:
    """Say how many of those that came to rest held."""
    return f"{sum(one is True for one in found)} of {sum(one is not None for one in found)}"


def angle_between(ratio: float) -> float:
    """Give the angle between the normals of wall and neighbour in a zig-zag of equal discs [deg]."""
    return math.degrees(math.acos(ratio - 1))


def cases(runs: int) -> Iterator[tuple[str, Stack, int, str]]:
    """Give the name of each case, its stack, how many runs of it differ, and what theory says."""
    for ratio, friction in itertools.product((1.3, 1.42, 1.6, 1.75, 1.84), (0.3, 0.64, 1.0, 1.5, 3.0)):
        yield "round, equal", Stack(ratio, friction, friction), 1, "never"
        if ratio <= 1.6:  # unequal ones beyond may touch the next but one
            yield f"round, +-{SCATTER:.0%}", Stack(ratio, friction, friction, scatter=SCATTER), runs, "never"
    for ratio, friction in itertools.product((1.6, 1.75, 1.9), (0.8, 1.05, 1.3, 3.0)):
        said = "may" if friction >= 1.0 else "never"
        yield "round, two and two", Stack(ratio, friction, friction, pattern=(-1, -1, 1, 1)), 1, said
    for ratio, wall, own in itertools.product((1.42, 1.6, 1.84), (0.2, 0.4, 0.8), (0.2, 0.4, 0.8)):
        allowed = math.degrees(math.atan(wall) + math.atan(own)) >= angle_between(ratio)
        yield f"flats of {FLAT:g} mm", Stack(ratio, wall, own, flat=FLAT), runs, "may" if allowed else "never"


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    chosen = list(cases(20))[: 1 if quick else None]
    jobs = [
        (k, (stack, seed, engine))
        for engine, most in RUN_ON.items()
        for k, (_, stack, runs, _) in enumerate(chosen)
        for seed in range(min(runs, most))
    ]
    with ProcessPoolExecutor() as pool:
        done = list(tqdm(pool.map(job, [each for _, each in jobs], chunksize=2), total=len(jobs), unit="stack"))
    held: dict[tuple[int, Maker], list[bool | None]] = {}
    for (k, (_, _, engine)), one in zip(jobs, done, strict=True):
        held.setdefault((k, engine), []).append(one)
    rows: list[list[object]] = []
    wrong = 0
    for k, (name, stack, _, said) in enumerate(chosen):
        ours, reference = (held[k, engine] for engine in RUN_ON)
        wrong += said == "never" and any(one is True for one in (*ours, *reference))
        figures = (f"{stack.ratio:g}", f"{stack.wall:g}", f"{stack.own:g}")
        rows.append([name, *figures, said, in_words(ours), sum(one is None for one in ours), in_words(reference)])
    head = [
        f"{COUNT} containers in a plain channel from which the one below is taken away, of {STIFFNESS:g} N/mm between "
        "boards; held of those that came to rest before.",
        "",
    ]
    columns = ["containers", "width / diameter", "wall friction", "among themselves", "theory"]
    columns += ["held", "never at rest", "held, pymunk"]
    says = f"where theory says never, the engines hold a stack in {wrong} of {len(rows)} cases"
    write("channel", head + table(columns, rows), quick=quick, holds=wrong == 0, says=says)


if __name__ == "__main__":
    main()
