"""The same columns on the same draws, on our engine and on an independent one.

What varies from fill to fill spans from clean to failing, so that a rate tells where the engines put the border. The
engines agree on a scene if the interval of the difference of their rates lies within five points; that a difference
is not significant would be no agreement. Fills on which they differ are run again with finer steps on both.

The rotor turns slowly. The other engine's friction is a convex problem: what slides is thrown off the surface at up to
friction times its speed, at any step (Anitescu, Mathematical Programming 105 (2006) 113, from memory); by Coulomb's
law it stays. At the usual 45 rpm that is a tenth of a metre a second, and moves where containers come to lie in the
pocket. The last scene shows it and is not counted.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from common import ROTOR, fails, quick_or_full, table, write
from mujoco_engine import SETTINGS, MujocoEngine
from scipy.optimize import brentq
from scipy.special import ndtri
from tqdm import tqdm

from colsim import Scenario, simulate_fill
from colsim.physics.engines import Settings

WITHIN, ERROR = 0.05, 0.05
SLOW, USUAL = 10, 45  # [rpm]
FILLS = 500
STEPS = (0.00025, 0.00025, 0.000125, 0.000125)  # of the other engine [s]: arches take it finer steps than nips
FASTER_STEP = 0.00025


def varies(low: float, high: float) -> dict[str, object]:
    """Give what differs from fill to fill, evenly between two numbers."""
    return {"kind": "varies", "low": low, "high": high, "per": "fill"}


def scenes() -> list[Scenario]:
    """Give a rotor without and with spacer, a wide column, a lifted edge; nothing bounces."""
    bottle = {"diameter": varies(55, 75), "mass": 0.5, "restitution": 0, "friction": 0.25}
    slow = ROTOR | {"speed": SLOW}
    narrow = {"width": 90, "height": 3000, "wall_friction": 0.25}
    wide = {"diameter": 73, "mass": 0.64, "restitution": 0, "friction": varies(0.15, 0.4)}
    return [
        Scenario(
            title="55 to 75 mm, no spacer",
            container=bottle,
            column=narrow,
            rotor=slow,
            loading={"count": 5},
        ),
        Scenario(
            title="55 to 75 mm, 12 mm spacer",
            container=bottle,
            column=narrow,
            rotor=slow | {"spacer_thickness": 12},
            loading={"count": 5},
        ),
        Scenario(
            title="73 mm in 124 mm, wall friction 0.05 to 0.35",
            container=wide,
            column={"width": 124, "height": 1500, "throat": 90, "floor_slope": 60, "wall_friction": varies(0.05, 0.35)},
            rotor=ROTOR,
            loading={"count": 7},
        ),
        Scenario(
            title="73 mm in plain 124 mm, edge lifted 1 to 9 mm",
            container=wide,
            column={
                "width": 124,
                "height": 1500,
                "wall_friction": 0.2,
                "liners": [{"top": 250, "friction": 0.2, "lifted_edge": varies(1, 9)}],
            },
            rotor={"radius": 110, "pockets": 1, "pocket_width": 100, "pocket_depth": 90, "spacer_thickness": 10}
            | {"torque_limit": 60},
            loading={"count": 9},
        ),
    ]


def witness(step: float) -> Settings:
    """Give the other engine's settings with another step [s]."""
    return replace(SETTINGS, step=step)


def failed(scenario: Scenario, fill: int, settings: Settings, *, other: bool, seed: int = 23) -> bool:
    """Tell whether a fill fails on our reference or on the other engine."""
    engine = MujocoEngine if other else "pymunk"
    return fails(simulate_fill(scenario, seed=seed, fill=fill, settings=settings, engine=engine))


def both(job: tuple[Scenario, int, float]) -> tuple[bool, bool]:
    """Run a fill on ours and on the other engine with its step."""
    scenario, fill, step = job
    return failed(scenario, fill, Settings(), other=False), failed(scenario, fill, witness(step), other=True)


def finer(job: tuple[Scenario, int, float]) -> tuple[bool, bool]:
    """Run a fill with finer steps on both."""
    scenario, fill, step = job
    ours = failed(scenario, fill, Settings(step=0.00025), other=False)
    return ours, failed(scenario, fill, witness(step / 2), other=True)


