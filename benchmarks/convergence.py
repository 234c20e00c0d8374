"""How fine is fine enough: failed fills by step, solver rounds, chords and slop, on scenes that fail by halves."""

from __future__ import annotations

import itertools
from concurrent.futures import ProcessPoolExecutor

from common import lifted_scenario, quick_or_full, rotor_scenario, table, wide_scenario, write
from tqdm import tqdm

from colsim import Scenario, simulate_fill
from colsim.physics.engines import Settings

SETTINGS = {
    "as shipped": Settings(),
    "chords of 0.25 deg": Settings(chord_turn=0.25),
    "chords of 4 deg": Settings(chord_turn=4.0),
    "chords of 16 deg": Settings(chord_turn=16.0),
    "step 0.5 ms": Settings(step=0.0005),
    "step 0.25 ms": Settings(step=0.00025),
    "step 2 ms": Settings(step=0.002),
    "step 4 ms": Settings(step=0.004),
    "40 rounds": Settings(iterations=40),
    "10 rounds": Settings(iterations=10),
    "slop 0.005 mm": Settings(slop=0.005),
    "slop 0.1 mm": Settings(slop=0.1),
}


def scenes() -> list[Scenario]:
    weak = {"rotor.torque_limit": 8}
    spacer, speed = "rotor.spacer_thickness", "rotor.speed"
    return [
        rotor_scenario(66, 10).changed(**weak, title="66 mm, no spacer, 8 N m"),
        rotor_scenario(62, 5).changed(**weak, **{spacer: 3, "title": "62 mm, 3 mm spacer"}),
        rotor_scenario(62, 5).changed(**weak, **{spacer: 6, speed: 20, "title": "62 mm, 6 mm spacer, 20 rpm"}),
        rotor_scenario(62, 5).changed(**weak, **{spacer: 4, "loading.top_up_at": 2, "title": "62 mm, 4 mm, topped up"}),
        wide_scenario(0.12, 8),
        wide_scenario(0.17, 8),
        wide_scenario(0.30, 8),
        lifted_scenario(8, 0.12, 0.15).changed(title="73 mm in plain 124 mm, lifted 8 mm, 0.12, containers 0.15"),
        lifted_scenario(8, 0.17).changed(title="the same, 0.17, containers 0.25"),
    ]


def failed(job: tuple[Scenario, Settings, int]) -> bool:
    scenario, settings, fill = job
    return simulate_fill(scenario, seed=7, fill=fill, settings=settings).failure is not None


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 1 if quick else 40
    chosen = scenes()[:1] if quick else scenes()
    rows: list[list[object]] = []
    with ProcessPoolExecutor() as pool:
        for name, settings in tqdm(SETTINGS.items()):
            jobs = itertools.product(chosen, [settings], range(fills))
            outcomes = list(pool.map(failed, jobs, chunksize=4))
            rows.append([name, *(sum(outcomes[k * fills : (k + 1) * fills]) for k in range(len(chosen)))])
    columns = ["settings", *(scenario.title for scenario in chosen)]
    note = [
        "",
        f"Failed fills of {fills}, the same draws in every row. The standard error of a half is {fills**0.5 / 2:.1f}.",
    ]
    write("convergence", table(columns, rows) + note, quick=quick)


if __name__ == "__main__":
    main()
