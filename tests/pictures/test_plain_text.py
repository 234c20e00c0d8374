"""Titles and names in pictures are text, whatever signs are in them."""

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from tests_shared import LEAST, AtOnce, small_scenario

from colsim import Container, Fills, compare_containers, find_count, replay, simulate_fills
from colsim.pictures import plot_column, plot_comparison, plot_count, plot_risk, plot_squeeze
from colsim.pictures.plain import label_of

TEXTS = ["$x^$ <&> -- 'q' \"q\"", "a $ b, \\$5 {x} %d \\n", "_x $\\frac$"]
HOW = {"seed": 1, "executor": AtOnce()}


def named(text, **changes):
    return small_scenario(1, **{"title": text, "container.name": text, **changes})


def of_several_kinds(text):
    data = named(text).as_given() | {"containers": {text: LEAST[Container]}}
    data["loading"] = {"layers": [{"container": text, "count": 1}]}
    del data["container"]
    return type(named(text))(**data)


def invalid(text, ax):
    fills = simulate_fills(named(text), fills=1, **HOW)
    plot_risk(Fills(fills.scenario, 1, (replace(fills[0], invalid=text, vends=()),), 1), ax)


PLOTS = {
    "column": lambda text, ax: plot_column(replay(of_several_kinds(text), seed=1), 0, ax),
    "risk": lambda text, ax: plot_risk(simulate_fills(named(text), fills=1, **HOW), ax),
    "no risk": invalid,
    "count": lambda text, ax: plot_count(find_count(named(text), counts=[1], max_fills=1, **HOW), ax),
    "comparison": lambda text, ax: plot_comparison(
        compare_containers(named(text), [text, "12 fl oz can"], max_fills=1, **HOW), ax
    ),
    "too wide": lambda text, ax: plot_comparison(
        compare_containers(named(text), {text: Container(diameter=92, mass=0.9)}, max_fills=1, **HOW), ax
    ),
    "squeeze": lambda text, ax: plot_squeeze(
        Container(name=text, diameter=65, mass=0.51, drink="still", wall_feel="thin"), ax=ax
    ),
}


@pytest.mark.parametrize("text", TEXTS)
@pytest.mark.parametrize("plot", PLOTS.values(), ids=PLOTS)
def test_they_are_drawn_as_they_are(plot, text):
    figure, drawn = Figure(layout="constrained"), io.BytesIO()
    plot(text, figure.add_subplot())
    figure.savefig(drawn, format="svg")
    ET.fromstring(drawn.getvalue())
    holding = [each for each in figure.findobj(Text) if text in each.get_text()]
    assert holding
    assert not any(each.get_parse_math() or each.get_usetex() for each in holding)


def test_a_name_that_begins_with_an_underscore_is_in_the_legend_too():
    ax = Figure().add_subplot()
    PLOTS["column"]("_x", ax)
    assert label_of("_x") == " _x"
    assert " _x" in [text.get_text() for text in ax.get_legend().get_texts()]
    assert label_of("can") == "can"
