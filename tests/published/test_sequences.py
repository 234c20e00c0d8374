"""Sequences, pairs and evidence against exact fractions, a reference library, and direct slow evaluation."""

import math
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import betabinom, binom, binomtest

from colsim.errors import ScenarioError
from colsim.sampling.pairs import Pairs, e_value, mcnemar
from colsim.sampling.sequences import (
    _BETS,
    MOST_FILLS,
    betting_sequence,
    clean_fills_needed,
    confidence_sequence,
    fills_needed,
)

NEARLY_ONE = 1 - 1e-9  # as target: a = b = 1/2, which treats failures and successes alike
COUNTS = [(k, n) for n in (1, 2, 7, 24, 96, 400) for k in sorted({0, 1, n // 5, n // 2, n - 1, n})]


def rising(start, steps):
    """Multiply start (start + 1) ... over so many steps, exactly."""
    return math.prod((start + k for k in range(steps)), start=Fraction(1))


def exact_evidence(failures, trials, b, p):
    """Give the mixture over the likelihood at p, in fractions: B(a+S, b+F) / B(a, b) is a ratio of rising products."""
    a, clean = Fraction(1, 2), trials - failures
    mixture = rising(a, failures) * rising(b, clean) / rising(a + b, trials)
    return mixture / (Fraction(p) ** failures * (1 - Fraction(p)) ** clean)


@pytest.mark.parametrize(("target", "b", "needed"), [(1 / 99, Fraction(99, 2), 334), (NEARLY_ONE, Fraction(1, 2), 558)])
def test_clean_fills_that_bring_the_bound_to_twelve_in_a_thousand(target, b, needed):
    # 334 and 558 at 95 % were found by an earlier trial with other code; here the evidence against 0.012 in fractions.
    p = Fraction(12, 1000)
    assert exact_evidence(0, needed - 1, b, p) < 20 <= exact_evidence(0, needed, b, p)
    highs = [confidence_sequence(0, n, level=0.95, target=target)[1] for n in (needed - 1, needed)]
    assert highs[1] <= 0.012 < highs[0]


def test_clean_fills_needed_for_the_target_itself():
    # With b = 1/(2 x 0.012) = 125/3, whose zero-failure run takes 341, in fractions.
    p, b = Fraction(12, 1000), Fraction(125, 3)
    assert exact_evidence(0, 340, b, p) < 20 <= exact_evidence(0, 341, b, p)
    assert clean_fills_needed(level=0.95, target=0.012) == 341


@pytest.mark.parametrize(("failures", "trials"), [(0, 5), (1, 5), (5, 5), (2, 40), (7, 90), (30, 120)])
def test_bounds_are_where_the_evidence_in_fractions_reaches_its_limit(failures, trials):
    low, high = confidence_sequence(failures, trials, level=0.95, target=1 / 99)
    for bound, inward in ((low, 1e-8), (high, -1e-8)):
        if 0 < bound < 1:
            outside, inside = (
                exact_evidence(failures, trials, Fraction(99, 2), bound + by) for by in (-inward, inward)
            )
            assert inside < 20 <= outside
    assert (low > 0, high < 1) == (failures > 0, failures < trials)


@pytest.mark.parametrize("target", [0.004, 0.04, 0.4])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
def test_bounds_are_those_of_the_reference_library(level, target):
    for failures, trials in COUNTS:
        mixture = betabinom.logpmf(failures, trials, 0.5, 0.5 / target)
        for bound, whole in zip(confidence_sequence(failures, trials, level=level, target=target), (0, 1), strict=True):
            if bound != whole:
                found = mixture - binom.logpmf(failures, trials, bound)
                slope = abs(failures / bound - (trials - failures) / (1 - bound))
                tolerance = 1e-9 + 2e-12 * slope  # rounding, and a root found to 1e-12
                assert found == pytest.approx(-math.log(1 - level), abs=tolerance)


@pytest.mark.parametrize("target", [0.01, 0.3])
def test_bounds_hold_the_ratio_rise_with_failures_and_widen_with_the_level(target):
    for trials in (1, 6, 50):
        found = [confidence_sequence(k, trials, level=0.9, target=target) for k in range(trials + 1)]
        wider = [confidence_sequence(k, trials, level=0.99, target=target) for k in range(trials + 1)]
        assert all(low <= k / trials <= high for k, (low, high) in enumerate(found))
        for (low, high), (low_next, high_next) in pairwise(found):
            assert (low < low_next, high < high_next or high == 1) == (True, True)
        assert all(w[0] <= f[0] and f[1] <= w[1] and w != f for w, f in zip(wider, found, strict=True))


def test_with_equal_parameters_failures_and_successes_mirror_each_other():
    for failures, trials in COUNTS:
        low, high = confidence_sequence(failures, trials, level=0.95, target=NEARLY_ONE)
        mirrored = confidence_sequence(trials - failures, trials, level=0.95, target=NEARLY_ONE)
        assert (1 - high, 1 - low) == pytest.approx(mirrored, abs=1e-7)


def test_limits_of_the_sequence():
    assert confidence_sequence(0, 0, level=0.95, target=0.01) == (0, 1)
    widths = []
    for trials in (10**3, 10**5, 10**7):
        low, high = confidence_sequence(trials // 50, trials, level=0.95, target=0.01)
        assert low < 0.02 < high
        widths.append(high - low)
    # Half the width squared is 2 p (1 - p) L / n with L = ln 20 + ln(c n) / 2: for a hundred times as many fills it
    # shrinks by ten but for the root of L's growth, at most (3.0 + 2.3) / 3.0.
    assert all(10 / math.sqrt(5.3 / 3.0) < wide / narrow < 10 for wide, narrow in pairwise(widths))


def evidence(counts, vends, most, most_vends, ratio):
    """Give both halves of the bets' mean gain against a ratio, one bet and one fill after the other."""
    large = small = 0.0
    for bet in _BETS:
        grown = shrunk = 1.0
        for x, v in zip(counts, vends, strict=True):
            z = x - ratio * v
            grown *= 1 + bet * z / (ratio * most_vends)
            shrunk *= 1 - bet * z / (most - ratio)
        small, large = small + grown, large + shrunk
    return small / (2 * len(_BETS)), large / (2 * len(_BETS))


LEDGERS = {
    "one failure": ([0, 0, 1, 0, 0, 0], [4, 4, 2, 4, 4, 4], 1, 4),
    "failed at once": ([1] * 7, [1] * 7, 1, 12),
    "clean": ([0] * 40, [12] * 40, 1, 12),
    "many a fill": ([0, 3, 0, 5, 1, 0, 0, 2], [6, 6, 5, 6, 6, 3, 6, 6], 6, 6),
    "at most two": ([2, 0, 2, 1, 2, 2, 2, 2, 2], [1, 3, 1, 2, 1, 1, 1, 1, 1], 2, 3),
}


@pytest.mark.parametrize("ledger", LEDGERS)
@pytest.mark.parametrize("level", [0.6, 0.95])
def test_what_the_betting_sequence_keeps_is_what_slow_evaluation_on_a_fine_grid_keeps(ledger, level):
    counts, vends, most, most_vends = LEDGERS[ledger]
    low, high = betting_sequence(counts, vends, most=most, most_vends=most_vends, level=level)
    assert 0 <= low <= sum(counts) / sum(vends) <= high <= most
    grid = np.concatenate([np.geomspace(1e-6, 1e-2, 60), np.linspace(0.01, most - 1e-3, 240)])
    near = [bound + by * 1e-7 for bound in (low, high) if 0 < bound < most for by in (-1, 1)]
    for ratio in [*grid.tolist(), *near]:
        kept = all(half < 1 / (1 - level) for half in evidence(counts, vends, most, most_vends, ratio))
        assert kept == (low <= ratio <= high), ratio


def test_the_bets_are_spread_evenly_in_logarithm_up_to_nearly_all():
    assert len(_BETS) == 24
    assert _BETS[-1] == pytest.approx(0.95)
    assert np.ptp(np.diff(np.log(_BETS))) < 1e-12


def test_the_betting_sequence_does_not_depend_on_order_and_knows_nothing_without_fills():
    counts, vends, most, most_vends = LEDGERS["many a fill"]
    found = betting_sequence(counts, vends, most=most, most_vends=most_vends, level=0.9)
    turned = betting_sequence(counts[::-1], vends[::-1], most=most, most_vends=most_vends, level=0.9)
    assert turned == pytest.approx(found, rel=1e-9)
    assert betting_sequence([], [], most=3, most_vends=6, level=0.9) == (0, 3)
    assert betting_sequence([0, 0], [6, 6], most=3, most_vends=6, level=0.9)[0] == 0


PAIRS = [(m, n) for m in range(9) for n in range(9)]


def test_mcnemar_is_the_two_sided_sign_test():
    for first, second in [*PAIRS, (3, 40), (100, 130)]:
        expected = binomtest(first, first + second, 0.5).pvalue if first + second else 1.0
        assert mcnemar(first, second) == pytest.approx(expected, rel=1e-9)
    assert mcnemar(1, 9) == pytest.approx(22 / 1024, rel=1e-12)  # by hand: 2 (1 + 10) / 2^10


def test_evidence_for_a_difference_in_fractions():
    half = Fraction(1, 2)
    for first, second in [*PAIRS, (30, 41), (0, 60)]:
        n = first + second
        exact = rising(half, first) * rising(half, second) / rising(Fraction(1), n) * 2**n
        assert e_value(first, second) == pytest.approx(float(exact), rel=1e-9)
        assert e_value(first, second) == pytest.approx(e_value(second, first), rel=1e-12)
        # Each kind is as likely as the other if they fail equally often: what is expected next is what there is now.
        fair = (e_value(first + 1, second) + e_value(first, second + 1)) / 2
        assert fair == pytest.approx(e_value(first, second), rel=1e-9)
    assert Pairs(50, 2, 9).e_value == e_value(2, 9)
    assert Pairs(50, 2, 9).p_value == mcnemar(2, 9)
    assert math.isfinite(e_value(0, 10**6))


@pytest.mark.parametrize("target", [0.002, 0.012, 0.2])
@pytest.mark.parametrize("level", [0.9, 0.99])
def test_clean_fills_needed_is_the_least_number(level, target):
    needed = clean_fills_needed(level=level, target=target)
    highs = [confidence_sequence(0, n, level=level, target=target)[1] for n in (needed - 1, needed)]
    assert highs[1] <= target < highs[0]
    assert fills_needed(0.0, level=level, target=target) == needed


@pytest.mark.parametrize("rate", [0.0, 0.001, 0.008, 0.03, 0.2, 1.0])
def test_fills_needed_settle_it_and_grow_towards_the_target(rate):
    target, level = 0.012, 0.95
    needed = fills_needed(rate, level=level, target=target)
    low, high = confidence_sequence(round(rate * needed), needed, level=level, target=target)
    assert (low > target) if rate > target else (high <= target)
    nearer = fills_needed((rate + target) / 2, level=level, target=target)
    assert nearer > needed


def test_at_the_target_no_number_is_named():
    assert fills_needed(0.012, level=0.95, target=0.012) is None
    low, high = confidence_sequence(round(0.012 * MOST_FILLS), MOST_FILLS, level=0.95, target=0.012)
    assert low < 0.012 < high


@pytest.mark.parametrize(
    ("arguments", "named"),
    [((3, 2, 0.95, 0.1), "failures"), ((-1, 2, 0.95, 0.1), "failures"), ((1, 2, 1, 0.1), "level")]
    + [((1, 2, 0.9, target), "target") for target in (0, 1, -0.1, 1.5)],
)
def test_sequences_of_what_makes_no_sense_are_refused(arguments, named):
    failures, trials, level, target = arguments
    with pytest.raises(ScenarioError, match=f"^{named}: got"):
        confidence_sequence(failures, trials, level=level, target=target)


@pytest.mark.parametrize(("counts", "vends"), [([2], [3]), ([-1], [3]), ([0], [0]), ([0], [5]), ([0, 1], [3])])
def test_bets_on_what_makes_no_sense_are_refused(counts, vends):
    with pytest.raises(ScenarioError, match="counts, vends: allowed: 0 to 1 counted over 1 to 4 vends"):
        betting_sequence(counts, vends, most=1, most_vends=4, level=0.95)


def test_negative_pairs_are_refused():
    for test in (mcnemar, e_value):
        with pytest.raises(ScenarioError, match="pairs: got -1 and 2"):
            test(-1, 2)
