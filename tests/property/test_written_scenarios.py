"""Whatever a scenario holds comes back from its text."""

from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st
from tests_shared import small_scenario

from colsim import CATALOGUE, Scenario, ScenarioError
from colsim.model.one_line import is_one_line

FEW = settings(
    max_examples=15,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
LETTERS = st.characters(codec="utf-8").filter(is_one_line)
NAMES = st.text(LETTERS.filter(lambda letter: letter != "."), min_size=1, max_size=8)


@st.composite
def spread_of(draw, low, high):
    """Give a number between bounds, or a table for one that is not known or differs."""
    ends = sorted(draw(st.lists(st.floats(low, high), min_size=3, max_size=3, unique=True)))
    assume(ends[0] < ends[1] < ends[2])
    tables = {
        "number": ends[1],
        "uniform": {"kind": "unknown", "low": ends[0], "high": ends[2], "origin": draw(NAMES)},
        "normal": {
            "kind": "varies",
            "shape": "normal",
            "typical": ends[1],
            "deviation": (ends[2] - ends[0]) / 4,
            "low": ends[0],
            "high": ends[2],
        },
        "lognormal": {
            "kind": "varies",
            "shape": "lognormal",
            "typical": ends[1],
            "factor": 1.1,
            "low": ends[0],
            "high": ends[2],
        },
        "fixed": {"kind": "unknown", "shape": "fixed", "typical": ends[1]},
    }
    return tables[draw(st.sampled_from(sorted(tables)))]


@st.composite
def containers(draw):
    kind = draw(st.sampled_from(["firm", "soft", "tested", "catalogue"]))
    if kind == "catalogue":
        return draw(st.sampled_from(sorted(CATALOGUE)))
    container = {"diameter": draw(spread_of(62, 68)), "mass": draw(st.floats(0.4, 0.6)), "name": draw(NAMES)}
    if kind == "firm":
        container |= {"stiffness": draw(spread_of(20, 150)), "friction": draw(spread_of(0.1, 0.4))}
    if kind == "soft":
        container |= {"drink": "still", "wall_feel": draw(st.sampled_from(["thin", "ordinary"])), "surface": "bare"}
    if kind == "tested":
        heights = draw(st.sampled_from([(61.5, 60, 57.25), (60, 59.9, 52)]))  # few, as each is fitted once
        container["squeeze_test"] = [
            {"bottles": n, "height": h, "temperature": "cold"} for n, h in zip((0, 6, 12), heights, strict=True)
        ]
    return container


@st.composite
def liners(draw):
    sheet = {"wall": draw(st.sampled_from(["left", "right", "both"])), "bottom": 50, "top": draw(spread_of(300, 400))}
    how = {"friction": draw(spread_of(0.05, 0.3))} if draw(st.booleans()) else {"condition": "lifted"}
    return [sheet | how, {"bottom": 450, "friction": "10 deg"}][: draw(st.integers(0, 2))]


@st.composite
def written(draw):
    several = draw(st.booleans())
    names = draw(st.lists(NAMES, min_size=2, max_size=2, unique=True))
    data = {
        "title": draw(st.text(LETTERS, max_size=12)),
        "column": {"width": draw(spread_of(88, 100)), "height": 900, "wall_friction": 0.2, "liners": draw(liners())},
        "rotor": {
            "radius": 110,
            "pockets": draw(st.sampled_from([1, 2])),
            "pocket_width": draw(spread_of(84, 90)),
            "pocket_depth": 80,
        },
        "loading": {"count": 4},
        "conditions": {"days": draw(st.sampled_from([0, 3.5])), "wet": draw(st.booleans())},
        "on_hand": {"spacers": draw(st.sampled_from([[], ["6 mm", "1/2 in"], [6, 12.5]]))},
    }
    if several:
        data["containers"] = {name: draw(containers()) for name in names}
        data["loading"] = {"layers": [{"container": name, "count": 2} for name in names], "top_up_at": 1}
    else:
        data["container"] = draw(containers())
    try:
        return Scenario(**data)
    except ScenarioError:
        assume(False)


@FEW
@given(scenario=written())
@example(scenario=small_scenario(2, **{"container.friction": 1e-05, "column.lean": -0.0}))
def test_a_scenario_comes_back_from_its_text(scenario):
    again = Scenario.from_toml_text(scenario.to_toml())
    assert again == scenario
    assert dict(again.all_spreads()) == dict(scenario.all_spreads())
    assert again.assumed() == scenario.assumed()
