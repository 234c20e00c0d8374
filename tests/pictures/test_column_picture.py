"""The column as drawn, read back from its artists."""

import math

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from tests_shared import small_scenario

from colsim import ScenarioError, replay
from colsim.pictures import plot_column

mpl.use("Agg")

LINERS = [{"wall": "left", "bottom": 100, "top": 400, "friction": 0.1}, {"wall": "right", "friction": 0.3}]


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def again():
    return replay(small_scenario(3), seed=1)


@pytest.fixture(scope="module")
def full(again):
    """Give the last frame in which all three are in the column."""
    return max(k for k, frame in enumerate(again.frames) if len(frame.state.index) == 3)


def drawn(again, frame=-1):
    return plot_column(again, frame, Figure().add_subplot())


def patches(ax, label):
    return [patch for patch in ax.patches if patch.get_label() == label]


def lines(ax, start):
    return [line for line in ax.lines if str(line.get_label()).startswith(start)]


def spokes(ax):
    return [line for line in ax.lines if str(line.get_label()).startswith("_")]


def test_a_circle_for_each_container_at_its_place_and_size(again, full):
    ax = drawn(again, full)
    circles = patches(ax, "container")
    assert all(isinstance(circle, Circle) for circle in circles)
    assert [circle.radius for circle in circles] == [33, 33, 33]
    np.testing.assert_array_equal([c.center for c in circles], again.frames[full].state.position)


def test_each_container_carries_its_number_and_a_spoke_that_turns_with_it(again, full):
    ax, state = drawn(again, full), again.frames[full].state
    assert [text.get_text() for text in ax.texts] == [str(i + 1) for i in state.index]
    assert len(spokes(ax)) == len(state.index)
    for spoke, centre, angle in zip(spokes(ax), state.position, state.angle, strict=True):
        along = np.asarray(spoke.get_xydata()) - centre
        assert np.hypot(*along.T).max() < 33
        np.testing.assert_allclose(np.arctan2(*along.T[::-1]), math.remainder(angle, 2 * math.pi), atol=1e-9)


def test_what_has_come_out_is_no_longer_drawn(again):
    last = len(again.frames[-1].state.index)
    assert last < 3
    assert len(patches(drawn(again), "container")) == last


def test_a_set_container_is_a_stadium_of_the_same_perimeter():
    again = replay(small_scenario(2, **{"container.set_flat": 12}), seed=1)
    frame = next(k for k, f in enumerate(again.frames) if len(f.state.index) == 2)
    state = again.frames[frame].state
    outlines = patches(drawn(again, frame), "container")
    assert len(outlines) == 2
    for outline, centre, angle in zip(outlines, state.position, state.angle, strict=True):
        assert isinstance(outline, Polygon)
        points = outline.get_xy()
        assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(math.pi * 66, rel=0.002)
        turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
        width, height = np.ptp((points - centre) @ turn.T, axis=0)
        # Perimeter kept: height 66 - 2 x 12 / pi, width 12 more.
        assert height == pytest.approx(66 - 24 / math.pi, abs=0.1)
        assert width == pytest.approx(66 - 24 / math.pi + 12, abs=0.1)


SOFT = {"diameter": 66, "mass": 0.54, "empty_mass": 0.015, "drink": "still", "wall_thickness": 0.25, "set_fraction": 0}


@pytest.fixture(scope="module")
def soft():
    """Six soft ones, the frame with all of them, before the drum first turns."""
    return replay(small_scenario(6).changed(container=SOFT), seed=1)


def all_in(again):
    return max(k for k, f in enumerate(again.frames) if len(f.bodies) == len(again.bodies) and abs(f.drum_angle) < 1e-6)


def test_what_is_pressed_in_is_drawn_flat_there_and_round_elsewhere(soft):
    frame = all_in(soft)
    shot = soft.frames[frame]
    most = np.linalg.eigvalsh(shot.dents)[:, -1]
    assert not soft.fill.invalid
    assert (most > 1.0).any()
    shapes = patches(drawn(soft, frame), "container")
    assert [isinstance(shape, Circle) for shape in shapes] == (most < 0.2).tolist()
    flattened = [k for k, shape in enumerate(shapes) if isinstance(shape, Polygon)]
    assert flattened
    for k in flattened:
        centre, body = shot.state.position[k], shot.bodies[k]
        distance = np.hypot(*(shapes[k].get_xy() - centre).T)
        assert distance.max() == pytest.approx(body.reach, abs=0.01)  # where nothing presses
        # A wall moves the outline in by all of the dent, another container by half of what both give.
        assert body.reach - most.max() <= distance.min() < body.reach - most[k] / 8


