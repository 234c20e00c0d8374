"""Speed of the reference engine as ratios within one run: Python over its own steps, two workers over one, by count."""

from __future__ import annotations

import time
from statistics import median
from typing import Any

from common import quick_or_full, rotor_scenario, table, write

from colsim import simulate_fill, simulate_fills
from colsim.physics.cross_section import build_cross_section
from colsim.physics.engines import Settings
from colsim.physics.pymunk_engine import PymunkEngine
from colsim.sampling.many_fills import process_pool


class Recorder(PymunkEngine):
    """The engine, keeping every call that changes the scene."""

    calls: list[tuple[str, tuple[Any, ...]]]

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        Recorder.calls = []

    def add(self, *args: Any) -> None:
        self.calls.append(("add", args))
        super().add(*args)

    def remove(self, index: int) -> None:
        self.calls.append(("remove", (index,)))
        super().remove(index)

    def drive(self, rate: float) -> None:
        self.calls.append(("drive", (rate,)))
        super().drive(rate)

    def hold(self) -> None:
        self.calls.append(("hold", ()))
        super().hold()

    def advance(self, steps: int) -> None:
        self.calls.append(("advance", (steps,)))
        super().advance(steps)


def bare_loop(scenario: Any, calls: list[tuple[str, tuple[Any, ...]]]) -> float:
    """Time the same steps of the same bodies with nothing looked at between them."""
    engine = PymunkEngine(build_cross_section(scenario).scene, Settings())
    step, dt = engine._space.step, engine.settings.step
    begun = time.perf_counter()
    for name, args in calls:
        if name == "advance":
            for _ in range(args[0]):
                step(dt)
        else:
            getattr(engine, name)(*args)
    return time.perf_counter() - begun


def overhead(count: int, repeats: int) -> float:
    """Give the time of a fill over that of its bare loop, the median of interleaved repeats."""
    scenario = rotor_scenario(66, count)
    simulate_fill(scenario, seed=1, engine=Recorder)
    ratios = []
    for _ in range(repeats):
        begun = time.perf_counter()
        simulate_fill(scenario, seed=1, engine="pymunk")
        whole = time.perf_counter() - begun
        ratios.append(whole / bare_loop(scenario, Recorder.calls))
    return median(ratios)


def workers(fills: int) -> float:
    """Give the time on one worker over the time on two, pools started beforehand."""
    scenario, seconds = rotor_scenario(66, 8), []
    for number in (1, 2):
        with process_pool(number) as pool:
            simulate_fills(scenario, fills=number, seed=1, executor=pool, engine="pymunk")
            begun = time.perf_counter()
            simulate_fills(scenario, fills=fills, seed=1, executor=pool, engine="pymunk")
            seconds.append(time.perf_counter() - begun)
    return seconds[0] / seconds[1]


def cost(count: int, repeats: int) -> float:
    """Give the median seconds of a fill for each vend."""
    # A strong motor, so that high columns vend to the end and every count is timed over all its vends.
    scenario = rotor_scenario(66, count).changed(**{"rotor.spacer_thickness": 12, "rotor.torque_limit": 200})
    seconds = []
    for k in range(repeats):
        begun = time.perf_counter()
        fill = simulate_fill(scenario, seed=1, fill=k, engine="pymunk")
        seconds.append((time.perf_counter() - begun) / len(fill.vends))
    return median(seconds)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    counts = (2, 4) if quick else (8, 16, 32)
    lines = table(
        ["containers", "fill over its bare loop of engine steps"],
        [[count, f"{overhead(count, 1 if quick else 7):.3f}"] for count in counts],
    )
    lines += ["", f"Two workers over one: {workers(4 if quick else 80):.2f} times as fast.", ""]
    costs = [cost(count, 1 if quick else 5) for count in counts]
    lines += table(
        ["containers", "cost of a vend, relative to the first row"],
        [[count, f"{seconds / costs[0]:.2f}"] for count, seconds in zip(counts, costs, strict=True)],
    )
    write("speed", lines, quick=quick)


if __name__ == "__main__":
    main()
