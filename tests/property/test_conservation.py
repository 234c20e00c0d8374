"""No container appears or vanishes, over valid scenarios."""

import math

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from colsim import Scenario, ScenarioError, simulate_fill
from colsim.sampling import Outcome


@st.composite
def scenarios(draw):
    diameter = draw(st.floats(50, 76))
    width = draw(st.floats(1.02, 1.95)) * diameter
    data = {
        "container": {
            "diameter": diameter,
            "mass": draw(st.floats(0.2, 0.8)),
            "friction": draw(st.sampled_from([0.0, 0.1, 0.3, 0.8])),
            "set_flat": draw(st.sampled_from([0.0, 0.0, 3.0, 8.0])),
            "restitution": draw(st.sampled_from([0.0, 0.2, 0.6])),
        },
        "column": {
            "width": width,
            "height": 900,
            "wall_friction": draw(st.sampled_from([0.0, 0.2, 0.5])),
            "lean": draw(st.sampled_from([-5, 0, 0, 5])),
        },
        "rotor": {
            "radius": draw(st.floats(90, 120)),
            "pockets": draw(st.sampled_from([1, 1, 2])),
            "pocket_width": draw(st.floats(1.02, 1.4)) * diameter,
            "pocket_depth": draw(st.floats(60, 85)),
            "spacer_thickness": draw(st.sampled_from([0, 6, 12])),
            "lead_in": draw(st.sampled_from([0, 2, 10])),
            "rest": draw(st.sampled_from(["pocket_up", "land_up"])),
            "turn": draw(st.sampled_from(["clockwise", "counterclockwise"])),
        },
        "loading": {
            "count": draw(st.integers(1, 4)),
            "pattern": draw(st.sampled_from(["alternate", "one_side", "random"])),
        },
    }
    if draw(st.booleans()):
        data["column"] |= {"throat": max(1.1 * diameter, 0.8 * width), "floor_slope": draw(st.floats(30, 70))}
        assume(data["column"]["throat"] < width)
    if draw(st.booleans()):
        data["column"]["liners"] = [{"bottom": 150, "top": 400, "friction": 0.1}]
    try:
        return Scenario(**data)
    except ScenarioError:
        assume(False)


@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
@given(scenario=scenarios())
def test_every_container_is_dispensed_or_left(scenario):
    fill = simulate_fill(scenario, seed=3)
    assert not fill.invalid
    assert fill.loaded == fill.dispensed + fill.left == scenario.loading.count
    before = fill.loaded
    for number, vend in enumerate(fill.vends, 1):
        assert (vend.vend, vend.before) == (number, before)
        came = vend.before - vend.remaining
        if vend.outcome is Outcome.SINGLE:
            assert came == 1
        elif vend.outcome is Outcome.DOUBLE:
            assert came >= 2
        elif vend.outcome is Outcome.LATE:
            assert came >= 1
        assert (vend.mechanism is None) == (vend.outcome is Outcome.SINGLE)
        before = vend.remaining
    assert before == fill.left
    assert [vend.outcome.ends_the_fill for vend in fill.vends[:-1]] == [False] * (len(fill.vends) - 1)
    assert fill.left == 0 or fill.vends[-1].outcome.ends_the_fill

    state, section = fill.frames[-1].state, fill.section
    assert len(state.index) == fill.left
    for x, y in state.position.tolist():
        in_column = y > 0 and abs(x) <= section.width / 2 - scenario.container.height / 2 + 0.5
        assert in_column or math.hypot(x, y) < section.housing_radius


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.filter_too_much])
@given(scenario=scenarios())
def test_a_scenario_survives_being_written_and_read(scenario):
    assert Scenario(**scenario.model_dump()) == scenario
    assert Scenario(**scenario.model_dump(mode="json", exclude_unset=True)) == scenario
