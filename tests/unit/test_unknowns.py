"""What nobody measured: listed, with ranges that go together, and nothing else."""

from itertools import combinations

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from tests_shared import LEAST, ROTOR, undescribed_scenario

from colsim import Column, Container, Loading, Rotor, Scenario, ScenarioError
from colsim.model import stand_ins
from colsim.model.base import AssumedRange
from colsim.model.spread import Spread

ASSUMED = {
    f"{holder}.{name}": (mark, field.default)
    for holder, part in (("container", Container), ("column", Column), ("rotor", Rotor), ("loading", Loading))
    for name, field in part.model_fields.items()
    for mark in field.metadata
    if isinstance(mark, AssumedRange)
}
STIFFNESS = "container.stiffness"  # has no default: where nothing is said of wall or gas a range stands in
MEASURED = {path: default for path, (_, default) in ASSUMED.items()} | {STIFFNESS: 70}


def ends(spread):
    return (spread.low, spread.typical, spread.high)


def test_every_default_that_nobody_measured_has_a_range_around_it():
    assert set(ASSUMED) == {
        "container.liquid_spin",
        "container.friction",
        "container.restitution",
        "column.throat_radius",
        "rotor.housing_clearance",
        "rotor.lead_in",
        "rotor.friction",
        "rotor.speed",
        "rotor.torque_limit",
        "loading.placement_scatter",
    }
    for mark, default in ASSUMED.values():
        assert mark.low < default < mark.high
        assert mark.origin


def test_defaults_are_unknown_over_the_ranges_that_are_assumed_for_them():
    found = undescribed_scenario().unknowns()
    assert {path: ends(spread) for path, spread in found.items()} == {
        path: (mark.low, default, mark.high) for path, (mark, default) in ASSUMED.items()
    } | {STIFFNESS: (20, 70, 150)}
    assert {spread.kind for spread in found.values()} == {"unknown"}


@pytest.mark.parametrize("path", MEASURED)
def test_what_is_measured_is_no_longer_unknown_even_at_its_default(path):
    scenario = undescribed_scenario(**{path: MEASURED[path]})
    assert set(undescribed_scenario().unknowns()) - set(scenario.unknowns()) == {path}
    assert path not in scenario.assumed()


def test_nothing_is_unknown_where_all_was_measured():
    assert undescribed_scenario(**MEASURED).unknowns() == {}
    assert undescribed_scenario(**MEASURED).screened() == undescribed_scenario(**MEASURED)


def test_what_varies_is_not_unknown():
    varies = {"kind": "varies", "low": 0.2, "high": 0.3}
    scenario = undescribed_scenario(**MEASURED).changed(
        **{"container.friction": varies, "column.wall_friction": varies}
    )
    assert scenario.unknowns() == {}
    assert set(scenario.varying()) == {"container.friction", "column.wall_friction"}


def test_what_was_given_as_unknown_is_listed_as_it_was_given():
    given_one = Spread(kind="unknown", shape="normal", typical=0.3, deviation=0.05, low=0.2, high=0.5, origin="a guess")
    scenario = undescribed_scenario(**MEASURED).changed(
        **{
            "column.wall_friction": given_one,
            "container.diameter": {"kind": "unknown", "low": 65, "high": 67},
            "column.liners": [{"friction": {"kind": "unknown", "low": 0.1, "high": 0.2}, "lifted_edge": 0}],
        }
    )
    unknowns = scenario.unknowns()
    assert set(unknowns) == {"column.wall_friction", "container.diameter", "column.liners.0.friction"}
    assert unknowns["column.wall_friction"] == given_one
    assert ends(unknowns["container.diameter"]) == (65, 66, 67)


