"""Our engine against an independent general-purpose one where outcomes are clear; how two engines are compared."""

import importlib

import numpy as np
import pytest
from tests_shared import ROOT

from colsim.physics.engines import Settings
from colsim.sampling import Outcome, simulate_fill


@pytest.fixture(scope="module")
def benchmark():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(ROOT / "benchmarks"))
        yield importlib.import_module


@pytest.fixture(scope="module")
def paired(benchmark):
    return benchmark("paired")


ARCHED_OVER_AN_EDGE = {
    "column.wall_friction": 0.3,
    "column.liners": [{"top": 250, "friction": 0.3, "lifted_edge": 8.5}],
    "container.friction": 0.4,
    "loading.count": 9,
}
CLEAR = [
    ("rotor_scenario", (66, 3), {"rotor.spacer_thickness": 6}, None),
    ("rotor_scenario", (73, 3), {"rotor.spacer_thickness": 12, "rotor.torque_limit": 4}, Outcome.STALL),
    ("wide_scenario", (0.1, 3), {}, None),
    ("wide_scenario", (0.25, 7), {}, Outcome.BRIDGE),
    ("lifted_scenario", (1.0, 0.2), {"loading.count": 3}, None),
    ("lifted_scenario", (1.0, 0.2), ARCHED_OVER_AN_EDGE, Outcome.BRIDGE),
]


@pytest.mark.parametrize(("make", "of", "changes", "expected"), CLEAR)
def test_both_say_the_same_away_from_the_border(benchmark, make, of, changes, expected):
    scenario, witness = getattr(benchmark("common"), make)(*of).changed(**changes), benchmark("mujoco_engine")
    for engine, settings in (("compiled", Settings()), (witness.MujocoEngine, witness.SETTINGS)):
        fill = simulate_fill(scenario, seed=3, engine=engine, settings=settings)
        assert not fill.invalid
        assert (fill.failure.outcome if fill.failure else None) is expected, engine


def test_the_interval_of_a_paired_difference(paired):
    # Tango, Statistics in Medicine 17 (1998) 891: at no difference its score is McNemar's, (b - c)^2 / (b + c).
    for only_first, only_second in ((15, 5), (14, 6), (9, 1), (8, 2)):
        low, high = paired.difference_interval(100, only_first, only_second, 0.95)
        assert (low > 0) == ((only_first - only_second) ** 2 / (only_first + only_second) > 1.959964**2)
        assert low < (only_first - only_second) / 100 < high
        swapped = paired.difference_interval(100, only_second, only_first, 0.95)
        assert swapped == pytest.approx((-high, -low), abs=1e-9)
    # Without any discordant pair the score gives +-z2 / (n + z2).
    z2 = 1.959964**2
    assert paired.difference_interval(100, 0, 0, 0.95) == pytest.approx((-z2 / (100 + z2), z2 / (100 + z2)), 1e-4)


def test_the_interval_holds_the_true_difference_as_often_as_it_says(paired):
    # 400 tables of 300 pairs with shares of 4 and 2 %: of 95 % at least 92 % come with a chance of 99.6 %.
    rng = np.random.default_rng(8)
    tables = rng.multinomial(300, [0.04, 0.02, 0.94], size=400).tolist()
    within = 0
    for only_first, only_second, _ in tables:
        low, high = paired.difference_interval(300, only_first, only_second, 0.95)
        within += low <= 0.02 <= high
    assert within >= 368


def test_agreement_means_that_the_whole_interval_is_narrow(paired):
    same = [(True, True)] * 100 + [(False, False)] * 400
    assert paired.compare(same, 4, 0.05).agree
    assert not paired.compare(same[:60], 4, 0.05).agree  # too few to show it
    assert not paired.compare(same[:-40] + [(True, False)] * 40, 4, 0.05).agree
    assert [paired.compare(same[:-n] + [(True, False)] * n, 4, 0.05).differ for n in (10, 30, 60)] == [
        False,
        False,
        True,
    ]
