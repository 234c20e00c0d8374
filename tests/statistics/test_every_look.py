"""What holds at every look, by adding up the chances of all ways that counts can go: no chance is left in these."""

from collections import defaultdict

import numpy as np
import pytest

from colsim.sampling.intervals import clopper_pearson
from colsim.sampling.pairs import e_value
from colsim.sampling.sequences import betting_sequence, confidence_sequence


def ever_left_out(p, trials, interval):
    """Give the chance that after some number of trials, up to so many, p lies outside the interval.

    Both bounds rise with the failures and fall with the trials, so those that keep p are a range that only moves up.
    """
    chance, out = np.zeros(trials + 2), 0.0
    chance[0] = 1.0
    least, most = 0, 0
    for n in range(1, trials + 1):
        chance[1:] = chance[1:] * (1 - p) + chance[:-1] * p
        chance[0] *= 1 - p
        while least <= n and interval(least, n)[1] < p:
            least += 1
        while most < n and interval(most + 1, n)[0] <= p:
            most += 1
        out += chance[:least].sum() + chance[most + 1 :].sum()
        chance[:least] = chance[most + 1 :] = 0.0
    return out


@pytest.mark.parametrize("target", [0.01, 0.04, 0.3])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_the_confidence_sequence_holds_at_every_number_of_trials(target, level):
    def interval(failures, trials):
        return confidence_sequence(failures, trials, level=level, target=target)

    found = [ever_left_out(p, 400, interval) for p in (0.002, target, 0.1, 0.5, 0.97)]
    assert max(found) <= 1 - level
    assert max(found) > (1 - level) / 5  # or it would be wider than need be


@pytest.mark.parametrize("p", [0.05, 0.3])
def test_an_exact_interval_for_one_look_does_not_hold_at_every_look(p):
    # What the sequence is for: in 400 looks it leaves p out more than three times as often as the 5 % it allows.
    assert ever_left_out(p, 400, clopper_pearson) > 0.15
    assert ever_left_out(p, 400, lambda k, n: confidence_sequence(k, n, level=0.95, target=p)) <= 0.05


@pytest.mark.parametrize("alpha", [0.3, 0.05])
def test_evidence_for_a_difference_is_seldom_reached_by_chance_at_any_look(alpha):
    def reached(pairs):
        """Give the chance that designs which fail equally often ever give evidence of 1/alpha."""
        chance, out, less = np.zeros(pairs + 2), 0.0, -1
        chance[0] = 1.0
        for n in range(1, pairs + 1):
            chance[1:] = (chance[1:] + chance[:-1]) / 2
            chance[0] /= 2
            while 2 * (less + 1) < n and e_value(less + 1, n - less - 1) >= 1 / alpha:
                less += 1
            out += chance[: less + 1].sum() + chance[n - less : n + 1].sum()
            chance[: less + 1] = chance[n - less :] = 0.0
        return out

    assert reached(20) < reached(400) <= alpha
    assert reached(400) > alpha / 3


# What a fill may count, over how many vends, and how often: at most 2 over 1 to 3 vends.
LAW = {(0, 3): 0.55, (1, 1): 0.2, (2, 3): 0.15, (2, 2): 0.1}
RATIO = sum(p * x for (x, _), p in LAW.items()) / sum(p * v for (_, v), p in LAW.items())


@pytest.mark.parametrize(("level", "least"), [(0.5, 0.05), (0.8, 0.005)])
def test_the_betting_sequence_holds_at_every_number_of_fills(level, least):
    # Order does not matter to the bounds, so ways that counted the same are taken together.
    kinds = list(LAW)
    ways, out = {(0,) * len(kinds): 1.0}, 0.0
    for _ in range(11):
        after = defaultdict(float)
        for counts, chance in ways.items():
            for k, kind in enumerate(kinds):
                after[tuple(n + (k == j) for j, n in enumerate(counts))] += chance * LAW[kind]
        ways = {}
        for counts, chance in after.items():
            x, v = np.repeat(kinds, counts, axis=0).T
            low, high = betting_sequence(x, v, most=2, most_vends=3, level=level)
            if low <= RATIO <= high:
                ways[counts] = chance
            else:
                out += chance
    assert least < out <= 1 - level  # and what it leaves out is not nothing, so the bounds are of use
    assert sum(ways.values()) + out == pytest.approx(1, abs=1e-9)
