"""Several kinds and lifted liner edges as drawn, read back from their artists."""

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from tests_shared import ROTOR, small_scenario

from colsim import Scenario, replay
from colsim.pictures import plot_column

mpl.use("Agg")

EDGE = {"wall": "left", "top": 300, "friction": 0.1, "lifted_edge": 6}


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def again():
    """Two cans with two slim bottles on them, the frame with all four, before the drum first turns."""
    scenario = Scenario(
        containers={
            "can": {"diameter": 66, "mass": 0.39},
            "slim bottle": {"diameter": 60, "mass": 0.54, "set_flat": 8},
            "not loaded": {"diameter": 70, "mass": 0.6},
        },
        column={"width": 90, "height": 900, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"layers": [{"container": "can", "count": 2}, {"container": "slim bottle", "count": 2}]},
    )
    return replay(scenario, seed=1)


@pytest.fixture
def ax(again):
    full = max(k for k, frame in enumerate(again.frames) if len(frame.state.index) == 4)
    return plot_column(again, full, Figure().add_subplot())


def patches(ax, label):
    return [patch for patch in ax.patches if patch.get_label() == label]


def test_each_container_carries_the_name_and_the_shape_of_its_kind(ax):
    cans, slim = patches(ax, "can"), patches(ax, "slim bottle")
    assert [circle.radius for circle in cans] == [33, 33]
    assert all(isinstance(circle, Circle) for circle in cans)
    assert all(isinstance(outline, Polygon) for outline in slim)
    assert len(slim) == 2
    assert sorted(text.get_text() for text in ax.texts) == ["1", "2", "3", "4"]


def test_the_legend_names_both_kinds_and_none_that_is_not_loaded(ax):
    texts = [text.get_text() for text in ax.get_legend().get_texts()]
    assert sorted(texts) == ["can", "drum", "housing", "slim bottle", "wall and floor"]


def test_kinds_differ_in_shade_and_in_hatch(ax):
    looks = {}
    for name in ("can", "slim bottle"):
        found = {(to_hex(patch.get_facecolor()), patch.get_hatch() or "") for patch in patches(ax, name)}
        assert len(found) == 1
        looks[name] = found.pop()
    shades, hatches = zip(*looks.values(), strict=True)
    assert shades[0] != shades[1]
    assert hatches[0] != hatches[1]  # not by colour alone


def test_kinds_in_the_legend_are_hatched_as_they_are_drawn(ax):
    legend = ax.get_legend()
    shown = {
        text.get_text(): handle.get_hatch() or ""
        for text, handle in zip(legend.get_texts(), legend.legend_handles, strict=True)
        if text.get_text() in ("can", "slim bottle")
    }
    assert shown == {name: patches(ax, name)[0].get_hatch() or "" for name in ("can", "slim bottle")}


def wall_points(again):
    ax = plot_column(again, ax=Figure().add_subplot())
    walls = [line.get_xydata() for line in ax.lines if line.get_label() in ("wall and floor", "lifted liner edge")]
    return np.vstack(walls)


@pytest.mark.parametrize(("wall", "sides"), [("left", [-1]), ("right", [1]), ("both", [-1, 1])])
def test_a_lifted_edge_is_drawn_as_far_off_the_wall_as_it_stands(wall, sides):
    again = replay(small_scenario(1, **{"column.liners": [{**EDGE, "wall": wall}]}), seed=1)
    points, lip_height = wall_points(again), again.section.throat + 300
    above_the_rotor = points[points[:, 1] > again.section.throat + 20]
    inside = above_the_rotor[np.abs(above_the_rotor[:, 0]) < 45 - 1e-9]
    # 90 mm between the walls, 6 mm off: the lip stands 39 mm from the middle, where the sheet ends.
    expected = {(side * 39.0, lip_height) for side in sides}
    assert {(round(x, 6), round(y, 6)) for x, y in inside} == {(x, round(y, 6)) for x, y in expected}
    for side in sides:
        # From the lip a slope leads down to the wall.
        on_wall = above_the_rotor[above_the_rotor[:, 0] == side * 45]
        assert ((on_wall[:, 1] < lip_height) & (on_wall[:, 1] > lip_height - 50)).any()


def test_a_flush_liner_leaves_the_wall_straight():
    again = replay(small_scenario(1, **{"column.liners": [{**EDGE, "lifted_edge": 0}]}), seed=1)
    points = wall_points(again)
    assert set(points[points[:, 1] > again.section.throat + 20, 0]) == {-45, 45}