def difference_interval(fills: int, only_first: int, only_second: int, confidence: float) -> tuple[float, float]:
    """Give the score interval of the difference of two paired rates.

    Tango, Statistics in Medicine 17 (1998) 891: differences that the score test does not reject, with the chance of
    the rarer discordance estimated under each.
    """
    z = float(ndtri(1 - (1 - confidence) / 2))

    def score(delta: float) -> float:
        # Root of the likelihood equation for the chance of "only second", at this difference.
        a, b = 2 * fills, -only_first - only_second + (2 * fills - only_first + only_second) * delta
        c = -only_second * delta * (1 - delta)
        rare = (np.sqrt(max(b * b - 4 * a * c, 0.0)) - b) / (2 * a)
        variance = fills * (2 * rare + delta * (1 - delta))
        gap = only_first - only_second - fills * delta
        if variance <= 0:
            return 0.0 if gap == 0 else float(np.copysign(np.inf, gap))
        return float(gap / np.sqrt(variance))

    middle, edge = (only_first - only_second) / fills, 1 - 1e-9
    low = -1.0 if score(-edge) < z else brentq(lambda delta: min(score(delta), 1e6) - z, -edge, middle)
    high = 1.0 if score(edge) > -z else brentq(lambda delta: max(score(delta), -1e6) + z, middle, edge)
    return float(low), float(high)


@dataclass(frozen=True)
class Compared:
    """What the engines make of one scene on the same draws."""

    fills: int
    ours: int
    other: int
    only_ours: int
    only_other: int
    low: float
    high: float

    @property
    def agree(self) -> bool:
        """Whether the whole interval of the difference lies within five points."""
        return self.low > -WITHIN and self.high < WITHIN

    @property
    def verdict(self) -> str:
        """Whether they agree, in words."""
        return "agree" if self.agree else "not shown to agree"

    @property
    def difference(self) -> str:
        """The interval of the difference, in words."""
        return f"{self.low:+.3f} to {self.high:+.3f}"


def compare(outcomes: Sequence[tuple[bool, bool]], comparisons: int) -> Compared:
    """Compare paired outcomes; the error allowed is shared among so many comparisons."""
    ours, other = np.array(outcomes, dtype=bool).T
    only_ours, only_other = int((ours & ~other).sum()), int((other & ~ours).sum())
    low, high = difference_interval(len(ours), only_ours, only_other, 1 - ERROR / comparisons)
    return Compared(len(ours), int(ours.sum()), int(other.sum()), only_ours, only_other, low, high)


def fast() -> Scenario:
    """Give the first scene at the usual speed, where the other engine is known to be wrong."""
    first = scenes()[0]
    return first.changed(**{"rotor.speed": USUAL, "title": f"{first.title}, {USUAL} rpm (not counted)"})


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 2 if quick else FILLS
    counted = scenes()[:1] if quick else scenes()
    agreed = 0
    rows: list[list[object]] = []
    refined: list[list[object]] = []
    with ProcessPoolExecutor() as pool:
        chosen = [*counted, *([] if quick else [fast()])]
        for scenario, step in zip(chosen, [*STEPS, FASTER_STEP], strict=False):
            jobs = [(scenario, fill, step) for fill in range(fills)]
            outcomes = list(tqdm(pool.map(both, jobs, chunksize=2), total=fills, desc=scenario.title))
            found = compare(outcomes, len(counted))
            agreed += found.agree and scenario in counted
            rates = (f"{1000 * step:g}", f"{found.ours / fills:.3f}", f"{found.other / fills:.3f}")
            apart_by = (found.only_ours, found.only_other, found.difference, found.verdict)
            rows.append([scenario.title, *rates, *apart_by])
            apart = [fill for fill, (ours, other) in enumerate(outcomes) if ours != other]
            again = list(tqdm(pool.map(finer, [(scenario, fill, step) for fill in apart]), total=len(apart)))
            if again:
                counts = np.array(again).sum(axis=0).tolist()
                refined.append([scenario.title, len(apart), found.only_ours, found.only_other, *counts])
    head = [
        f"{fills} fills a scene, the same draws for both. Intervals of the difference (ours less other) hold together "
        f"with {1 - ERROR:.0%}; they agree if it lies within {100 * WITHIN:g} points.",
        "",
    ]
    columns = [
        "scene",
        "other's step [ms]",
        "ours fails",
        "other fails",
        "only ours",
        "only other",
        "difference",
        "verdict",
    ]
    lines = table(columns, rows)
    lines += [
        "",
        "Failed fills among those on which they differ, and with finer steps (0.25 ms, half of the other's):",
        "",
    ]
    lines += table(["scene", "fills", "ours", "other", "ours, finer", "other, finer"], refined)
    says = f"on {agreed} of {len(counted)} scenes the engines agree within {100 * WITHIN:g} points"
    write("two_engines", head + lines, quick=quick, holds=agreed == len(counted), says=says)


if __name__ == "__main__":
    main()
