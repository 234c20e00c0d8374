"""Exact intervals against published values and a reference library."""

import math

import pytest
from scipy.stats import beta, binom, binomtest

from colsim.errors import ScenarioError
from colsim.sampling.intervals import clopper_pearson

# Newcombe, Statistics in Medicine 17 (1998) 857, Table I, Clopper-Pearson at 95 % (values from memory, recomputed).
NEWCOMBE = [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (1, 29, 0.0009, 0.1776), (29, 29, 0.8806, 1)]

GRID = [(k, n) for n in (1, 2, 5, 24, 60, 400) for k in sorted({0, 1, n // 3, n // 2, n - 1, n})]


@pytest.mark.parametrize(("failures", "trials", "low", "high"), [*NEWCOMBE, (0, 1000, 0, 0.0037)])
def test_table_of_newcombe(failures, trials, low, high):
    found = clopper_pearson(failures, trials)
    assert found == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.99, 0.9999])
@pytest.mark.parametrize(("failures", "trials"), GRID)
def test_same_as_the_reference_library(failures, trials, level):
    # scipy.stats.beta quantiles, and scipy.stats.binomtest, which inverts the binomial test by root finding.
    low, high = clopper_pearson(failures, trials, level)
    tail = (1 - level) / 2
    assert low == pytest.approx(beta.ppf(tail, failures, trials - failures + 1) if failures else 0, rel=1e-9)
    assert high == pytest.approx(
        beta.ppf(1 - tail, failures + 1, trials - failures) if failures < trials else 1, rel=1e-9
    )
    reference = binomtest(failures, trials).proportion_ci(level, method="exact")
    assert (low, high) == (pytest.approx(reference.low, abs=1e-9), pytest.approx(reference.high, abs=1e-9))


@pytest.mark.parametrize(
    ("trials", "limit"),
    [(30, 0.09503), (100, 0.029513), (300, 0.0099361), (1000, 0.0029912), (3000, 0.00099808)],
)
def test_rule_of_three(trials, limit):
    # Hanley and Lippman-Hand, JAMA 249 (1983) 1743 (from memory): no events in n trials, one-sided 95 % limit
    # 1 - 0.05^(1/n), about 3/n. One-sided 95 % is the upper end of the two-sided interval at 90 %.
    high = clopper_pearson(0, trials, 0.90)[1]
    assert high == pytest.approx(limit, rel=5e-5)
    assert high == pytest.approx(3 / trials, rel=0.06)


def test_two_sided_limit_without_events_is_near_three_point_seven_over_n():
    # ln 40 = 3.689: the two-sided limit must not be mistaken for the rule of three.
    assert clopper_pearson(0, 1000)[1] == pytest.approx(math.log(40) / 1000, rel=0.002)


@pytest.mark.parametrize(("failures", "trials"), GRID)
def test_failures_and_successes_mirror_each_other(failures, trials):
    low, high = clopper_pearson(failures, trials)
    mirrored = clopper_pearson(trials - failures, trials)
    assert (1 - high, 1 - low) == (pytest.approx(mirrored[0], abs=1e-12), pytest.approx(mirrored[1], abs=1e-12))


@pytest.mark.parametrize("probability", [0.001, 0.02, 0.1, 0.37, 0.5, 0.93])
@pytest.mark.parametrize("trials", [10, 60])
def test_covers_at_least_as_often_as_it_says(probability, trials):
    # Exact sum over all counts, by the definition of coverage.
    covered = 0.0
    for k in range(trials + 1):
        low, high = clopper_pearson(k, trials)
        covered += binom.pmf(k, trials, probability) * (low <= probability <= high)
    assert covered >= 0.95


def test_no_trials_tell_nothing():
    assert clopper_pearson(0, 0) == (0, 1)


@pytest.mark.parametrize(
    ("failures", "trials", "level", "named"),
    [(3, 2, 0.95, "failures"), (-1, 2, 0.95, "failures"), (1, 2, 0, "level"), (1, 2, 1, "level"), (1, 2, 95, "level")],
)
def test_counts_and_levels_that_make_no_sense_are_refused(failures, trials, level, named):
    with pytest.raises(ScenarioError, match=f"^{named}: got"):
        clopper_pearson(failures, trials, level)
