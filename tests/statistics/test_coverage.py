"""The interval per vend covers where failures cluster by fill, and a binomial over pooled vends does not."""

import numpy as np
import pytest
from scipy.special import expit
from scipy.stats import binom
from tests_shared import made, small_scenario

from colsim import Fills, simulate_fill
from colsim.sampling import Outcome
from colsim.sampling.intervals import clopper_pearson, per_fill, per_vend

VENDS = 12
FILLS = 100
REPEATS = 400
FALSE_ALARM = 1e-4


def least(checks=1):
    """Give the covering repeats that a correct interval stays below with the chance of a false alarm, at most.

    Each repeat covers with a chance c of 0.95 or more, on its own, so the covering repeats X are binomial(400, c),
    which falls below a number least readily at the greatest c. ppf(a) is the least k with P(X <= k) >= a, hence
    P(X < k) < a. Several checks share a by the union bound.
    """
    return int(binom.ppf(FALSE_ALARM / checks, REPEATS, 0.95))


# What covers with a chance of 0.85 or more reaches this except for one case in ten thousand: clearly less than 0.95.
CLEARLY_LESS = int(binom.ppf(FALSE_ALARM, REPEATS, 0.85))


def chances(rng, spread, mean, size):
    """Draw a chance of failure a fill, the same for all its vends: what clusters failures."""
    return expit(np.log(mean / (1 - mean)) + spread * rng.standard_normal(size))


def over_fills(spread, mean):
    """Give nodes and weights of the quadrature over the fills' chances."""
    node, weight = np.polynomial.hermite_e.hermegauss(80)
    return expit(np.log(mean / (1 - mean)) + spread * node), weight / weight.sum()


def true_rate(spread, mean):
    """Give failures over vends where each fill ends at its first failure."""
    p, weight = over_fills(spread, mean)
    q = 1 - (1 - p) ** VENDS  # a fill fails; its vends: sum over v < n of the chance to get past v
    return np.sum(weight * q) / np.sum(weight * q / p)


def geometric(spread, mean=0.02):
    """Draw the vend of each fill's first failure, beyond the last if it is clean."""
    return lambda rng: rng.geometric(chances(rng, spread, mean, FILLS)), true_rate(spread, mean)


def all_at(vend, share):
    """Have a share of the fills fail, all at one vend: R = q / E[vends] by hand."""
    return (
        lambda rng: np.where(rng.random(FILLS) < share, vend, VENDS + 1),
        share / (share * vend + (1 - share) * VENDS),
    )


def bad_fills(share, bad, good):
    """Mix fills of two kinds, as a torn liner does: a few fail at nearly every vend, the rest hardly ever."""
    p, weight = np.array([bad, good]), np.array([share, 1 - share])
    q = 1 - (1 - p) ** VENDS
    truth = np.sum(weight * q) / np.sum(weight * q / p)
    return lambda rng: rng.geometric(np.where(rng.random(FILLS) < share, bad, good)), truth


LAWS = {
    "no clusters": geometric(0.0),
    "clusters, sd 1.5": geometric(1.5),
    "clusters, sd 2.5": geometric(2.5),
    "a few bad fills": bad_fills(0.1, 0.9, 0.001),
    # The ends of the bound that per_vend derives: here R lies on one of them, and the interval has nothing to spare.
    "all at the first vend": all_at(1, 0.3),
    "all at the last vend": all_at(VENDS, 0.3),
}


@pytest.fixture(scope="module")
def fill_that_fails_at():
    """Give a fill by the vend of its first failure; beyond the last, a clean one."""
    plain = simulate_fill(small_scenario(1), seed=0)
    fills = {
        vend: made(plain, 0, [Outcome.SINGLE] * (vend - 1) + [Outcome.STALL] * (vend <= VENDS), VENDS)
        for vend in range(1, VENDS + 2)
    }
    return lambda vend: fills[min(int(vend), VENDS + 1)]


@pytest.fixture(scope="module")
def many(fill_that_fails_at):
    scenario = small_scenario(VENDS)
    return lambda firsts: Fills(scenario, 0, tuple(map(fill_that_fails_at, firsts)), len(firsts))


@pytest.mark.parametrize("law", LAWS)
def test_the_interval_per_vend_covers(law, many):
    draw, truth = LAWS[law]
    rng = np.random.default_rng(12)
    found = [many(draw(rng)).risk().per_vend for _ in range(REPEATS)]
    assert sum(estimate.low <= truth <= estimate.high for estimate in found) >= least()


@pytest.mark.parametrize("law", LAWS)
def test_the_true_rates_are_those_of_a_long_run(law):
    # Second witness of the integrals: the ratio of two means, and its standard error by the delta method.
    draw, truth = LAWS[law]
    rng = np.random.default_rng(5)
    first = np.concatenate([draw(rng) for _ in range(4000)])
    failed, vends = first <= VENDS, np.minimum(first, VENDS)
    rate = failed.sum() / vends.sum()
    error = np.std(failed - rate * vends) / vends.mean() / np.sqrt(len(first))
    assert abs(rate - truth) < 4.5 * error  # normal: 7e-6


@pytest.mark.parametrize(("spread", "limit"), [(1.5, least()), (2.5, CLEARLY_LESS)])
def test_a_binomial_over_pooled_vends_is_too_sure_of_itself(spread, limit):
    # The contrast that gives the test above its point: doubles do not end a fill, so a bad fill shows many.
    assert pooled_coverage(spread) < limit


