"""The window of spacers by diameter, and the friction at which a wide column bridges: what each depends on.

Torque and stiffness decide a good part of it: what stands proud of the drum, or lies beside another in the pocket, gets
through if the motor can dent it by what it lacks.
"""

from __future__ import annotations

from collections import Counter
from concurrent.futures import Executor

from common import STIFFNESS, quick_or_full, rotor_scenario, table, wide_scenario, write
from tqdm import tqdm

from colsim import Scenario, simulate_fills
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.sampling import Outcome
from colsim.sampling.workers import process_pool

FILLS = 8
DIAMETERS = (58, 62, 66, 73)
SPACERS = (0, 4, 6, 12, 18)
USUAL = "as assumed: 45 rpm, 20 N m, 70 N/mm, edges 10 mm, 10 containers"
MACHINES: dict[str, dict[str, float]] = {
    USUAL: {},
    "slow drum: 15 rpm": {"rotor.speed": 15},
    "weak motor, 5 containers": {"rotor.torque_limit": 8, "loading.count": 5},
    "sharp edges": {"rotor.lead_in": 0, "column.throat_radius": 0},
    "rotor friction 0.15": {"rotor.friction": 0.15},
}
TORQUES, STIFFNESSES = (8, 20, 40), (20, 70, 150)  # [N m], [N/mm] between boards
WIDER: dict[str, dict[str, float]] = {
    "pocket 90 mm deep": {"rotor.pocket_depth": 90},
    "clearance 16 mm": {"rotor.housing_clearance": 16},
    "both": {"rotor.pocket_depth": 90, "rotor.housing_clearance": 16},
}


def outcomes(scenario: Scenario, fills: int, pool: Executor) -> list[str]:
    """Simulate so many fills; give of each what ended or spoilt it, or nothing."""
    done = simulate_fills(scenario, fills=fills, seed=1, executor=pool)
    return [
        "beyond the model" if fill.invalid else "" if fill.failure is None else str(fill.failure.outcome)
        for fill in done
    ]


def in_words(found: list[str]) -> str:
    """Say how many failed, and of what where it is not the motor that stalls."""
    failed = Counter(each for each in found if each)
    others = ", ".join(f"{number} {each}" for each, number in sorted(failed.items()) if each != Outcome.STALL)
    return f"{failed.total()}" + (f" ({others})" if others else "")


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills, count = (1, 2) if quick else (FILLS, 10)
    diameters, spacers = ((66,), SPACERS[:2]) if quick else (DIAMETERS, SPACERS)
    by_motor = {
        f"{torque} N m, {stiffness} N/mm": {"rotor.torque_limit": torque, "container.stiffness": stiffness}
        for torque in TORQUES
        for stiffness in STIFFNESSES
        if (torque, stiffness) != (20, STIFFNESS)  # that is as assumed
    }
    machines = {USUAL: {}} if quick else MACHINES | by_motor
    lines = [
        f"Failed fills of {fills}: the motor stalls, where nothing else is said. Pocket 82 x 80 mm, drum radius 95, "
        "clearance 2, column 90, friction 0.25. Nothing differs from fill to fill but where containers are laid, which "
        "leaves so few histories that many cells are none, half or all.",
    ]
    with process_pool() as pool:

        def cells(scenario: Scenario) -> list[object]:
            return [in_words(outcomes(scenario.changed(**{"rotor.spacer_thickness": s}), fills, pool)) for s in spacers]

        heads = ["", *(f"{s} mm" for s in spacers), "slow-drum bounds [mm]"]
        for name, changes in tqdm(machines.items(), desc="spacers"):
            rows: list[list[object]] = []
            for diameter in diameters:
                scenario = rotor_scenario(diameter, count).changed(**changes)
                least, greatest = spacer_bounds(scenario)
                rows.append([f"{diameter} mm", *cells(scenario), f"{least:.1f} to {greatest:.1f}"])
            lines += ["", name, "", *table(heads, rows)]
        rows = []
        for diameter in tqdm(diameters, desc="wider"):
            for name, changes in list(WIDER.items())[: 1 if quick else None]:
                rows.append([f"{diameter} mm", name, *cells(rotor_scenario(diameter, count).changed(**changes))])
        lines += ["", "Where two have room", "", *table(["", "", *(f"{s} mm" for s in spacers)], rows)]
        rows = []
        counts = (2,) if quick else (8, 14)
        for friction in tqdm((0.12,) if quick else (0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30), desc="wide"):
            rows.append(
                [f"{friction:g}", *(in_words(outcomes(wide_scenario(friction, n), fills, pool)) for n in counts)]
            )
    lines += ["", "Wide column, 73 mm in 124 mm, floor 60 deg, throat 90 mm, containers among themselves 0.25", ""]
    lines += table(["wall friction", *(f"{n} containers" for n in counts)], rows)
    write("known_columns", lines, quick=quick)


if __name__ == "__main__":
    main()
