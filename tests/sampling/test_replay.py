"""What a fill keeps, and that it is made again from that to the last bit."""

import math
import pickle
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from tests_shared import ROOT, AtOnce, made, measured, small_scenario

from colsim import (
    Fills,
    Replay,
    Scenario,
    ScenarioError,
    SimulationError,
    __version__,
    replay,
    simulate_fill,
    simulate_fills,
)
from colsim.physics.compiled_engine import CompiledEngine
from colsim.physics.engines import Settings
from colsim.sampling import Outcome
from colsim.sampling.sequences import confidence_sequence
from colsim.sampling.targets import target_per_fill, target_per_vend

VARIES = {
    "container.diameter": {"kind": "varies", "shape": "normal", "typical": 62, "deviation": 0.5},
    "rotor.friction": {"kind": "varies", "low": 0.2, "high": 0.4},
    "column.wall_friction": {"kind": "varies", "low": 0.2, "high": 0.3},
}
SOFT = {"diameter": 66, "mass": 0.54, "empty_mass": 0.015, "drink": "still", "wall_thickness": 0.25}


@pytest.fixture(scope="module")
def scenario():
    return measured(small_scenario(3)).changed(**VARIES)  # fails in some fills and not in others


@pytest.fixture(scope="module")
def fills(scenario):
    return simulate_fills(scenario, fills=4, seed=5, executor=AtOnce())


def test_a_fill_of_twelve_containers_takes_less_than_a_kilobyte():
    friction = {"kind": "varies", "low": 0.24, "high": 0.26}
    scenario = Scenario.from_toml(ROOT / "examples" / "alder-hall-2.toml").changed(
        **{
            "loading.count": 12,
            "rotor.spacer_thickness": 12,
            "rotor.friction": friction,
            "column.wall_friction": friction,
        }
    )
    fill = simulate_fill(scenario, seed=4417)
    assert len(fill.vends) == 12
    assert len(fill.drawn) == 2
    kept = pickle.dumps(fill)
    assert len(kept) < 1000
    assert pickle.loads(kept) == fill


def test_a_fill_names_the_version_the_engine_and_its_settings(scenario):
    fine = Settings(step=0.0005)
    fill = simulate_fill(scenario, seed=5, settings=fine)
    assert (fill.version, fill.engine, fill.settings) == (__version__, "compiled", fine)
    assert simulate_fill(scenario, seed=5).settings == Settings()


@pytest.mark.parametrize("number", range(4))
def test_a_replay_is_the_fill_to_the_last_bit(scenario, fills, number):
    for again in (fills.replay(number), fills[number].replay(scenario), replay(scenario, seed=5, number=number)):
        assert isinstance(again, Replay)
        assert again.fill == fills[number]
        assert repr(again.fill.vends) == repr(fills[number].vends)


@pytest.mark.parametrize("how", [{"settings": Settings(step=0.0005)}, {"engine": "pymunk"}])
def test_a_replay_takes_the_engine_and_settings_of_the_fill(how):
    scenario = small_scenario(1)
    fill = simulate_fill(scenario, seed=5, **how)
    assert fill.replay(scenario).fill == fill != simulate_fill(scenario, seed=5)


def test_so_is_that_of_soft_walls():
    scenario = measured(small_scenario(4).changed(container=SOFT))
    fill = simulate_fill(scenario, seed=5)
    assert fill.replay(scenario).fill == fill


def test_two_replays_have_the_same_frames_and_contacts(fills):
    one, other = (fills.replay(1) for _ in range(2))
    assert len(one.frames) == len(other.frames) > 50
    for a, b in zip(one.frames, other.frames, strict=True):
        assert (a.time, a.drum_angle) == (b.time, b.drum_angle)
        np.testing.assert_array_equal(a.state.position, b.state.position)
    np.testing.assert_array_equal(one.contacts.force, other.contacts.force)


def test_frames_are_a_fiftieth_of_a_second_apart_and_end_with_what_is_left(fills):
    again = fills.replay(0)
    times = [frame.time for frame in again.frames]
    assert np.diff(times[:50]) == pytest.approx(np.full(49, 0.02))
    assert len(again.frames[-1].state.index) == again.fill.left
    assert len(again.bodies) == again.fill.loaded