def test_a_binomial_over_pooled_vends_covers_only_without_clusters():
    assert pooled_coverage(0.0) >= least()


def pooled_coverage(spread, mean=0.02):
    rng = np.random.default_rng(12)
    p, weight = over_fills(spread, mean)
    truth = np.sum(weight * p)
    covered = 0
    for _ in range(REPEATS):
        doubles = rng.binomial(VENDS, chances(rng, spread, mean, FILLS)).sum()
        low, high = clopper_pearson(int(doubles), VENDS * FILLS)
        covered += low <= truth <= high
    return covered


def test_the_hazard_of_each_level_covers_where_fills_cluster(many):
    # What is left after k - 1 good vends are the better fills: h_k = E[(1-p)^(k-1) p] / E[(1-p)^(k-1)].
    spread, mean = 1.5, 0.05
    p, weight = over_fills(spread, mean)
    past = (1 - p) ** np.arange(VENDS)[:, None]
    truth = np.sum(weight * past * p, axis=1) / np.sum(weight * past, axis=1)
    assert truth[0] > 1.5 * truth[-1]  # or the levels would not need telling apart

    rng, covered = np.random.default_rng(12), np.zeros(VENDS, int)
    for _ in range(REPEATS):
        table = many(rng.geometric(chances(rng, spread, mean, FILLS))).hazard()
        assert table["containers left"].tolist() == list(range(VENDS, 0, -1))
        covered += (table["low"].to_numpy() <= truth) & (truth <= table["high"].to_numpy())
    assert covered.min() >= least(checks=VENDS)


@pytest.mark.parametrize("lost", ["failed", "clean"])
def test_the_interval_covers_whatever_the_invalid_fills_would_have_been(lost):
    # Half of the fills fail; then half of either kind are lost. Left out, they would shift the share to 1/3 or 2/3.
    rng, share = np.random.default_rng(12), 0.5
    covered = without = 0
    for _ in range(REPEATS):
        failed = rng.random(FILLS) < share
        invalid = (failed if lost == "failed" else ~failed) & (rng.random(FILLS) < 0.5)
        counted = int(np.sum(failed & ~invalid)), FILLS, int(invalid.sum())
        estimate = per_fill("failure", *counted, vends=FILLS, level=0.95)
        low, high = clopper_pearson(counted[0], FILLS - counted[2])
        covered += estimate.low <= share <= estimate.high
        without += low <= share <= high
    assert covered >= least()
    assert without < CLEARLY_LESS


@pytest.mark.parametrize(("failures", "invalid"), [(0, 1), (3, 1), (3, 10), (40, 10), (90, 10)])
def test_invalid_fills_widen_both_bounds(failures, invalid):
    fills = {n: per_fill("failure", failures, 100, n, vends=900, level=0.95) for n in (0, invalid)}
    dropped = clopper_pearson(failures, 100 - invalid)
    assert fills[invalid].low == fills[0].low <= dropped[0]
    assert fills[invalid].high > fills[0].high
    assert fills[invalid].high >= dropped[1]
    assert per_vend(fills[invalid], VENDS).high > per_vend(fills[0], VENDS).high or fills[0].high == 1


def test_the_risk_per_vend_of_one_outcome_holds_where_another_ends_most_fills(fill_that_fails_at):
    # One fill in ten comes double at once, nine stall at once: one vend a fill, and R of a double is exactly 1/10.
    # The bound q / (n - (n - 1) q) takes a fill without a double for one of n vends, which a stalled one is not.
    stall = fill_that_fails_at(1)
    double = made(stall, 0, [Outcome.DOUBLE], VENDS)
    fills = Fills(small_scenario(VENDS), 0, (double,) * 10 + (stall,) * 90, 100)
    estimate = fills.risk(Outcome.DOUBLE).per_vend
    assert estimate.rate == 1 / 10
    assert estimate.low <= 1 / 10 <= estimate.high


@pytest.mark.parametrize("trials", [1, 5, 17, 40, 100])
@pytest.mark.parametrize("level", [0.8, 0.95, 0.99])
def test_clopper_pearson_covers_at_every_probability_by_enumeration(trials, level):
    counts = np.arange(trials + 1)
    low, high = np.array([clopper_pearson(x, trials, level) for x in range(trials + 1)]).T
    # Coverage drops at the ends of the intervals, so it is looked at on both sides of each.
    ends = np.concatenate([low, high])
    p = np.clip(np.concatenate([np.linspace(0.001, 0.999, 333), ends - 1e-9, ends + 1e-9]), 0, 1)[:, None]
    inside = (low <= p) & (p <= high)
    covered = np.sum(inside * binom.pmf(counts, trials, p), axis=1)
    assert covered.min() >= level - 1e-9
    assert covered.min() < level + (1 - level) / 2 + 0.01  # each tail is used up somewhere, so it is not too wide


def test_the_bound_holds_for_the_extreme_fills_it_is_derived_from(many):
    # Failures all at the first vend, or all at the last: R = q/(n - (n-1) q) and R = q/n, both ends reached.
    q, fills = 0.5, 1000
    for vend, side in ((1, "high"), (VENDS, "low")):
        found = many(np.where(np.arange(fills) < q * fills, vend, VENDS + 1)).risk().per_vend
        expected = q / (VENDS - (VENDS - 1) * q) if side == "high" else q / VENDS
        assert found.rate == pytest.approx(expected)
        assert found.low <= found.rate <= found.high
