"""The order of spacers and of wall frictions that an earlier trial found, and what it depends on."""

from __future__ import annotations

from common import quick_or_full, rotor_scenario, table, wide_scenario, write
from tqdm import tqdm

from colsim import Scenario, simulate_fills
from colsim.advice.spacer import spacer_bounds
from colsim.sampling.many_fills import process_pool

SPACERS = (0, 4, 6, 12, 18)
MACHINES = {
    "as assumed: 45 rpm, 20 N m, edges 10 mm, 10 containers": (10, {}),
    "slow drum: 15 rpm": (10, {"rotor.speed": 15}),
    "weak motor: 8 N m": (10, {"rotor.torque_limit": 8}),
    "weak motor, 5 containers": (5, {"rotor.torque_limit": 8}),
    "sharp edges": (10, {"rotor.lead_in": 0, "column.throat_radius": 0}),
    "rotor friction 0.15": (10, {"rotor.friction": 0.15}),
}


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 1 if quick else 24
    diameters = (66,) if quick else (58, 62, 66, 73)
    machines = dict(list(MACHINES.items())[:1]) if quick else MACHINES
    lines = [f"Failed fills of {fills}. Pocket 82 x 80 mm, drum radius 95, clearance 2, column 90, friction 0.25."]
    with process_pool() as pool:

        def failures(scenario: Scenario) -> int:
            result = simulate_fills(scenario, fills=fills, seed=1, executor=pool)
            return result.risk().per_fill.failures

        for name, (count, changes) in tqdm(machines.items()):
            rows: list[list[object]] = []
            for diameter in diameters:
                scenario = rotor_scenario(diameter, 2 if quick else count).changed(**changes)
                least, greatest = spacer_bounds(scenario)
                found = [failures(scenario.changed(**{"rotor.spacer_thickness": s})) for s in SPACERS]
                rows.append([f"{diameter} mm", *found, f"{least:.1f} to {greatest:.1f}"])
            lines += ["", name, "", *table(["", *(f"{s} mm" for s in SPACERS), "slow-drum bounds [mm]"], rows)]
        rows = []
        for friction in (0.12,) if quick else (0.12, 0.14, 0.16, 0.18, 0.20, 0.25, 0.30):
            rows.append(
                [f"{friction:g}", *(failures(wide_scenario(friction, n)) for n in ((2,) if quick else (8, 14)))]
            )
    lines += ["", "Wide column, 73 mm in 124 mm, floor 60 deg, throat 90 mm, containers among themselves 0.25", ""]
    lines += table(["wall friction", "8 containers", "14 containers"], rows)
    write("known_columns", lines, quick=quick)


if __name__ == "__main__":
    main()
