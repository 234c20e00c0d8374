"""What follows from measurements that are ranges."""

import pytest
from tests_shared import LEAST, ROTOR, small_scenario

from colsim import Container, Scenario
from colsim.advice.measurements import what_follows


def bridging(scenario):
    return [sentence for subject, sentence in what_follows(scenario) if subject == "bridging"]


def unknown(low, high):
    return {"kind": "unknown", "low": low, "high": high}


def varies(low, high):
    return {"kind": "varies", "low": low, "high": high}


@pytest.mark.parametrize(
    ("changes", "grip"),
    [
        ({"container.friction": 0.2, "column.wall_friction": 0.25}, "0.20"),
        ({"container.friction": unknown(0.2, 0.6), "column.wall_friction": unknown(0.2, 0.55)}, "0.55"),
        ({"container.friction": varies(0.2, 0.6), "column.wall_friction": varies(0.2, 0.55)}, "0.55"),
        ({"container.friction": 0.9, "container.wall_friction": unknown(0.3, 0.5)}, "0.50"),
        ({"column.wall_friction": 0.9}, "0.45"),  # nobody measured container on container: 0.15 to 0.45
        ({"container.surface": "bare", "column.wall_friction": 0.9}, "0.60"),  # a word: 0.17 to 0.6
        (
            {
                "container.friction": 0.9,
                "column.wall_friction": 0.1,
                "column.liners": [{"friction": 0.2}],
                "container.liner_friction": unknown(0.1, 0.35),
            },
            "0.35",
        ),
        (
            {
                "container.friction": 0.9,
                "column.wall_friction": 0.1,
                "column.liners": [{"condition": "dusty", "wall": "left"}],
            },
            "0.35",
        ),
    ],
)
def test_the_grip_is_at_the_upper_ends_of_what_it_may_be(changes, grip):
    (sentence,) = bridging(small_scenario(4, **changes))
    assert f"yours grip {grip} at most" in sentence


def test_the_grip_of_a_kind_among_several_is_its_own():
    kinds = {"can": {**LEAST[Container], "friction": unknown(0.1, 0.2)}, "slim": {**LEAST[Container], "friction": 0.3}}
    scenario = Scenario(
        containers=kinds,
        column={"width": 90, "height": 900, "wall_friction": 0.5},
        rotor=ROTOR,
        loading={"layers": [{"container": "can", "count": 1}, {"container": "slim", "count": 1}]},
    )
    can, slim = bridging(scenario)
    assert "yours grip 0.20 at most" in can
    assert "yours grip 0.30 at most" in slim


def test_what_a_bridge_needs_is_the_least_over_widths_and_diameters():
    # sqrt((2 d - W) / W): 0.68 at 66 in 90 mm, 0.58 at 64 in 96 mm.
    fixed = small_scenario(4)
    ranged = small_scenario(
        4, **{"column.width": unknown(84, 96), "container.diameter": varies(64, 68), "container.friction": 0.6}
    ).changed(**{"column.wall_friction": unknown(0.2, 0.6)})
    assert "grip more than 0.68" in bridging(fixed)[0]
    (sentence,) = bridging(ranged)
    assert "grip more than 0.58" in sentence
    assert "cannot do it" not in sentence


def test_an_edge_that_may_be_lifted_is_named():
    edge = {"friction": 0.1, "top": 300, "lifted_edge": varies(0, 4)}
    lifted = bridging(small_scenario(4, **{"column.liners": [edge]}))[0]
    assert "the lifted liner edge" in lifted
