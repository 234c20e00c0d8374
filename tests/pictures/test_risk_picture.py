"""The risk as drawn, read back from its artists."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from tests_shared import small_scenario

from colsim import Fills, ScenarioError, simulate_fills
from colsim.pictures import plot_risk

mpl.use("Agg")


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    plt.close("all")


def simulated(**changes) -> Fills:
    with ThreadPoolExecutor(1) as pool:
        return simulate_fills(small_scenario(3, **changes), fills=3, seed=1, executor=pool)


@pytest.fixture(scope="module")
def clean():
    return simulated()


@pytest.fixture(scope="module")
def failing():
    fills = simulated(**{"container.diameter": 58, "target.failures_per_vend": 0.03})
    assert fills.risk().per_fill.failures > 0
    return fills


def drawn(fills):
    return plot_risk(fills, Figure().add_subplot())


@pytest.mark.parametrize("which", ["clean", "failing"])
def test_points_and_bars_are_the_hazard_table(which, request):
    fills = request.getfixturevalue(which)
    table = fills.hazard()
    (points,) = drawn(fills).containers
    line, _, (bars,) = points
    np.testing.assert_array_equal(line.get_xdata(), table["containers left"])
    np.testing.assert_array_equal(line.get_ydata(), table["rate"])
    ends = np.array([segment[:, 1] for segment in bars.get_segments()])
    np.testing.assert_allclose(ends, table[["low", "high"]], atol=1e-12)


@pytest.mark.parametrize(("which", "target"), [("clean", 0.01), ("failing", 0.03)])
def test_the_limit_stands_at_the_target(which, target, request):
    ax = drawn(request.getfixturevalue(which))
    (line,) = [line for line in ax.lines if str(line.get_label()).startswith("limit")]
    assert set(line.get_ydata()) == {target}
    assert line.get_label() == f"limit you set: {1000 * target:g} in 1000"
    assert line.get_linestyle() == "--"  # not by colour alone


@pytest.mark.parametrize("which", ["clean", "failing"])
def test_everything_lies_within_the_axes(which, request):
    fills = request.getfixturevalue(which)
    ax, table = drawn(fills), fills.hazard()
    low, high = ax.get_ylim()
    assert low < 0
    assert high > table["high"].max()
    assert high > fills.scenario.target.failures_per_vend
    left, right = ax.get_xlim()
    assert (left, right) == (3.5, 0.5)  # from full on the left to the last one


def test_axes_are_named_with_units(failing):
    ax = drawn(failing)
    assert ax.get_xlabel() == "containers in the column before the vend [containers]"
    assert ax.get_ylabel() == "share of vends that go wrong [-]"
    assert f"{failing.risk().per_fill.failures} of 3 fills failed" in ax.get_title()
    texts = [text.get_text() for text in ax.get_legend().get_texts()]
    assert texts == ["limit you set: 30 in 1000", "simulated, 95 % interval"]


def test_given_axes_are_used_and_no_figure_is_made(clean):
    before, ax = dict(mpl.rcParams), Figure().add_subplot()
    assert plot_risk(clean, ax) is ax
    assert plt.get_fignums() == []
    assert dict(mpl.rcParams) == before


def test_without_axes_one_figure_is_made(clean):
    ax = plot_risk(clean)
    assert plt.get_fignums() == [ax.figure.number]


def test_of_a_column_that_is_topped_up_both_loads_are_drawn_side_by_side():
    fills = simulated(**{"loading.top_up_at": 1})
    table = fills.hazard()
    first = table[~table["topped up"]]
    assert list(first["containers left"]) == [3, 2]
    assert table["topped up"].sum() == 3
    ax = drawn(fills)
    points, again = ax.containers
    np.testing.assert_array_equal(points[0].get_xdata(), first["containers left"])
    np.testing.assert_array_equal(points[0].get_ydata(), first["rate"])
    np.testing.assert_array_equal(again[0].get_xdata(), np.array([3, 2, 1]) - 0.2)
    assert points[0].get_marker() != again[0].get_marker()
    assert again.get_label() == "after the top-up, 95 % interval"


def ends(points):
    return np.array([segment[:, 1] for segment in points[2][0].get_segments()])


def test_a_limit_per_loading_is_drawn_over_the_loadings_that_failed_by_then(failing):
    fills = replace(failing, scenario=failing.scenario.changed(**{"target.failures_per_fill": 0.2}))
    ax, table = drawn(fills), fills.failed_so_far()
    (points,) = ax.containers
    np.testing.assert_array_equal(points[0].get_ydata(), table["rate"])
    np.testing.assert_allclose(ends(points), table[["low", "high"]], atol=1e-12)
    (line,) = [line for line in ax.lines if str(line.get_label()).startswith("limit")]
    assert set(line.get_ydata()) == {0.2}
    assert ax.get_ylabel() == "share of loadings that have failed by then [-]"
    assert ax.get_ylim()[1] > table["high"].max()


def test_of_fills_that_were_looked_at_often_the_intervals_that_allow_it_are_drawn(failing):
    often = replace(failing, looked_often=True)
    (once,), ax = drawn(failing).containers, drawn(often)
    (points,) = ax.containers
    np.testing.assert_allclose(ends(points), often.hazard()[["low", "high"]], atol=1e-12)
    assert not np.allclose(ends(points), ends(once))
    assert points.get_label() == "simulated, 95 % interval at every look"


@pytest.mark.parametrize("target", ["failures_per_vend", "failures_per_fill"])
def test_without_a_valid_fill_the_limit_and_the_reason_are_drawn(clean, target):
    lost = tuple(replace(fill, invalid="a container was lost") for fill in clean)
    scenario = clean.scenario.changed(**{f"target.{target}": 0.05})
    for fills, why in (
        (replace(clean, scenario=scenario, records=lost), "no valid fill; the first: a container was lost"),
        (replace(clean, scenario=scenario, records=()), "no fill was simulated"),
    ):
        ax = drawn(fills)
        assert [text.get_text() for text in ax.texts] == [why]
        assert not ax.containers
        assert any(set(line.get_ydata()) == {0.05} for line in ax.lines)
        assert ax.get_ylim()[1] > 0.05


@pytest.mark.parametrize("wrong", [None, [], "fills"])
def test_what_is_no_fills_is_refused(wrong):
    with pytest.raises(ScenarioError, match=r"^fills: got .*; allowed: a Fills; as simulate_fills gives them$"):
        drawn(wrong)
