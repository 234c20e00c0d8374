"""Speed as ratios within one run: a fill over its bare steps, two workers over one, cost of a vend by count."""

from __future__ import annotations

import time
from statistics import median

from common import quick_or_full, rotor_scenario, table, write
from replay import recorded, replayed

from colsim import Scenario, simulate_fill, simulate_fills
from colsim.physics.choice import make_ready
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Settings
from colsim.sampling.workers import process_pool


def vending(count: int) -> Scenario:
    """Give a column with so strong a motor that every count is timed over all its vends."""
    return rotor_scenario(66, count).changed(**{"rotor.spacer_thickness": 12, "rotor.torque_limit": 200})


def fill_time(scenario: Scenario, fill: int = 0) -> tuple[float, int]:
    """Give the processor seconds of a fill, and its vends."""
    begun = time.process_time()
    vends = len(simulate_fill(scenario, seed=1, number=fill).vends)
    return time.process_time() - begun, vends


def overhead(count: int, repeats: int) -> float:
    """Give the time of a fill over that of its steps alone, replayed; the median of interleaved repeats."""
    scenario = vending(count)
    window = recorded(scenario)
    ratios = [fill_time(scenario)[0] / replayed(window, CompiledEngine, Settings()) for _ in range(repeats)]
    return median(ratios)


def workers(fills: int) -> float:
    """Give the time on one worker over the time on two, pools started beforehand."""
    scenario, seconds = vending(8), []
    for number in (1, 2):
        with process_pool(number) as pool:
            simulate_fills(scenario, fills=number, seed=1, executor=pool)
            begun = time.perf_counter()
            simulate_fills(scenario, fills=fills, seed=1, executor=pool)
            seconds.append(time.perf_counter() - begun)
    return seconds[0] / seconds[1]


def cost(count: int, repeats: int) -> float:
    """Give the median seconds of a fill for each vend."""
    scenario = vending(count)
    return median(seconds / vends for seconds, vends in (fill_time(scenario, k) for k in range(repeats)))


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    make_ready("compiled")
    counts = (2, 4) if quick else (8, 16, 32)
    lines = table(
        ["containers", "fill over its bare steps"],
        [[count, f"{overhead(count, 1 if quick else 7):.3f}"] for count in counts],
    )
    lines += ["", f"Two workers over one: {workers(4 if quick else 400):.2f} times as fast.", ""]
    costs = [cost(count, 1 if quick else 5) for count in counts]
    lines += table(
        ["containers", "cost of a vend, relative to the first row"],
        [[count, f"{seconds / costs[0]:.2f}"] for count, seconds in zip(counts, costs, strict=True)],
    )
    write("speed", lines, quick=quick)


if __name__ == "__main__":
    main()
