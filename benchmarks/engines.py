"""What a vend costs on each engine, in one run: a plain pymunk loop, our pymunk engine, the compiled one, the witness.

Seconds are of the processor, on one core, over whole fills: loading, vending, looking. The plain loop is what one would
write at first: pymunk's own step, and every body looked at after it. How right each is at these settings is the number
of fills, of chancy ones, whose outcome a quarter of the step and solving to the end would change.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from typing import Any

from common import ROTOR, fails, quick_or_full, rotor_scenario, table, wide_scenario, write
from mujoco_engine import SETTINGS, MujocoEngine
from soft_facts import THIN
from soft_facts import scenario as soft_scenario
from tqdm import tqdm
from two_engines import scenes

from colsim import Scenario, simulate_fill
from colsim.physics.choice import make_ready
from colsim.physics.engines import Settings
from colsim.physics.pymunk_engine import PymunkEngine

Simulate = Callable[..., Any]


class PlainEngine(PymunkEngine):
    """The same space, stepped one by one, with every body looked at after each step."""

    def advance(self, steps: int) -> None:
        fastest = 0.0
        for _ in range(steps):
            self._space.step(self.settings.step)
            for rigid, _ in self._bodies.values():
                fastest = max(fastest, rigid.velocity.length, abs(rigid.angular_velocity))


ENGINES: dict[str, Simulate] = {
    "plain pymunk loop": partial(simulate_fill, engine=PlainEngine),
    "our pymunk engine": partial(simulate_fill, engine="pymunk"),
    "compiled": partial(simulate_fill, engine="compiled"),
    "witness (MuJoCo)": partial(simulate_fill, engine=MujocoEngine, settings=SETTINGS),
}
CONVERGED = partial(simulate_fill, engine="compiled", settings=Settings(step=0.00025, iterations=120))


def vending(count: int) -> Scenario:
    """Give a column that vends to the end, whatever it holds."""
    changes: dict[str, Any] = {"rotor.spacer_thickness": 12, "rotor.torque_limit": 200, "container.restitution": 0}
    if count > 40:  # of 66 mm there is no room for so many
        changes |= {
            "container.diameter": 48,
            "column.width": 66,
            "rotor.pocket_width": 60,
            "rotor.spacer_thickness": 28,
        }
    title = f"{count} discs of {changes.get('container.diameter', 66):g} mm"
    return rotor_scenario(66, 8).changed(**changes, **{"loading.count": count, "title": title})


def costed() -> list[Scenario]:
    wide = wide_scenario(0.1, 8).changed(**{"container.restitution": 0, "title": "8 discs in a wide column"})
    flats = vending(20).changed(**{"container.set_flat": 6, "title": "20 with flats"})
    soft = soft_scenario(THIN, 0.5, 10).changed(title="10 soft ones")
    bound = Scenario(
        title="10 soft ones that both walls press on",
        container={"diameter": 65, "mass": 0.515, "empty_mass": 0.015, "drink": "still", "headspace": 0.04}
        | {"wall_thickness": 0.08, "set_fraction": 0.0},
        column={"width": 66, "height": 1500, "wall_friction": 0.15},
        rotor=ROTOR | {"spacer_thickness": 12},
        loading={"count": 10},
    )
    return [*(vending(count) for count in (8, 10, 16, 20, 32, 40, 64)), wide, flats, soft, bound]


def cost(simulate: Simulate, scenario: Scenario, fills: int) -> float | None:
    """Give the milliseconds of a vend; None where an engine does not do it."""
    soft = any(container.is_soft or container.set_flat for container in scenario.products.values())
    if simulate.keywords["engine"] is MujocoEngine and (soft or scenario.loading.total > 20):
        return None
    simulate(scenario, seed=1)
    begun, vends = time.process_time(), 0
    for k in range(fills):
        vends += len(simulate(scenario, seed=1, fill=k).vends)
    return 1000 * (time.process_time() - begun) / vends


def costs(fills: int, chosen: list[Scenario]) -> list[list[object]]:
    rows: list[list[object]] = []
    for scenario in tqdm(chosen, desc="cost"):
        plain, ours, compiled, other = (cost(simulate, scenario, fills) for simulate in ENGINES.values())
        times = [f"{each:.1f}" if each else "-" for each in (plain, ours, compiled, other)]
        ratios = [f"{each / compiled:.1f}" for each in (plain, ours) if each and compiled]
        rows.append([scenario.title, *times, *ratios])
    return rows


def failed(job: tuple[str, Scenario, int]) -> bool:
    name, scenario, fill = job
    simulate = CONVERGED if name == "converged" else ENGINES[name]
    return fails(simulate(scenario, seed=57, fill=fill))


def accuracy(fills: int, chosen: list[Scenario]) -> list[list[object]]:
    """Count failed fills on each engine, and those whose outcome is not that of the converged reference."""
    rows: list[list[object]] = []
    names = ("our pymunk engine", "compiled")
    with ProcessPoolExecutor() as pool:
        for scenario in tqdm(chosen, desc="accuracy"):
            found = {
                name: list(pool.map(failed, [(name, scenario, k) for k in range(fills)], chunksize=4))
                for name in ("converged", *names)
            }
            apart = [sum(a != b for a, b in zip(found[name], found["converged"], strict=True)) for name in names]
            rows.append([scenario.title, *(sum(each) for each in found.values()), *apart])
    return rows


def wall_time(workers: int, fills: int) -> float:
    """Give the seconds of some fills on threads of one process."""
    scenario = vending(20)
    with ThreadPoolExecutor(workers) as pool:
        begun = time.perf_counter()
        list(pool.map(lambda k: ENGINES["compiled"](scenario, seed=1, fill=k), range(fills)))
        return time.perf_counter() - begun


def starts() -> list[list[object]]:
    """Time a first fill in a new interpreter, with nothing kept and with the machine code kept, and its memory."""
    code = (
        "import resource, sys, time; begun = time.perf_counter(); sys.path.insert(0, {folder!r});"
        "from common import rotor_scenario; from colsim import simulate_fill;"
        "simulate_fill(rotor_scenario(66, 4), seed=1, engine={engine!r});"
        "print(time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    rows: list[list[object]] = []
    with tempfile.TemporaryDirectory() as kept:
        environment = {**os.environ, "NUMBA_CACHE_DIR": kept}
        for name, engine in (("pymunk", "pymunk"), ("compiled, first", "compiled"), ("compiled, kept", "compiled")):
            command = [sys.executable, "-c", code.format(folder=os.path.dirname(__file__), engine=engine)]
            done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
            seconds, memory = map(float, done.stdout.split())
            rows.append([name, f"{seconds:.1f}", f"{memory:.0f}"])
    return rows


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    make_ready("compiled")
    lines = ["Milliseconds of a vend on one core; plain and ours over compiled.", ""]
    columns = ["scene", *ENGINES, "plain / compiled", "ours / compiled"]
    lines += table(columns, costs(1 if quick else 3, costed()[:1] if quick else costed()))
    fills = 1 if quick else 100
    lines += ["", f"Failed fills of {fills}, and how many come out otherwise than converged.", ""]
    columns = ["scene", "converged", "our pymunk engine", "compiled", "pymunk otherwise", "compiled otherwise"]
    lines += table(columns, accuracy(fills, scenes()[:1] if quick else scenes()))
    threads = 2 if quick else 24
    seconds = [min(wall_time(workers, threads) for _ in range(1 if quick else 3)) for workers in (1, 2)]
    lines += ["", f"Two threads over one, compiled: {seconds[0] / seconds[1]:.2f} times as fast.", ""]
    if not quick:
        lines += table(["first fill of a new interpreter", "seconds", "memory [MiB]"], starts())
    write("engines", lines, quick=quick)


if __name__ == "__main__":
    main()
