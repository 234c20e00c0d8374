"""Columns drawn at random over what machines and containers are like, with the spreads that a real column has.

Latin hypercube over what decides a vend, each column fully measured but for what differs from fill to fill: diameter
0.3 mm, torque and stiffness 10 %, frictions 0.03 (one standard deviation each).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor
from functools import partial
from typing import Any

from scipy.stats import qmc

from colsim import Scenario, simulate_fill
from colsim.errors import ScenarioError
from colsim.physics.engines import Settings

__all__ = ["drawn_columns", "failed", "near_edge", "soft_walled", "with_soft_walls", "with_spacer"]

CHOSEN_SEED, CHOOSING_FILLS, FIRST_FILLS = 5, 24, 8  # draws by which columns near an edge are chosen, and by no other
LEAST_FAILING, MOST_FAILING = 0.2, 0.8
NEAR_EDGE_COUNT = 4  # containers, so that the slow engines can run many fills

RANGES = {
    "diameter": (54.0, 74.0),
    "mass": (0.85, 1.1),  # over that of water in a cylinder 2.6 diameters long
    "width": (1.08, 1.75),  # over the diameter
    "pocket_width": (1.08, 1.35),  # over the diameter
    "pocket_depth": (0.95, 1.35),  # over the diameter
    "spacer": (0.0, 20.0),
    "lead_in": (3.0, 12.0),
    "clearance": (1.0, 6.0),
    "speed": (15.0, 60.0),
    "torque": (6.0, 40.0),
    "stiffness": (15.0, 150.0),  # between boards [N/mm]
    "friction": (0.15, 0.4),
    "wall_friction": (0.1, 0.4),
    "rotor_friction": (0.15, 0.4),
    "count": (6.0, 16.0),
}


def _varies(typical: float, deviation: float) -> dict[str, Any]:
    return {"kind": "varies", "shape": "normal", "typical": typical, "deviation": deviation}


def _column(values: dict[str, float], number: int) -> Scenario:
    d = values["diameter"]
    mass = values["mass"] * math.pi / 4 * d**2 * 2.6 * d * 1e-6
    depth = values["pocket_depth"] * d
    return Scenario(
        title=f"drawn column {number}",
        container={
            "diameter": _varies(d, 0.3),
            "mass": round(mass, 4),
            "stiffness": _varies(values["stiffness"], 0.1 * values["stiffness"]),
            "friction": _varies(values["friction"], 0.03),
            "liquid_spin": 0.2,
            "restitution": 0.2,
        },
        column={
            "width": values["width"] * d,
            "height": 3000,
            "wall_friction": _varies(values["wall_friction"], 0.03),
            "throat": min(values["width"], 1.4) * d,
            "floor_slope": 60,
            "throat_radius": 10,
        },
        rotor={
            "radius": max(95.0, depth + 8.0, 0.72 * values["pocket_width"] * d),
            "pockets": 1,
            "pocket_width": values["pocket_width"] * d,
            "pocket_depth": depth,
            "spacer_thickness": values["spacer"],
            "lead_in": values["lead_in"],
            "housing_clearance": values["clearance"],
            "speed": values["speed"],
            "torque_limit": _varies(values["torque"], 0.1 * values["torque"]),
            "friction": _varies(values["rotor_friction"], 0.03),
        },
        loading={"count": round(values["count"])},
    )


def drawn_columns(count: int, seed: int) -> Iterator[Scenario]:
    """Give so many columns that can be; what contradicts itself is drawn again."""
    number = 0
    sampler = qmc.LatinHypercube(d=len(RANGES), seed=seed)
    while number < count:
        for point in sampler.random(count):
            values = {
                name: low + share * (high - low)
                for (name, (low, high)), share in zip(RANGES.items(), point.tolist(), strict=True)
            }
            try:
                scenario = _column(values, number)
            except ScenarioError:
                continue
            yield scenario
            number += 1
            if number == count:
                return


def with_spacer(scenario: Scenario, thickness: float) -> Scenario | None:
    """Give the column with another spacer, or None where it cannot be."""
    try:
        return scenario.changed(**{"rotor.spacer_thickness": thickness})
    except ScenarioError:
        return None


def soft_walled(scenario: Scenario) -> Scenario:
    """Give the column with still water in thin walls, that set by half, in place of firm containers."""
    container = scenario.products["container"]
    wall = {"kind": "varies", "shape": "normal", "typical": 0.15, "deviation": 0.015}
    soft = {"diameter": container.spreads["diameter"], "mass": container.mass, "restitution": 0.2, "liquid_spin": 0.2}
    soft |= {"friction": container.spreads["friction"], "wall_thickness": wall, "modulus": 3000, "headspace": 0.04}
    soft |= {"drink": "still", "body_length": 1.9 * container.diameter, "end_stiffness": 10, "set_fraction": 0.5}
    given = scenario.as_given() | {"container": soft, "title": f"{scenario.title}, soft walls"}
    return Scenario(**given)


def with_soft_walls(columns: Iterable[Scenario], *, every: int) -> Iterator[Scenario]:
    """Give the columns, every so manieth with soft walls where these go with its sizes."""
    for number, column in enumerate(columns):
        try:
            yield soft_walled(column) if number % every == every - 1 else column
        except ScenarioError:
            yield column


def failed(scenario: Scenario, fill: int, *, seed: int, engine: Any, settings: Settings | None = None) -> bool:
    """Tell whether a fill fails, or cannot be believed, on an engine."""
    return simulate_fill(scenario, seed=seed, number=fill, engine=engine, settings=settings).went_wrong


def near_edge(count: int, seed: int, pool: Executor, *, soft_every: int = 0) -> Iterator[Scenario]:
    """Give so many columns of a few containers of which 20 to 80 % of fills fail, of every so manieth with soft walls.

    They are chosen on draws of their own with the compiled engine; what is shown of them is shown on others.
    """
    found = 0
    columns = (drawn.changed(**{"loading.count": NEAR_EDGE_COUNT}) for drawn in drawn_columns(1000, seed))
    for scenario in with_soft_walls(columns, every=soft_every) if soft_every else columns:
        if LEAST_FAILING <= _share(scenario, pool) <= MOST_FAILING:
            yield scenario
            found += 1
            if found == count:
                return


def _share(scenario: Scenario, pool: Executor) -> float:
    """Give the share of fills that fail; of a few if these are all alike."""
    one = partial(failed, scenario, seed=CHOSEN_SEED, engine="compiled")
    outcomes = list(pool.map(one, range(FIRST_FILLS), chunksize=2))
    if 0 < sum(outcomes) < FIRST_FILLS:
        outcomes += pool.map(one, range(FIRST_FILLS, CHOOSING_FILLS), chunksize=4)
    return sum(outcomes) / len(outcomes)
