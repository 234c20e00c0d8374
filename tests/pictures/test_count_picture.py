import matplotlib as mpl
import pytest
from matplotlib.figure import Figure
from tests_shared import AtOnce, measured, small_scenario

from colsim import ScenarioError, find_count, find_spacer
from colsim.advice.count_table import risk_by_count
from colsim.pictures import plot_count


@pytest.fixture(scope="module")
def decision():
    """One slim container comes; with more above it the second is caught."""
    slim = measured(small_scenario(2, **{"container.diameter": 58, "target.failures_per_fill": 0.4}))
    return find_count(slim, counts=[1, 3], max_fills=12, seed=1, executor=AtOnce())


@pytest.fixture
def ax(decision):
    return plot_count(decision, Figure().add_subplot())


def labels(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_dots_and_ranges_stand_where_the_table_has_them(ax, decision):
    table = risk_by_count(decision)
    assert table["status"].tolist() == ["meets", "fails"]
    dots = {
        (x, y) for line in ax.lines if line.get_marker() in ("X", "o") for x, y in zip(*line.get_data(), strict=True)
    }
    assert dots == {(row["count [containers]"], max(0.1, 1000 * row["rate"])) for row in table.to_dict("records")}
    could_be = ax.collections[0].get_segments()
    assert [(x, low, high) for (x, low), (_, high) in could_be] == [
        (row["count [containers]"], max(0.1, 1000 * row["could be low"]), 1000 * row["could be high"])
        for row in table.to_dict("records")
    ]
    whiskers = [segment for bars in ax.containers for segment in bars.lines[2][0].get_segments()]
    for (_, row), segment in zip(table.iterrows(), whiskers, strict=True):
        assert [y for _, y in segment] == pytest.approx([max(0.1, 1000 * row["low"]), 1000 * row["high"]])


def test_verdicts_differ_in_shape_and_the_recommended_count_has_a_ring(ax):
    assert {bars.lines[0].get_marker() for bars in ax.containers} == {"o", "X"}
    ring = next(line for line in ax.lines if line.get_fillstyle() == "none")
    assert list(ring.get_xdata()) == [1]
    assert "load 1" in labels(ax)


def test_the_limit_and_the_axes_say_what_is_counted(ax, decision):
    assert any(line.get_linestyle() == "--" and list(line.get_ydata()) == [400, 400] for line in ax.lines)
    assert "limit you set: 400 in 1000" in labels(ax)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("containers loaded [containers]", "bad loadings in 1000 [-]")


def test_what_goes_wrong_is_named_where_it_fails_and_nowhere_else(ax, decision):
    named = {text.xy[0]: text.get_text() for text in ax.texts}
    assert named == {option.value: option.mechanism for option in decision.options if option.status == "fails"}
    assert "second one in the pocket" in named.values()


def test_per_vend_and_unsettled_it_says_so_and_settings_stay_as_they_were():
    before = dict(mpl.rcParams)
    decision = find_count(measured(small_scenario(1)), counts=[1, 2], max_fills=1, seed=1, executor=AtOnce())
    ax = plot_count(decision)
    assert ax.get_ylabel() == "bad vends in 1000 [-]"
    assert {"best guess: not settled", "least bad, not settled: 2", "limit you set: 10 in 1000"} <= set(labels(ax))
    assert dict(mpl.rcParams) == before
    mpl.pyplot.close(ax.figure)


def test_another_decision_is_refused():
    spacer = find_spacer(measured(small_scenario(1)), spacers=[0], max_fills=1, seed=1, executor=AtOnce())
    with pytest.raises(ScenarioError, match="decision: got 'spacer'"):
        plot_count(spacer)
