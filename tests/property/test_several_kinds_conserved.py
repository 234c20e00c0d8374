"""No container appears or vanishes where there are several kinds, sizes that vary, and a top-up."""

from itertools import pairwise

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from tests_shared import ROTOR

from colsim import Scenario, ScenarioError, replay
from colsim.sampling import Outcome

FEW = settings(
    max_examples=16,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


@st.composite
def kinds(draw):
    """Give a container whose size may vary, with frictions of its own."""
    diameter, friction = draw(st.floats(56, 72)), st.sampled_from([0.0, 0.1, 0.3, 0.8])
    container = {"diameter": diameter, "mass": draw(st.floats(0.2, 0.8)), "friction": draw(friction)}
    if draw(st.booleans()):
        container["diameter"] = {"kind": "varies", "shape": "normal", "typical": diameter, "deviation": 0.3}
    if draw(st.booleans()):
        container["set_flat"] = draw(st.sampled_from([3.0, 8.0]))
    for own in ("wall_friction", "liner_friction", "rotor_friction"):
        if draw(st.booleans()):
            container[own] = draw(friction)
    return container


@st.composite
def scenarios(draw):
    """Give a scenario of two or three layers of two kinds, perhaps topped up."""
    layers = [
        {"container": name, "count": draw(st.integers(1, 2))}
        for name in draw(st.sampled_from([("a", "b"), ("b", "a"), ("a", "b", "a")]))
    ]
    total = sum(layer["count"] for layer in layers)
    loading = {"layers": layers, "pattern": draw(st.sampled_from(["alternate", "one_side", "random"]))}
    if draw(st.booleans()):
        loading["top_up_at"] = draw(st.integers(1, total - 1))
    if draw(st.booleans()):
        loading["mixed_friction"] = draw(st.sampled_from([0.1, 0.6]))
    column = {
        "width": draw(st.floats(74, 108)),
        "height": 900,
        "wall_friction": {"kind": "varies", "low": 0.1, "high": 0.4},
    }
    if draw(st.booleans()):
        column["liners"] = [{"top": 300, "friction": 0.1, "lifted_edge": draw(st.sampled_from([0, 4]))}]
    rotor = {**ROTOR, "pockets": draw(st.sampled_from([1, 2])), "spacer_thickness": draw(st.sampled_from([0, 6]))}
    try:
        return Scenario(
            containers={"a": draw(kinds()), "b": draw(kinds())}, column=column, rotor=rotor, loading=loading
        )
    except ScenarioError:
        assume(False)


def check_the_counts(again):
    """Check that all that was loaded came or is left, through a top-up."""
    scenario, fill = again.scenario, again.fill
    assert fill.loaded == fill.dispensed + fill.left == len(again.bodies)
    before = [vend for vend in fill.vends if not vend.topped_up]
    after = [vend for vend in fill.vends if vend.topped_up]
    assert [*before, *after] == list(fill.vends)
    for part in (before, after):
        for one, following in pairwise(part):
            assert following.before == one.remaining
    total, level = scenario.loading.total, scenario.loading.top_up_at
    assert before[0].before == total
    assert fill.vends[-1].remaining == fill.left
    assert fill.short == 0
    if after:
        assert before[-1].remaining <= level
        assert fill.loaded == total + total - before[-1].remaining
        assert after[0].before == total
    else:
        assert level is None or fill.vends[-1].outcome.ends_the_fill
        assert fill.loaded == total
    if fill.failure is None:
        assert len(fill.vends) == scenario.loading.vends == fill.dispensed
        assert {vend.outcome for vend in fill.vends} == {Outcome.SINGLE}


def check_the_bodies(again):
    """Check that each body is of the kind that was to be loaded, at a size within its spread."""
    scenario, fill = again.scenario, again.fill
    names = list(scenario.loaded_products)
    for item, body in enumerate(again.bodies):
        name = scenario.product_of(item)
        container = scenario.products[name]
        assert (body.index, body.surface) == (item, names.index(name))
        assert (body.mass, body.flat) == (container.mass, container.set_flat)
        spread = container.spreads.get("diameter")
        low, high = (container.diameter,) * 2 if spread is None else (spread.low, spread.high)
        shrink = container.diameter - container.height  # by its flats
        assert low - shrink - 1e-9 <= body.height <= high - shrink + 1e-9
    assert 0.1 <= fill.drawn["column.wall_friction"] <= 0.4
    assert np.isfinite([vend.peak_force for vend in fill.vends]).all()
    assert all(0 < vend.peak_force < 1e5 for vend in fill.vends)


@FEW
@given(scenario=scenarios())
def test_every_container_of_its_kind_is_dispensed_or_left_through_a_top_up(scenario):
    again = replay(scenario, seed=3)
    assert (
        not again.fill.invalid
    )  # no valid scenario is known that the engine loses hold of; if one turns up it says why
    check_the_counts(again)
    check_the_bodies(again)