def test_a_fill_of_another_version_is_not_replayed_and_says_what_to_do(scenario, fills):
    old = replace(fills[2], version="0.0.9")
    with pytest.raises(SimulationError) as refused:
        old.replay(scenario)
    assert str(refused.value) == (
        f"fill 2 (seed 5) was made with colsim 0.0.9, and this is {__version__}, which may give another one: "
        "install 0.0.9 to replay it, or see what this version gives with replay(scenario, seed=5, number=2)"
    )


def test_a_fill_of_another_scenario_is_found_out(scenario, fills):
    with pytest.raises(
        SimulationError, match=r"^fill 0 \(seed 5\) comes out otherwise than it did .*give the scenario"
    ):
        fills[0].replay(scenario.changed(**{"loading.count": 2}))


def test_a_fill_of_an_engine_without_a_name_says_which_there_are(scenario):
    class Own(CompiledEngine):
        pass

    fill = simulate_fill(scenario, seed=5, engine=Own)
    assert fill.engine == "Own"
    with pytest.raises(ScenarioError, match=r"^engine: got 'Own'; allowed: auto \| compiled \| pymunk"):
        fill.replay(scenario)


@pytest.mark.parametrize("number", [4, -1, 1.0, "1"])
def test_a_fill_that_is_not_there_is_not_replayed(fills, number):
    with pytest.raises(ScenarioError, match=rf"^number: got {number!r}"):
        fills.replay(number)


def test_an_invalid_fill_has_a_replay_without_contacts():
    scenario = measured(small_scenario(1)).changed(
        **{
            "container.diameter": {"kind": "varies", "low": 56, "high": 70, "per": "fill"},
            "rotor.pocket_width": {"kind": "varies", "low": 64, "high": 82},
        }
    )
    fills = simulate_fills(scenario, fills=16, seed=3, executor=AtOnce())
    lost = next(fill for fill in fills if fill.invalid)
    again = fills.replay(lost.number)
    assert again.contacts is None
    assert again.fill == lost


def test_fills_are_counted_walked_through_and_picked_like_a_sequence(fills):
    assert len(fills) == 4
    assert [fill.number for fill in fills] == [0, 1, 2, 3]
    assert fills[-1] is fills.records[3]
    assert fills[np.int64(2)].number == 2
    assert [fill.number for fill in fills[1:3]] == [1, 2]
    assert fills[0] in fills
    with pytest.raises(IndexError):
        fills[4]


def test_printing_shows_the_summary_and_the_short_form_stays_short(scenario, fills):
    assert str(fills) == fills.summary()
    assert repr(fills) == "<Fills of 'small': 4, seed 5>"
    fill = fills[0]
    assert str(fill) == fill.summary()
    assert repr(fill) == f"<Fill: {fill.summary()}>"
    assert fill.summary() in fill._repr_html_()
    again = fills.replay(0)
    assert str(again) == again.summary() == fill.summary()
    assert repr(again) == f"<Replay of fill 0 (seed 5): {len(again.frames)} frames>"
    assert again._repr_html_() == fill._repr_html_()
    odd = replace(fill, invalid="<b> & more")
    assert "&lt;b&gt; &amp; more" in odd._repr_html_()


def test_numbers_of_numpy_are_as_good_as_plain_ones(scenario, fills):
    with ThreadPoolExecutor(1) as threads:
        found = simulate_fills(scenario, fills=np.int32(1), seed=np.uint32(5), executor=threads)
    assert found[0] == fills[0] == simulate_fill(scenario, seed=np.int64(5), number=np.int16(0))
    assert type(found.seed) is type(found[0].seed) is int
    assert fills.risk(level=np.float64(0.9)) == fills.risk(level=0.9)
    assert fills.hazard(level=np.float32(0.5)).equals(fills.hazard(level=0.5))


WRONG = {
    "scenario": ({"title": "a dict"}, r"^scenario: got a dict; allowed: a Scenario; make one with Scenario"),
    "settings": ({"step": 0.001}, r"^settings: got a dict; allowed: a Settings; leave it out"),
    "engine": (3, r"^engine: got 3; allowed: auto"),
    "seed": ("5", r"^seed: got '5'; allowed: a whole number"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_of_the_wrong_type_is_refused_in_one_message(scenario, name):
    value, message = WRONG[name]
    given = {"scenario": scenario, "seed": 5, name: value}
    for simulate in (
        lambda: simulate_fill(**given),
        lambda: replay(**given),
        lambda: simulate_fills(**given, fills=1, executor=AtOnce()),
    ):
        with pytest.raises(ScenarioError, match=message):
            simulate()


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"fills": "8"}, r"^fills: got '8'; allowed: a whole number of 1 or more"),
        ({"fills": np.float64(8)}, r"^fills: got .*8.0.*; allowed: a whole number of 1 or more"),
        ({"fills": 1, "executor": 2}, r"^executor: got a int; allowed: an executor of concurrent.futures"),
        ({"fills": 1, "scenario": None}, r"^scenario: got None; allowed: a Scenario"),
    ],
)
def test_so_is_what_only_many_fills_take(scenario, given, message):
    with pytest.raises(ScenarioError, match=message):
        simulate_fills(**{"scenario": scenario, "seed": 5, **given})