def test_what_words_stand_for_is_listed():
    scenario = undescribed_scenario(**MEASURED).changed(
        container={**LEAST[Container], "restitution": 0.2, "liquid_spin": 0.2, "stiffness": 70, "surface": "sleeve"},
        **{"column.liners": [{"condition": "lifted", "wall": "left"}, {"condition": "fresh", "wall": "right"}]},
    )
    assert scenario.unknowns() == {
        "container.friction": stand_ins.FRICTION_OF_CONTAINERS["sleeve"],
        "column.liners.0.friction": stand_ins.FRICTION_ON_LINER["lifted"],
        "column.liners.0.lifted_edge": stand_ins.LIFTED_EDGE,
        "column.liners.1.friction": stand_ins.FRICTION_ON_LINER["fresh"],
    }


def test_what_is_given_as_unknown_but_fixed_leaves_nothing_to_know():
    fixed = {"kind": "unknown", "shape": "fixed", "typical": 0.25}
    assert undescribed_scenario(**MEASURED).changed(**{"container.friction": fixed}).unknowns() == {}


def test_what_is_asked_for_and_how_it_is_loaded_is_not_unknown():
    unknowns = undescribed_scenario().unknowns()
    assert not [path for path in unknowns if path.startswith(("target.", "on_hand.", "conditions.", "title"))]
    assert not {"loading.count", "loading.pattern", "rotor.rest", "rotor.turn", "column.lean"} & set(unknowns)


def test_a_kind_that_is_not_loaded_has_no_say():
    scenario = Scenario(
        containers={"can": LEAST[Container], "slim": {**LEAST[Container], "surface": "sleeve"}},
        column=LEAST[Column],
        rotor=ROTOR,
        loading={"layers": [{"container": "can", "count": 2}]},
    )
    kinds = {path.split(".")[1] for path in scenario.unknowns() if path.startswith("containers.")}
    assert kinds == {"can"}
    both = scenario.changed(**{"loading.layers": [{"container": "can", "count": 1}, {"container": "slim", "count": 1}]})
    kinds = {path.split(".")[1] for path in both.unknowns() if path.startswith("containers.")}
    assert kinds == {"can", "slim"}
    assert both.unknowns()["containers.slim.friction"] == stand_ins.FRICTION_OF_CONTAINERS["sleeve"]


def two_kinds(can, slim, **loading):
    return Scenario(
        containers={"can": {**LEAST[Container], "friction": can}, "slim": {**LEAST[Container], "friction": slim}},
        column=LEAST[Column],
        rotor=ROTOR,
        loading={"layers": [{"container": "can", "count": 1}, {"container": "slim", "count": 1}], **loading},
    )


def test_between_two_kinds_the_friction_is_unknown_from_one_to_the_other():
    found = two_kinds(0.2, 0.45).unknowns()["loading.mixed_friction"]
    assert ends(found) == (0.2, pytest.approx(0.3), 0.45)
    ranged = two_kinds({"kind": "unknown", "low": 0.1, "high": 0.3}, 0.25).unknowns()["loading.mixed_friction"]
    assert (ranged.low, ranged.high) == (0.1, 0.3)


def test_between_two_kinds_nothing_is_unknown_that_was_measured_or_is_the_same():
    assert "loading.mixed_friction" not in two_kinds(0.2, 0.45, mixed_friction=0.3).unknowns()
    assert "loading.mixed_friction" not in two_kinds(0.2, 0.2).unknowns()
    assert "loading.mixed_friction" not in undescribed_scenario().unknowns()
    given_one = two_kinds(0.2, 0.45, mixed_friction={"kind": "unknown", "low": 0.1, "high": 0.6})
    assert ends(given_one.unknowns()["loading.mixed_friction"]) == (0.1, 0.35, 0.6)


def test_an_assumed_range_is_cut_short_where_its_end_would_contradict():
    # A pocket 74 mm wide and 30 mm deep in a drum of 80 mm, its mouth rounded to r: nothing is left of its sides where
    # (80 - r)^2 - (37 + r)^2 = 50^2, the floor's height above the axis squared: 234 r = 2531, r = 10.816 mm.
    rotor = {"radius": 80, "pockets": 1, "pocket_width": 74, "pocket_depth": 30}
    tight = undescribed_scenario(rotor=rotor)
    with pytest.raises(ScenarioError, match="nothing is left of the pocket's sides"):
        tight.changed(**{"rotor.lead_in": 15})
    found = tight.unknowns()["rotor.lead_in"]
    # Of 10 + 5, 2.5, 1.25 and 0.625 the first below.
    assert ends(found) == (3, 10, 10.625)
    tight.changed(**{"rotor.lead_in": found.high})


