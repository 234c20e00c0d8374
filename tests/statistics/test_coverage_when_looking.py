"""Intervals cover at every look of the schedule at once, whatever fills have in common, end early or are lost."""

from collections import Counter
from functools import cache

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import binom
from tests_shared import made, measured, small_scenario

from colsim import Fills, simulate_fill
from colsim.sampling import Outcome
from colsim.sampling.intervals import clopper_pearson
from colsim.sampling.looks import look_schedule

VENDS, FILLS, REPEATS = 12, 48, 150
LOOKS = list(look_schedule(FILLS))
SCENARIO = measured(small_scenario(VENDS))
CHECKS = ("a fill", "a fill, looking", "a vend", "a vend, looking", "share of vends, looking")
# Each repeat covers with a chance of 0.95 or more, on its own, so that of 150 fewer than this cover with a chance of
# 1e-4 at most, shared among the checks of one law: binom.ppf(a) is the least k with P(X <= k) >= a.
LEAST = int(binom.ppf(1e-4 / len(CHECKS), REPEATS, 0.95))


def friction(spread, median=0.02):
    """Let each fill's own friction set how readily its vends come late, which ends nothing; none stalls."""

    def chances(z):
        return expit(logit(median) + spread * z), np.zeros_like(z)

    return chances


def early_end(z):
    """Let one fill in six stall soon, after late vends or none, and the rest hardly ever fail."""
    bad = z > 0.97  # a sixth of normal numbers
    return np.where(bad, 0.2, 0.01), np.where(bad, 0.5, 0.001)


def lost_at_random(rng, failed):
    return rng.random(len(failed)) < 0.05


def lost_if_failed(rng, failed):
    return failed & (rng.random(len(failed)) < 0.05 / max(failed.mean(), 0.05))


def lost_if_clean(rng, failed):
    return ~failed & (rng.random(len(failed)) < 0.05 / max(1 - failed.mean(), 0.05))


LAWS = {
    "friction, sd 1.5": (friction(1.5), None),
    "friction, sd 2.5": (friction(2.5), None),
    "failed fills end early": (early_end, None),
    "5 % lost at random": (friction(1.5), lost_at_random),
    "5 % lost, all failed ones": (friction(1.5), lost_if_failed),
    "5 % lost, all clean ones": (early_end, lost_if_clean),
}


def truths(chances):
    """Integrate over fills what is true of a fill, of a vend up to the first failure, and of all vends."""
    z, weight = np.linspace(-8, 8, 160_001), np.exp(-0.5 * np.linspace(-8, 8, 160_001) ** 2)
    late, stall = chances(z)
    mean = lambda values: np.average(values, weights=weight)  # noqa: E731
    some = late + stall
    fails = 1 - (1 - some) ** VENDS
    vends = sum((1 - stall) ** k for k in range(VENDS))  # as many as go before the stall
    return mean(fails), mean(fails) / mean(fails / some), mean(some * vends) / mean(vends)


@pytest.fixture(scope="module")
def fill_of():
    plain = simulate_fill(measured(small_scenario(1)), seed=0)
    letters = {"s": Outcome.SINGLE, "l": Outcome.LATE, "x": Outcome.STALL}
    return cache(lambda word, lost: made(plain, 0, [letters[c] for c in word], VENDS, "lost" if lost else ""))


def words(rng, chances):
    """Draw the outcomes of the vends of each fill, a letter a vend, up to a stall."""
    late, stall = (values[:, None] for values in chances(rng.standard_normal(FILLS)))
    u = rng.random((FILLS, VENDS))
    letters = np.where(u < stall, "x", np.where(u < stall + late, "l", "s"))
    return [word[: word.index("x") + 1] if "x" in word else word for word in map("".join, letters)]


def covering(law, fill_of):
    """Count the repeats in which each interval holds what is true, where it is for looking at every look."""
    chances, lose = LAWS[law]
    of_fills, of_vends, share = truths(chances)
    rng, covered = np.random.default_rng(21), Counter()
    for _ in range(REPEATS):
        drawn = words(rng, chances)
        lost = lose(rng, np.array([set(word) != {"s"} for word in drawn])) if lose else [False] * FILLS
        fills = tuple(map(fill_of, drawn, lost))
        looks = [Fills(SCENARIO, 0, fills[:n], n) for n in LOOKS]
        once, often = looks[-1].risk(), [each.risk_looking_often() for each in looks]
        outcome = "failure" if chances is early_end else Outcome.LATE
        shares = [each.share_of_vends(outcome) for each in looks]
        covered["a fill"] += holds(of_fills, once.per_fill)
        covered["a vend"] += holds(of_vends, once.per_vend)
        covered["a fill, looking"] += holds(of_fills, *(risk.per_fill for risk in often))
        covered["a vend, looking"] += holds(of_vends, *(risk.per_vend for risk in often))
        covered["share of vends, looking"] += holds(share, *shares)
        low, high = clopper_pearson(shares[-1].failures, shares[-1].vends)
        covered["pooled vends"] += low <= share <= high
    return covered


def holds(truth, *estimates):
    return all(estimate.low <= truth <= estimate.high for estimate in estimates)


@pytest.fixture(scope="module")
def found(fill_of):
    return cache(lambda law: covering(law, fill_of))


@pytest.mark.parametrize("law", LAWS)
def test_every_interval_covers(law, found):
    assert {check: n for check, n in found(law).items() if check in CHECKS and n < LEAST} == {}
    assert set(CHECKS) < set(found(law))


@pytest.mark.parametrize("law", ["friction, sd 1.5", "friction, sd 2.5"])
def test_a_binomial_over_pooled_vends_would_not_pass(law, found):
    # The same fills, looked at once: late vends end no fill, so that a bad fill shows many.
    assert found(law)["pooled vends"] < LEAST


@pytest.mark.parametrize("law", ["friction, sd 1.5", "failed fills end early"])
def test_what_is_true_is_what_a_long_run_shows(law):
    # Second witness of the integrals; ratios of means over fills, with standard errors by the delta method.
    chances, _ = LAWS[law]
    rng, drawn = np.random.default_rng(8), []
    for _ in range(400):
        drawn += words(rng, chances)
    firsts = [next((k for k, c in enumerate(word, 1) if c != "s"), None) for word in drawn]
    failed = np.array([first is not None for first in firsts], float)
    to_failure = np.array([first or len(word) for first, word in zip(firsts, drawn, strict=True)])
    wrong = np.array([len(word) - word.count("s") for word in drawn])
    vends = np.array([len(word) for word in drawn])
    pairs = [(failed, np.ones_like(failed)), (failed, to_failure), (wrong, vends)]
    for (x, v), truth in zip(pairs, truths(chances), strict=True):
        ratio = x.sum() / v.sum()
        error = np.std(x - ratio * v) / v.mean() / np.sqrt(len(x))
        assert abs(ratio - truth) < 4.5 * error  # normal: 7e-6
