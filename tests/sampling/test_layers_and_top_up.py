"""Several kinds in one column, and filling it up again: where they change nothing, and what they change."""

import numpy as np
import pytest
from tests_shared import AtOnce, measured, small_scenario

from colsim import Scenario, replay, simulate_fill, simulate_fills
from colsim.sampling import Outcome

GRAVITY = 9.80665  # [m/s2]
PLAIN = measured(small_scenario(4))


def layered(kinds, layers, **changes):
    """Give the plain column with several kinds in it, each the plain container but for what is said."""
    data = PLAIN.as_given()
    container = data.pop("container")
    data["containers"] = {name: {**container, **different} for name, different in kinds.items()}
    data["loading"] = {
        **{name: value for name, value in data["loading"].items() if name != "count"},
        "layers": [{"container": name, "count": count} for name, count in layers],
    }
    return Scenario(**data).changed(**changes)


def course(scenario, fill=0):
    """Write down how a fill went, to the last bit."""
    return written(replay(scenario, seed=5, number=fill))


def written(again):
    return [
        (f.time, f.drum_angle, f.state.index.tolist(), f.state.position.tolist(), f.state.angle.tolist())
        for f in again.frames
    ]


@pytest.fixture(scope="module")
def plain():
    return replay(PLAIN, seed=5)


@pytest.mark.parametrize("layers", [[("a", 1), ("b", 3)], [("b", 2), ("a", 2)], [("a", 1), ("b", 1), ("a", 2)]])
def test_layers_of_equal_kinds_are_the_plain_load_to_the_last_bit(layers, plain):
    again = replay(layered({"a": {}, "b": {}}, layers), seed=5)
    assert written(again) == written(plain)
    assert again.fill == plain.fill


WALL, DRUM, OWN = PLAIN.column.wall_friction, PLAIN.rotor.friction, PLAIN.container.friction
SPELT_OUT = {"wall_friction": WALL, "rotor_friction": DRUM}


@pytest.mark.parametrize(
    ("kinds", "mixed"),
    [
        ({"a": {}, "b": SPELT_OUT}, {}),
        ({"a": SPELT_OUT, "b": {}}, {}),
        ({"a": {}, "b": SPELT_OUT}, {"loading.mixed_friction": OWN}),
    ],
)
def test_two_surfaces_with_equal_frictions_are_one_to_the_last_bit(kinds, mixed, plain):
    again = replay(layered(kinds, [("a", 2), ("b", 2)], **mixed), seed=5)
    assert [body.surface for body in again.bodies] == [0, 0, 1, 1]
    assert written(again) == written(plain)


@pytest.mark.parametrize(
    "different", [{"wall_friction": WALL + 0.1}, {"rotor_friction": DRUM + 0.1}, {"friction": OWN + 0.1}]
)
def test_two_surfaces_with_different_frictions_are_not_one(different, plain):
    # Or the tests above would show nothing.
    assert course(layered({"a": {}, "b": different}, [("a", 2), ("b", 2)])) != written(plain)


def test_friction_between_kinds_counts_only_where_they_touch(plain):
    def with_mixed(friction, layers):
        kinds = {"a": {}, "b": {"friction": OWN + 1e-9}}
        return course(layered(kinds, layers, **{"loading.mixed_friction": friction}))

    assert with_mixed(0.1, [("a", 2), ("b", 2)]) != with_mixed(0.4, [("a", 2), ("b", 2)])
    assert with_mixed(0.1, [("a", 4)]) == written(plain)


def test_each_layer_is_loaded_with_its_kind_from_the_bottom_up():
    scenario = layered({"slim": {"diameter": 62, "mass": 0.4}, "wide": {}}, [("wide", 1), ("slim", 2), ("wide", 1)])
    bodies = replay(scenario, seed=5).bodies
    assert [(body.reach, body.mass) for body in bodies] == [(33, 0.54), (31, 0.4), (31, 0.4), (33, 0.54)]


TOP_UP = PLAIN.changed(**{"loading.top_up_at": 2})


