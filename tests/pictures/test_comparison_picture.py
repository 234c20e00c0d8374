import pytest
from matplotlib.figure import Figure

from colsim import ScenarioError, compare_containers
from colsim.pictures import plot_comparison
from tests.sampling.test_compare_containers import CONTAINERS, column


@pytest.fixture(scope="module")
def comparison():
    return compare_containers(column(), CONTAINERS, max_fills=2, seed=1)


def drawn(comparison):
    return plot_comparison(comparison, Figure().add_subplot())


def test_lines_and_dots_stand_where_the_table_has_them(comparison):
    ax = drawn(comparison)
    table = comparison.to_dataframe()
    ranges = [line.get_xdata() for line in ax.lines if len(line.get_xdata()) == 2 and line.get_linestyle() == "-"]
    for found, (_, row) in zip(ranges, table.iloc[:2].iterrows(), strict=True):
        assert list(found) == [max(0.1, 1000 * row["could be low"]), 1000 * row["could be high"]]
    dots = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "o"]
    assert dots == [max(0.1, 1000 * rate) for rate in table["rate"][:2]]


def test_the_limit_is_drawn_and_named(comparison):
    ax = drawn(comparison)
    assert any(line.get_linestyle() == "--" and list(line.get_xdata()) == [10, 10] for line in ax.lines)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == [
        "could be",
        "best guess",
        "limit you set: 10 in 1000",
    ]


def test_a_limit_per_loading_is_drawn_with_the_risks_of_loadings():
    per_fill = compare_containers(column(**{"target.failures_per_fill": 0.2}), CONTAINERS, max_fills=2, seed=1)
    ax = drawn(per_fill)
    assert ax.get_xlabel() == "bad loadings in 1000 [-]"
    assert any(line.get_linestyle() == "--" and list(line.get_xdata()) == [200, 200] for line in ax.lines)
    simulated = [candidate.option.risks for candidate in per_fill.candidates if candidate.option is not None]
    risks = [each.typical.risk_looking_often(level=each.level).per_fill for each in simulated]
    dots = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "o"]
    assert dots == [max(0.1, 1000 * risk.rate) for risk in risks]
    ranges = [line.get_xdata() for line in ax.lines if len(line.get_xdata()) == 2 and line.get_linestyle() == "-"]
    for found, each in zip(ranges, simulated, strict=True):
        cases = [each.runs[case].risk_looking_often(level=each.level).per_fill for case in each.cases]
        assert list(found) == [max(0.1, 1000 * min(e.low for e in cases)), 1000 * max(e.high for e in cases)]


def test_what_is_no_comparison_is_refused(comparison):
    with pytest.raises(ScenarioError, match=r"^comparison: got a list; allowed: a Comparison; as compare_containers"):
        drawn(list(comparison.candidates))


def test_each_row_is_labelled_and_what_does_not_go_in_says_why(comparison):
    ax = drawn(comparison)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert [label.split("\n")[0] for label in labels] == list(CONTAINERS)
    assert "spacer" in labels[1]
    assert [text.get_text().startswith("DOES NOT FIT: ") for text in ax.texts] == [True, True]
    assert "[-]" in ax.get_xlabel()