@pytest.mark.parametrize("level", ["95", None, True, math.nan])
def test_a_level_of_the_wrong_type_is_refused_by_all_that_take_one(fills, level):
    for estimate in (
        fills.risk,
        fills.risk_looking_often,
        fills.hazard,
        fills.failed_so_far,
        lambda level: fills.share_of_vends("failure", level=level),
    ):
        with pytest.raises(ScenarioError, match=rf"^level: got {level!r}; allowed: above 0 and below 1"):
            estimate(level=level)


def test_only_fills_are_paired(fills):
    with pytest.raises(ScenarioError, match=r"^other: got a tuple; allowed: a Fills"):
        fills.paired_with(fills.records)


S, D, X = Outcome.SINGLE, Outcome.DOUBLE, Outcome.STALL


@pytest.fixture
def by_hand(fills):
    histories = [(S, S, S, S), (S, X), (D, S, S), (S, S, S, S), (S, S, X)]
    records = [made(fills[0], k, history) for k, history in enumerate(histories)]
    return Fills(small_scenario(4), 5, (*records, made(fills[0], 5, (), invalid="lost")), 6)


def test_the_share_that_has_failed_so_far_adds_up_to_the_risk_of_a_fill(by_hand):
    table = by_hand.failed_so_far()
    assert table["containers left"].tolist() == [4, 3, 2, 1]
    assert table["failures"].tolist() == [1, 2, 3, 3]
    assert table["fills"].tolist() == [5] * 4
    risk, last = by_hand.risk().per_fill, table.iloc[-1]
    assert (last["failures"], last["rate"], last["low"], last["high"]) == (3, risk.rate, risk.low, risk.high)


def test_a_target_per_fill_is_that_of_vends_which_keeps_it():
    per_vend = small_scenario(10, **{"target.failures_per_vend": 0.02})
    per_fill = small_scenario(10, **{"target.failures_per_fill": target_per_fill(per_vend)})
    assert target_per_vend(per_vend) == 0.02
    assert target_per_vend(per_fill) == pytest.approx(0.02)


def test_the_share_that_has_failed_so_far_goes_on_through_a_top_up(by_hand):
    fill = made(by_hand[0], 0, (S, S, S, D), 4)
    again = tuple(replace(vend, topped_up=vend.number > 2, before=(4, 3, 4, 3)[vend.number - 1]) for vend in fill.vends)
    table = replace(by_hand, records=(replace(fill, vends=again),)).failed_so_far()
    assert table[["topped up", "containers left", "failures"]].values.tolist() == [
        [False, 4, 0],
        [False, 3, 0],
        [True, 4, 0],
        [True, 3, 1],
    ]


def test_fills_that_were_looked_at_often_have_intervals_that_allow_it(by_hand):
    often = replace(by_hand, looked_often=True)
    assert often.risk() == by_hand.risk_looking_often() == often.risk_looking_often()
    assert often.risk().per_fill.method.startswith("confidence sequence")
    assert often.summary() != by_hand.summary()
    for kind in (D, X):
        once, wide = by_hand.risk(kind), often.risk(kind)
        assert (wide.per_fill.rate, wide.per_vend.rate) == (once.per_fill.rate, once.per_vend.rate)
        assert wide.per_fill.low <= once.per_fill.low < once.per_fill.high < wide.per_fill.high
        assert wide.per_vend.high > once.per_vend.high
    table = often.hazard(level=0.9)
    assert table["rate"].equals(by_hand.hazard()["rate"])
    for _, row in table.iterrows():
        bounds = confidence_sequence(row["failures"], row["vends"], level=0.9, target=0.01)
        assert (row["low"], row["high"]) == pytest.approx(bounds)
    assert often.failed_so_far()["low"].iloc[-1] == pytest.approx(
        confidence_sequence(3, 6, level=0.95, target=target_per_fill(often.scenario))[0]
    )
