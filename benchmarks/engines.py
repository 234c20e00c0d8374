"""What a simulated second costs on each engine, in one run, and how near the shipped one is to its own limit.

Three turns of a full column and the rest after each are recorded on the compiled engine and replayed on all: the same
containers from the same places, taken out at the same times, the drum driven alike. Seconds are of the processor, on
one core.

* The plain loop is what one would write at first: pymunk's own rigid contacts, a step of 1 ms and 20 iterations, chords
  for arcs (rounded edges as circles), the drum turned without a motor's limit, every body looked at after each step.
  Its containers are rigid, so it does less; it is here for cost alone, which is mostly that of the drum's chords.
* The reference lays springs on explicitly, ten steps to a millisecond, with contacts found by pymunk.
* The explicit solver is the compiled engine with springs laid on explicitly at 0.1 ms.

What a whole vend costs (loading, looking and judging in it) is told of the compiled engine. How right it is: of columns
that fail now and then, the fills whose outcome an eighth of the step changes.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from typing import Any

import pymunk
from common import quick_or_full, rotor_scenario, table, write
from drawn_columns import failed, near_edge
from replay import Maker, Window, recorded, replayed
from soft_facts import THIN
from soft_facts import scenario as soft_scenario
from tqdm import tqdm

from colsim import Scenario, simulate_fill
from colsim.errors import ScenarioError
from colsim.physics.choice import make_ready
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.physics.scene import Arc, Body, Chain, Part, Point, Scene, straightened

try:
    from mujoco_engine import SETTINGS as MUJOCO
    from mujoco_engine import MujocoEngine
except ImportError:  # it is not among what colsim needs
    MUJOCO, MujocoEngine = Settings(), None

TURNS = 3
PLAIN = "plain pymunk loop, chords of 5 deg"
SHIPPED, EIGHTH = Settings(), Settings(step=Settings().step / 8)
EXPLICIT = Settings(step=1e-4, iterations=0)
NEAR_EDGE, DRAWN, SEED = 6, 77, 57  # columns, and of which draws


class PlainLoop:
    """A first attempt on pymunk: rigid containers, its own contacts."""

    def __init__(self, scene: Scene, settings: Settings) -> None:
        self.step, self.chord_turn = settings.step, settings.chord_turn
        self.space = pymunk.Space()
        self.space.gravity, self.space.iterations = scene.gravity, 20
        self.friction = scene.friction_table[0][0]
        self.bodies: dict[int, tuple[pymunk.Body, pymunk.Shape]] = {}
        self.fastest = 0.0
        self.drum = pymunk.Body(body_type=pymunk.Body.KINEMATIC)
        self.space.add(self.drum)
        for chain in scene.walls:
            self.space.add(*self.pieces(chain, self.space.static_body))
        if scene.drum is not None:
            self.space.add(*self.pieces(scene.drum.outline, self.drum))

    def pieces(self, chain: Chain, body: pymunk.Body) -> Iterator[pymunk.Shape]:
        for piece in chain.pieces:
            shapes: list[pymunk.Shape]
            if isinstance(piece, Arc) and piece.sweep < 0 and piece.part is not Part.LAND:
                shapes = [pymunk.Circle(body, piece.radius, piece.centre)]
            else:
                lines = straightened(piece, self.chord_turn)
                shapes = [pymunk.Segment(body, line.start, line.end, 0.0) for line in lines]
            for shape in shapes:
                shape.friction = piece.friction / self.friction  # pymunk multiplies both
                yield shape

    def add(self, body: Body, position: Point, angle: float = 0.0, *_: Any) -> None:
        rigid, half = pymunk.Body(body.mass, body.moment), body.flat / 2
        rigid.position, rigid.angle = position, angle
        ends = ((-half, 0.0), (half, 0.0))
        shape = pymunk.Segment(rigid, *ends, body.height / 2) if half else pymunk.Circle(rigid, body.height / 2)
        shape.friction = self.friction
        self.space.add(rigid, shape)
        self.bodies[body.index] = (rigid, shape)

    def remove(self, index: int) -> None:
        self.space.remove(*self.bodies.pop(index))

    def drive(self, rate: float) -> None:
        self.drum.angular_velocity = rate

    def hold(self) -> None:
        self.drum.angular_velocity = 0.0

    def advance(self, steps: int) -> None:
        for _ in range(steps):
            self.space.step(self.step)
            for rigid, _ in self.bodies.values():
                self.fastest = max(self.fastest, rigid.velocity.length, abs(rigid.angular_velocity))


ENGINES: dict[str, tuple[Maker | None, Settings]] = {
    PLAIN: (PlainLoop, Settings(chord_turn=5.0)),
    "the same, chords of 1 deg": (PlainLoop, Settings(chord_turn=1.0)),
    "reference": (PymunkEngine, SHIPPED),
    "compiled": (CompiledEngine, SHIPPED),
    "explicit solver": (CompiledEngine, EXPLICIT),
    "witness (MuJoCo)": (MujocoEngine, MUJOCO),
}


def vending(count: int) -> Scenario:
    """Give a column that vends to the end, whatever it holds."""
    changes = {"rotor.spacer_thickness": 12, "rotor.torque_limit": 200, "loading.count": count}
    return rotor_scenario(66, 8).changed(**changes, title=f"{count} firm ones")


def soft(count: int) -> Scenario:
    """Give a column of thin-walled still water, flats set by half."""
    changes = {"column.height": 3000, "rotor.torque_limit": 200, "loading.count": count}
    return soft_scenario(THIN, 0.5, 10).changed(**changes, title=f"{count} soft ones")


def costed() -> list[Scenario]:
    """Give firm and soft ones by count, those with flats, and single files."""
    single = {"column.width": 66.5, "column.throat_radius": 0}
    return [
        *(vending(count) for count in (10, 20, 40)),
        *(soft(count) for count in (10, 20)),
        vending(20).changed(**{"container.set_flat": 6, "title": "20 firm ones with flats of 6 mm"}),
        vending(10).changed(**single, title="10 firm ones in single file"),
        soft(10).changed(**single, title="10 soft ones in single file"),
    ]


def cost(window: Window, maker: Maker | None, settings: Settings, repeats: int) -> float | None:
    """Give the milliseconds of a simulated second, the least of some runs; None where an engine does not do it."""
    if maker is None:
        return None
    try:
        return min(1000 * replayed(window, maker, settings) / window.time for _ in range(repeats))
    except ScenarioError:
        return None


def vend_cost(scenario: Scenario, fills: int) -> float:
    """Give the milliseconds of a vend on the compiled engine, over whole fills."""
    begun, vends = time.process_time(), 0
    for k in range(fills):
        vends += len(simulate_fill(scenario, seed=1, number=k, engine="compiled").vends)
    return 1000 * (time.process_time() - begun) / vends


def costs(chosen: list[Scenario], *, quick: bool) -> list[list[object]]:
    rows: list[list[object]] = []
    of_title: dict[str, float] = {}
    for scenario in tqdm(chosen, desc="cost"):
        window = recorded(scenario, turns=TURNS)
        found = {
            name: cost(window, *how, repeats=1 if quick or name == "reference" else 3) for name, how in ENGINES.items()
        }
        plain, compiled = found[PLAIN], found["compiled"]
        assert plain is not None
        assert compiled is not None
        of_title[scenario.title] = compiled
        firm = of_title[scenario.title.replace("soft", "firm")]
        over_firm = "-" if "soft" not in scenario.title else f"{compiled / firm:.1f}"
        times = [f"{each:.1f}" if each else "-" for each in found.values()]
        vend = vend_cost(scenario, 1 if quick else 3)
        rows.append([scenario.title, *times, f"{plain / compiled:.1f}", over_firm, f"{vend:.1f}"])
    return rows


def accuracy(columns: int, fills: int) -> list[list[object]]:
    """Count failed fills of the compiled engine as shipped, and those whose outcome an eighth of the step changes."""
    rows: list[list[object]] = []
    with ProcessPoolExecutor() as pool:
        for scenario in tqdm(near_edge(columns, DRAWN, pool), total=columns, desc="accuracy"):
            shipped, eighth = (
                list(
                    pool.map(
                        partial(failed, scenario, seed=SEED, engine="compiled", settings=settings),
                        range(fills),
                        chunksize=4,
                    )
                )
                for settings in (SHIPPED, EIGHTH)
            )
            apart = sum(a != b for a, b in zip(shipped, eighth, strict=True))
            rows.append([scenario.title, sum(shipped), sum(eighth), apart])
    return rows


def wall_time(workers: int, fills: int) -> float:
    """Give the seconds of some fills on threads of one process."""
    scenario, one = vending(20), partial(simulate_fill, seed=1, engine="compiled")
    with ThreadPoolExecutor(workers) as pool:
        begun = time.perf_counter()
        list(pool.map(lambda k: one(scenario, number=k), range(fills)))
        return time.perf_counter() - begun


def starts() -> list[list[object]]:
    """Time a first fill in a new interpreter, with nothing kept and with the machine code kept, and its memory."""
    code = (
        "import resource, sys, time; begun = time.perf_counter(); sys.path.insert(0, {folder!r});"
        "from common import rotor_scenario; from colsim import simulate_fill;"
        "simulate_fill(rotor_scenario(66, 4), seed=1, engine='compiled');"
        "print(time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    rows: list[list[object]] = []
    with tempfile.TemporaryDirectory() as kept:
        environment = {**os.environ, "NUMBA_CACHE_DIR": kept}
        for name in ("nothing kept", "machine code kept"):
            command = [sys.executable, "-c", code.format(folder=os.path.dirname(__file__))]
            done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
            seconds, memory = map(float, done.stdout.split())
            rows.append([name, f"{seconds:.1f}", f"{memory:.0f}"])
    return rows


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    make_ready("compiled")
    chosen = [vending(4)] if quick else costed()
    lines = [f"Milliseconds of a simulated second on one core: {TURNS} turns of a full column.", ""]
    columns = ["column", *ENGINES, "plain (5 deg) / compiled", "soft / firm, compiled", "a whole vend, compiled [ms]"]
    lines += table(columns, costs(chosen, quick=quick))
    fills = 2 if quick else 60
    lines += ["", f"Columns near an edge: failed fills of {fills} on the compiled engine.", ""]
    columns = ["column", "as shipped", "an eighth of the step", "come out otherwise"]
    lines += table(columns, accuracy(1 if quick else NEAR_EDGE, fills))
    threads = 2 if quick else 24
    seconds = [min(wall_time(workers, threads) for _ in range(1 if quick else 3)) for workers in (1, 2)]
    lines += ["", f"Two threads over one, compiled: {seconds[0] / seconds[1]:.2f} times as fast.", ""]
    if not quick:
        lines += table(["first fill of a new interpreter, compiled", "seconds", "memory [MiB]"], starts())
    write("engines", lines, quick=quick)


if __name__ == "__main__":
    main()