def test_no_two_containers_and_no_wall_are_drawn_over_each_other(soft):
    frame = all_in(soft)
    outlines = [
        shape.get_xy() if isinstance(shape, Polygon) else shape.get_path().vertices * 33 + shape.center
        for shape in patches(drawn(soft, frame), "container")
    ]
    for outline in outlines:
        above = outline[outline[:, 1] > soft.section.throat + 10]
        assert np.all(np.abs(above[:, 0]) <= 45 + 0.2)
    for k, outline in enumerate(outlines):
        for other in outlines[k + 1 :]:
            inside = outline[Polygon(other, closed=True).get_path().contains_points(outline)]
            depths = [np.hypot(*(other - point).T).min() for point in inside]
            assert max(depths, default=0.0) < 0.5  # points stand 0.5 mm apart


def test_walls_stand_the_columns_width_apart_up_to_its_top(again):
    walls = np.vstack([line.get_xydata() for line in lines(drawn(again), "wall and floor")])
    straight = walls[walls[:, 1] > again.section.throat + 10]  # below, the throat's edge is rounded to 10 mm
    assert set(straight[:, 0]) == {-45, 45}
    assert walls[:, 1].max() == pytest.approx(again.section.throat + 900)


def test_the_drum_turns_with_its_angle(again, full):
    start, later = (patches(drawn(again, k), "drum")[0].get_xy()[:-1] for k in (0, full))
    assert np.hypot(*start.T).max() == pytest.approx(95, abs=0.1)
    turned = again.frames[full].drum_angle - again.frames[0].drum_angle
    turn = np.array([[math.cos(turned), -math.sin(turned)], [math.sin(turned), math.cos(turned)]])
    np.testing.assert_allclose(later, start @ turn.T, atol=1e-9)


def test_a_line_for_each_liner_where_it_hangs():
    again = replay(small_scenario(1, **{"column.liners": LINERS}), seed=1)
    ax = drawn(again)
    left, right = lines(ax, "liner")
    throat = again.section.throat
    assert [left.get_label(), right.get_label()] == ["liner, friction 0.1", "liner, friction 0.3"]
    assert max(left.get_xdata()) < -45 < 45 < min(right.get_xdata())
    np.testing.assert_allclose(left.get_ydata(), [throat + 100, throat + 400])
    np.testing.assert_allclose(right.get_ydata(), [throat, throat + 900])


def test_liners_hang_on_the_walls_of_the_fill_that_is_drawn():
    varies = {
        "column.width": {"kind": "varies", "low": 80, "high": 100},
        "column.liners": [{**LINERS[0], "top": {"kind": "varies", "low": 300, "high": 500}}, LINERS[1]],
    }
    scenario = small_scenario(1, **varies)
    for seed in (1, 2):
        again = replay(scenario, seed=seed)
        ax = drawn(again)
        left, right = lines(ax, "liner")
        assert abs(again.section.width - 90) > 0.5
        walls = np.vstack([line.get_xydata() for line in lines(ax, "wall and floor")])
        for line, side in ((left, -1), (right, 1)):
            wall = side * again.section.width / 2
            assert np.isclose(walls[:, 0], wall).sum() >= 2
            np.testing.assert_allclose(line.get_xdata(), wall + side * 3)
        assert left.get_ydata()[1] == pytest.approx(again.section.throat + again.fill.drawn["column.liners.0.top"])


def test_the_spacer_is_as_thick_as_in_the_fill_that_is_drawn():
    spacer = {"rotor.spacer_thickness": {"kind": "varies", "low": 1, "high": 9}}
    again = replay(small_scenario(1, **spacer), seed=1)
    ((patch,),) = [[p for p in drawn(again).patches if str(p.get_label()).startswith("spacer")]]
    sides = np.hypot(*np.diff(patch.get_xy(), axis=0).T)
    assert sides.min() == pytest.approx(again.fill.drawn["rotor.spacer_thickness"])


