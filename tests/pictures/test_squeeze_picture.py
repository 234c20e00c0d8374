"""A soft bottle's heights as drawn, read back from the artists."""

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure

from colsim import Container, ScenarioError
from colsim.model.conditions import Conditions
from colsim.model.softness import height_band
from colsim.pictures import plot_squeeze

mpl.use("Agg")

WATER = {"name": "water", "diameter": 65, "mass": 0.5125, "empty_mass": 0.0125, "drink": "still"}
WEIGHT = 0.5125 * 9.80665
COLD = Conditions(loading_temperature=20.0, service_temperature=5.0)
KNOWN = {"wall_thickness": 0.1, "modulus": 3000, "headspace": 0.04, "body_length": 130, "end_stiffness": 50}


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    plt.close("all")


def readings(*words):
    heights = (62.5, 58.5, 57.0)
    return [
        {"bottles": 6 * k, "height": height, **({"temperature": word} if word else {})}
        for word in words
        for k, height in enumerate(heights)
    ]


def drawn(conditions=None, **changes):
    return plot_squeeze(Container(**{**WATER, **changes}), conditions, Figure().add_subplot())


def line(ax, label):
    (found,) = [found for found in ax.lines if found.get_label() == label]
    return found


def labels(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_line_and_band_are_the_heights_that_the_model_gives():
    ax = drawn(COLD, wall_feel="thin")
    loads, heights = line(ax, "typical").get_data()
    band = height_band(Container(**WATER, wall_feel="thin"), loads.tolist(), COLD)
    np.testing.assert_allclose(heights, band.typical)
    assert (loads[0], loads[-1]) == (0, pytest.approx(14 * WEIGHT))
    (area,) = ax.collections
    corners = area.get_paths()[0].vertices
    for load, lowest, highest in zip(loads, band.lowest, band.highest, strict=True):
        at = corners[np.isclose(corners[:, 0], load), 1]
        assert (at.min(), at.max()) == pytest.approx((lowest, highest))
    assert labels(ax) == ["softest to stiffest", "typical", "round: 65 mm"]


def test_where_all_is_known_there_is_no_band():
    ax = drawn(**KNOWN)
    assert not ax.collections
    assert labels(ax) == ["typical", "round: 65 mm"]


def test_readings_are_points_and_beyond_the_last_the_line_is_dashed():
    ax = drawn(squeeze_test=readings(""))
    points = line(ax, "read")
    np.testing.assert_allclose(points.get_xdata(), [0, 6 * WEIGHT, 12 * WEIGHT])
    np.testing.assert_array_equal(points.get_ydata(), [62.5, 58.5, 57.0])
    assert (points.get_marker(), points.get_linestyle()) == ("o", "None")
    by_test, beyond = line(ax, "by the squeeze test"), line(ax, "extrapolated")
    assert max(by_test.get_xdata()) <= 12 * WEIGHT < max(beyond.get_xdata())
    assert beyond.get_xdata()[0] == by_test.get_xdata()[-1]  # the line goes on without a gap
    assert beyond.get_linestyle() == "--"
    assert max(beyond.get_xdata()) == pytest.approx(1.2 * 12 * WEIGHT)


def test_cold_and_warm_readings_have_marks_of_their_own():
    ax = drawn(COLD, squeeze_test=readings("cold", "warm"))
    assert line(ax, "read cold").get_marker() != line(ax, "read warm").get_marker()


def test_axes_are_named_with_units_and_the_upper_one_counts_bottles():
    ax = drawn(**KNOWN)
    assert ax.get_xlabel() == "load on top [N]"
    assert ax.get_ylabel() == "height between boards [mm]"
    assert ax.get_title() == "water"
    (top,) = ax.child_axes
    assert top.get_xlabel() == "the same bottles above it [bottles]"
    ax.figure.draw_without_rendering()
    assert top.get_xlim() == pytest.approx((0, 14))
    assert ax.get_xlim() == pytest.approx((0, 14 * WEIGHT))


def test_a_container_that_its_gas_holds_is_refused():
    with pytest.raises(ScenarioError, match="has no soft wall"):
        drawn(drink="cola_like")


def test_given_axes_are_used_and_no_figure_is_made():
    before, ax = dict(mpl.rcParams), Figure().add_subplot()
    assert plot_squeeze(Container(**WATER, **KNOWN), ax=ax) is ax
    assert plt.get_fignums() == []
    assert dict(mpl.rcParams) == before


def test_without_axes_one_figure_is_made():
    ax = plot_squeeze(Container(**WATER, **KNOWN))
    assert plt.get_fignums() == [ax.figure.number]