@pytest.mark.parametrize("fill", [0, 1])
def test_before_a_top_up_all_goes_as_without_to_the_last_bit(fill):
    without, again = (replay(scenario, seed=5, number=fill) for scenario in (PLAIN, TOP_UP))
    assert again.fill.vends[:2] == without.fill.vends[:2]
    added = next(k for k, f in enumerate(again.frames) if f.state.index.max(initial=0) >= 4)
    assert added > 100
    assert written(again)[:added] == written(without)[:added]
    assert written(again)[added] != written(without)[added]
    assert [vend.topped_up for vend in again.fill.vends] == [False] * 2 + [True] * 4


def test_containers_of_a_top_up_are_counted():
    again = replay(TOP_UP, seed=5)
    fill = again.fill
    assert fill.failure is None
    assert TOP_UP.loading.vends == 4 + 2
    assert (fill.loaded, fill.dispensed, fill.left, len(again.bodies), fill.short) == (6, 6, 0, 6, 0)
    assert [(v.number, v.before, v.remaining, v.topped_up) for v in fill.vends] == [
        (1, 4, 3, False),
        (2, 3, 2, False),
        (3, 4, 3, True),
        (4, 3, 2, True),
        (5, 2, 1, True),
        (6, 1, 0, True),
    ]
    assert [body.index for body in again.bodies] == list(range(6))
    # The bound per vend takes all six: without a failure R <= q / (6 - 5 q).
    risk = simulate_fills(TOP_UP, fills=2, seed=5, executor=AtOnce()).risk()
    assert risk.per_vend.high == pytest.approx(risk.per_fill.high / (6 - 5 * risk.per_fill.high))
    assert risk.per_vend.vends == 12


def test_a_column_is_topped_up_with_the_kind_on_top():
    kinds = {"slim": {"diameter": 62, "mass": 0.4}, "wide": {}}
    scenario = layered(kinds, [("wide", 2), ("slim", 2)], **{"loading.top_up_at": 2})
    assert [body.reach for body in replay(scenario, seed=5).bodies] == [33, 33, 31, 31, 31, 31]


def test_a_failure_before_the_top_up_leaves_the_rest_out():
    again = replay(measured(small_scenario(4, **{"container.diameter": 58, "loading.top_up_at": 1})), seed=5)
    fill = again.fill
    assert fill.failure.outcome.ends_the_fill
    assert fill.loaded == len(again.bodies) == 4
    assert not any(vend.topped_up for vend in fill.vends)


def test_a_topped_up_column_is_filled_no_higher_than_it_goes():
    # Room for three of four, so one of the two that are to be added stays out as well.
    tight = TOP_UP.changed(**{"column.height": 180})
    once, again = (simulate_fill(each, seed=5) for each in (tight.changed(**{"loading.top_up_at": None}), tight))
    assert (once.short, once.loaded) == (1, 3)
    assert (again.short, again.loaded, len(again.vends)) == (2, 4, 4)
    assert again.loaded + again.short == tight.loading.vends
    assert sum(vend.topped_up for vend in again.vends) == 3


@pytest.mark.parametrize("diameter", [66, 58])
@pytest.mark.parametrize("fill", [0, 1])
def test_forces_and_dents_of_every_vend_are_finite_and_positive(diameter, fill):
    scenario = TOP_UP.changed(**{"container.diameter": diameter})
    vends = simulate_fill(scenario, seed=5, number=fill).vends
    assert {vend.outcome for vend in vends} == {66: {Outcome.SINGLE}, 58: {Outcome.STALL}}[diameter]
    assert np.isfinite([(vend.peak_force, vend.dent) for vend in vends]).all()
    assert all(vend.dent > 0 for vend in vends)
    # Each container hangs in the plane on three contacts at most when it lies still, so that one carries a third.
    assert all(vend.peak_force >= scenario.container.mass * GRAVITY / 3 for vend in vends)


def test_a_stall_presses_as_hard_as_the_motor_can():
    # The motor's torque over the drum's radius, times what the wedge makes of it; weights are the same in all three.
    torques = np.array([5.0, 10.0, 20.0])
    stalled = PLAIN.changed(**{"container.diameter": 58})
    peaks = []
    for torque in torques.tolist():
        (vend,) = simulate_fill(stalled.changed(**{"rotor.torque_limit": torque}), seed=5).vends
        assert vend.outcome is Outcome.STALL
        peaks.append(vend.peak_force)
    rim = torques / (PLAIN.rotor.radius / 1000)
    assert np.all(np.array(peaks) > rim / 2)
    np.testing.assert_allclose(np.diff(peaks), np.diff(rim), rtol=0.3)
