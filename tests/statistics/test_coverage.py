"""The interval per vend covers where failures cluster by fill, and a binomial over pooled vends does not."""

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import binom

from colsim.sampling.intervals import clopper_pearson, per_fill, per_vend

VENDS = 12
FILLS = 100
REPEATS = 400
# With a true coverage of 0.95 the number of covering repeats is at least binomial(400, 0.95), whose 1e-4 quantile is
# the least that may be seen; a correct interval falls below once in ten thousand runs, and the seed is fixed.
LEAST = int(binom.ppf(1e-4, REPEATS, 0.95))


def chances(rng, spread, mean, size):
    """Draw a chance of failure a fill, the same for all its vends: what clusters failures."""
    return expit(np.log(mean / (1 - mean)) + spread * rng.standard_normal(size))


def true_rate(spread, mean):
    """Give failures over vends where each fill ends at its first failure, by quadrature over the fills' chances."""
    node, weight = np.polynomial.hermite_e.hermegauss(80)
    p = expit(np.log(mean / (1 - mean)) + spread * node)
    q = 1 - (1 - p) ** VENDS  # a fill fails; its vends: sum over v < n of the chance to get past v
    return np.sum(weight * q) / np.sum(weight * q / p)


def interval(first_failure):
    """Give the interval from each fill's vend of first failure (beyond the last if clean)."""
    failures = int(np.sum(first_failure <= VENDS))
    vends = int(np.minimum(first_failure, VENDS).sum())
    return per_vend(per_fill("failure", failures, len(first_failure), 0, vends=vends, level=0.95), VENDS)


@pytest.mark.parametrize("spread", [0.0, 1.5, 2.5])
def test_the_interval_per_vend_covers(spread):
    rng, mean = np.random.default_rng(12), 0.02
    truth = true_rate(spread, mean)
    covered = 0
    for _ in range(REPEATS):
        found = interval(rng.geometric(chances(rng, spread, mean, FILLS)))
        covered += found.low <= truth <= found.high
    assert covered >= LEAST


def test_a_binomial_over_pooled_vends_is_too_sure_of_itself():
    # The contrast that gives the test above its point: doubles do not end a fill, so a bad fill shows many.
    rng, mean, spread = np.random.default_rng(12), 0.02, 2.5
    node, weight = np.polynomial.hermite_e.hermegauss(80)
    truth = np.sum(weight * expit(np.log(mean / (1 - mean)) + spread * node)) / weight.sum()
    covered = 0
    for _ in range(REPEATS):
        doubles = rng.binomial(VENDS, chances(rng, spread, mean, FILLS)).sum()
        low, high = clopper_pearson(int(doubles), VENDS * FILLS)
        covered += low <= truth <= high
    assert covered < LEAST


@pytest.mark.parametrize("trials", [1, 5, 17, 40])
def test_clopper_pearson_covers_at_every_probability_by_enumeration(trials):
    bounds = np.array([clopper_pearson(x, trials) for x in range(trials + 1)])
    for p in np.linspace(0.001, 0.999, 333):
        inside = (bounds[:, 0] <= p) & (p <= bounds[:, 1])
        assert binom.pmf(np.arange(trials + 1)[inside], trials, p).sum() >= 0.95


def test_the_bound_holds_for_the_extreme_fills_it_is_derived_from():
    # Failures all at the first vend, or all at the last: R = q/(n - (n-1) q) and R = q/n, both ends reached.
    q, fills = 0.5, 1000
    for vend, side in ((1, "high"), (VENDS, "low")):
        first = np.where(np.arange(fills) < q * fills, vend, VENDS + 1)
        rate = np.sum(first <= VENDS) / np.minimum(first, VENDS).sum()
        expected = q / (VENDS - (VENDS - 1) * q) if side == "high" else q / VENDS
        assert rate == pytest.approx(expected)
        found = interval(first)
        assert found.low <= rate <= found.high