def test_an_assumed_range_is_cut_to_a_thirtysecond_before_it_is_given_up():
    # As above with a pocket of 77 mm: 237 r = 2417.75, r = 10.2015 mm, so 10 + 5 / 32.
    rotor = {"radius": 80, "pockets": 1, "pocket_width": 77, "pocket_depth": 30}
    assert ends(undescribed_scenario(rotor=rotor).unknowns()["rotor.lead_in"]) == (3, 10, 10.15625)


@st.composite
def scenarios(draw):
    """Give a scenario in which some is measured, some given as unknown, and some left open."""
    changes = {path: MEASURED[path] for path in MEASURED if draw(st.booleans())}
    for path, low, high in (
        ("container.diameter", 64, 68),
        ("container.set_flat", 0, 4),
        ("column.width", 88, 96),
        ("column.wall_friction", 0.1, 0.5),
        ("rotor.pocket_width", 72, 100),
        ("rotor.pocket_depth", 40, 90),
    ):
        if draw(st.booleans()):
            a, b = sorted(draw(st.lists(st.integers(0, 100), min_size=2, max_size=2, unique=True)))
            ends_of_it = {"low": low + (high - low) * a / 100, "high": low + (high - low) * b / 100}
            changes[path] = {"kind": draw(st.sampled_from(["unknown", "unknown", "varies"])), **ends_of_it}
    if draw(st.booleans()):
        changes["container.surface"] = draw(st.sampled_from(list(stand_ins.FRICTION_OF_CONTAINERS)))
    try:
        return undescribed_scenario(2, **changes)
    except ScenarioError:
        assume(False)


FEW = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


@FEW
@given(scenario=scenarios())
def test_each_end_of_each_unknown_is_a_scenario_that_can_be(scenario):
    for path, spread in scenario.unknowns().items():
        assert spread.kind == "unknown"
        assert spread.low <= spread.typical <= spread.high
        assert spread.low < spread.high
        for end in ends(spread):
            known = scenario.changed(**{path: end})
            assert path not in dict(known.all_spreads()) | dict(known.assumed_spreads())


@FEW
@given(scenario=scenarios())
def test_screening_leaves_no_unknown_and_draws_each_over_its_range(scenario):
    unknowns, pooled = scenario.unknowns(), scenario.screened()
    assert pooled.unknowns() == {}
    assert set(pooled.varying()) == set(scenario.varying()) | set(unknowns)
    for path, spread in unknowns.items():
        drawn = pooled.varying()[path]
        assert (drawn.low, drawn.high, drawn.shape, drawn.per) == (spread.low, spread.high, "uniform", "fill")
    for path, spread in scenario.varying().items():
        assert pooled.varying()[path] == spread


def test_screening_draws_anywhere_in_the_range_and_not_by_what_is_likely():
    likely = {"kind": "unknown", "shape": "normal", "typical": 0.2, "deviation": 0.01, "low": 0.1, "high": 0.5}
    pooled = undescribed_scenario(**{"column.wall_friction": likely}).screened().varying()["column.wall_friction"]
    assert [pooled.quantile(share) for share in (0, 0.5, 1)] == pytest.approx([0.1, 0.3, 0.5])


def test_two_unknowns_may_be_known_one_by_one():
    scenario = undescribed_scenario()
    for first, second in combinations(["rotor.speed", "rotor.friction", "container.restitution"], 2):
        known = scenario.changed(**{first: scenario.unknowns()[first].high})
        assert set(scenario.unknowns()) - set(known.unknowns()) == {first}
        assert second in known.unknowns()
        assert second not in known.changed(**{second: known.unknowns()[second].low}).unknowns()