def test_no_liner_no_line(again):
    assert lines(drawn(again), "liner") == []


def test_no_spacer_no_patch(again):
    assert [p for p in drawn(again).patches if str(p.get_label()).startswith("spacer")] == []


@pytest.mark.parametrize(("kind", "blocks", "widths"), [("raises_floor", 1, [82]), ("narrows_pocket", 2, [3, 3])])
def test_the_spacer_lies_in_the_pocket(kind, blocks, widths):
    changes = {"rotor.spacer_thickness": 6, "rotor.spacer_kind": kind}
    again = replay(small_scenario(1, **changes), seed=1)
    assert again.frames[0].drum_angle == pytest.approx(0, abs=1e-6)
    found = [patch.get_xy() for patch in patches(drawn(again, 0), "spacer 6 mm")]
    assert len(found) == blocks
    assert [np.ptp(xy[:, 0]) for xy in found] == pytest.approx(widths)
    # Drum 95 less pocket 80: the bare pocket's floor is 15 mm above the axis.
    assert all(xy[:, 1].min() == pytest.approx(15) for xy in found)
    if kind == "raises_floor":
        assert found[0][:, 1].max() == pytest.approx(21)
    else:
        assert sorted(abs(xy[:, 0]).max() for xy in found) == pytest.approx([41, 41])


def test_a_spacer_in_every_pocket():
    again = replay(small_scenario(1, **{"rotor.pockets": 2, "rotor.spacer_thickness": 6}), seed=1)
    assert len(patches(drawn(again), "spacer 6 mm")) == 2


def test_axes_are_true_to_scale_and_named_with_units(again):
    ax = drawn(again)
    assert ax.get_aspect() == 1
    assert ax.get_xlabel() == "across the column [mm]"
    assert ax.get_ylabel() == "above the drum's axis [mm]"
    assert again.scenario.title in ax.get_title()
    assert "all came one by one" in ax.get_title()
    assert ax.get_ylim()[1] > again.section.top
    assert ax.get_xlim()[0] < -again.section.housing_radius


def test_a_failure_is_named_in_the_title():
    again = replay(small_scenario(6, **{"container.diameter": 58}), seed=1)
    assert again.fill.failure is not None
    assert f"{again.fill.failure.outcome}: {again.fill.failure.mechanism}" in drawn(again).get_title()


def test_the_legend_names_each_thing_once(again, full):
    texts = [text.get_text() for text in drawn(again, full).get_legend().get_texts()]
    assert sorted(texts) == ["container", "drum", "housing", "wall and floor"]


@pytest.mark.parametrize("offset", [0, 1, 100])
def test_a_frame_that_is_not_there_is_refused(again, offset):
    count = len(again.frames)
    for frame in (count + offset, -count - 1 - offset):
        with pytest.raises(
            ScenarioError, match=rf"^frame: got {frame}; allowed: a whole number from -{count} to {count - 1}"
        ):
            drawn(again, frame)


@pytest.mark.parametrize("frame", ["last", 1.0, None])
def test_a_frame_that_is_no_number_is_refused(again, frame):
    with pytest.raises(ScenarioError, match=r"^frame: got .*; allowed: a whole number from"):
        drawn(again, frame)


def test_a_fill_that_was_not_made_again_is_refused_with_what_makes_it(again):
    with pytest.raises(ScenarioError, match=r"^replay: got a Fill; allowed: a Replay; fill\.replay\(scenario\)"):
        drawn(again.fill)


def test_frames_count_as_in_a_list(again):
    def centres(frame):
        return [circle.center for circle in patches(drawn(again, frame), "container")]

    assert centres(0) == centres(-len(again.frames))
    assert centres(-1) == centres(len(again.frames) - 1)


def test_given_axes_are_used_and_no_figure_is_made(again):
    before, ax = dict(mpl.rcParams), Figure().add_subplot()
    assert plot_column(again, ax=ax) is ax
    assert plt.get_fignums() == []
    assert dict(mpl.rcParams) == before


def test_without_axes_one_figure_is_made(again):
    ax = plot_column(again)
    assert plt.get_fignums() == [ax.figure.number]
    assert ax.figure.axes == [ax]
