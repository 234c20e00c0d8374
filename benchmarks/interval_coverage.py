"""How often intervals hold what is true, on made-up fills of which it is known: at one look, and at every look.

Fills cluster by a friction of their own, end early when they fail, or are lost as invalid; nothing is simulated but
counts. Repeats in which an interval missed at any look of the schedule count as missed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np
import numpy.typing as npt
from common import quick_or_full, rotor_scenario, table, write
from scipy.special import expit, logit
from scipy.stats import binom
from tqdm import tqdm

from colsim import Fills, simulate_fill
from colsim.physics.mechanism import Mechanism
from colsim.sampling import Fill, Outcome, Vend
from colsim.sampling.intervals import Estimate, clopper_pearson
from colsim.sampling.looks import look_schedule
from colsim.sampling.workers import process_pool

Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

VENDS, MOST_FILLS, SEED = 12, 96, 41
LOOKS = list(look_schedule(MOST_FILLS))
SCENARIO = rotor_scenario(66, VENDS)
LEVEL = 0.95
COLUMNS = [
    "one look: fill",
    "one look: vend",
    "every look: fill",
    "every look: vend",
    "every look: share of vends",
    "not so: exact over fills at every look",
    "not so: pooled vends, one look",
]
USED = 5  # the columns before show what is used, the others what is not
LETTERS = {"s": Outcome.SINGLE, "l": Outcome.LATE, "x": Outcome.STALL}


def friction(spread: float, z: Numbers) -> tuple[Numbers, Numbers]:
    """Give the chances that a vend comes late and that it stalls: log-odds of late that differ from fill to fill."""
    return expit(logit(0.02) + spread * z), np.zeros_like(z)


def early_end(z: Numbers) -> tuple[Numbers, Numbers]:
    """Let one fill in six stall soon, after late vends or none, and the rest hardly ever fail."""
    bad = z > 0.97
    return np.where(bad, 0.2, 0.01), np.where(bad, 0.5, 0.001)


def lost_anyhow(rng: np.random.Generator, failed: Mask) -> Mask:
    return rng.random(len(failed)) < 0.05


def lost_where(wanted: bool, rng: np.random.Generator, failed: Mask) -> Mask:
    """Lose as many in all, but only of those that failed, or only of those that did not."""
    of_these = failed == wanted
    return of_these & (rng.random(len(failed)) < 0.05 / max(float(of_these.mean()), 0.05))


@dataclass(frozen=True)
class Law:
    """How fills come about: chances of a late vend and of a stall by the fill's own number, and which are lost."""

    name: str
    chances: Callable[[Numbers], tuple[Numbers, Numbers]]
    lost: Callable[[np.random.Generator, Mask], Mask] | None = None

    @property
    def truths(self) -> tuple[float, float, float]:
        """Share of fills that fail, failures over vends up to the first, and late or stalled vends over all."""
        z = np.linspace(-8, 8, 160_001)
        weight = np.exp(-0.5 * z**2) / np.exp(-0.5 * z**2).sum()
        late, stall = self.chances(z)
        wrong = late + stall
        fails = 1 - (1 - wrong) ** VENDS
        vends = sum((1 - stall) ** k for k in range(VENDS))  # as many as go before the stall
        return (
            float(weight @ fails),
            float(weight @ fails / (weight @ (fails / wrong))),
            float(weight @ (wrong * vends) / (weight @ vends)),
        )

    def draw(self, rng: np.random.Generator) -> tuple[Fill, ...]:
        """Make fills by hand."""
        late, stall = (values[:, None] for values in self.chances(rng.standard_normal(MOST_FILLS)))
        u = rng.random((MOST_FILLS, VENDS))
        letters = np.where(u < stall, "x", np.where(u < stall + late, "l", "s"))
        words = [word[: word.find("x") + 1] or word for word in map("".join, letters)]
        failed = np.array([set(word) != {"s"} for word in words])
        lost = self.lost(rng, failed) if self.lost else np.zeros_like(failed)
        return tuple(_fill(word, bool(gone)) for word, gone in zip(words, lost, strict=True))


LAWS = (
    Law("nothing in common", partial(friction, 0.0)),
    Law("friction of their own, sd 1.5", partial(friction, 1.5)),
    Law("friction of their own, sd 2.5", partial(friction, 2.5)),
    Law("failed fills end early", early_end),
    Law("sd 1.5, 5 % lost anyhow", partial(friction, 1.5), lost_anyhow),
    Law("sd 1.5, 5 % lost, all failed", partial(friction, 1.5), partial(lost_where, True)),
    Law("ends early, 5 % lost, all clean", early_end, partial(lost_where, False)),
)


@cache
def _plain() -> Fill:
    return simulate_fill(rotor_scenario(66, 1), seed=0)


@cache
def _fill(word: str, lost: bool) -> Fill:
    """Make a fill of which each letter is a vend."""
    left, vends = VENDS, []
    for k, letter in enumerate(word, 1):
        before, left = left, left - (letter != "x")
        vends.append(Vend(k, LETTERS[letter], None if letter == "s" else Mechanism.SECOND_IN_POCKET, left, before, 1.0))
    return replace(
        _plain(),
        vends=tuple(vends),
        loaded=VENDS,
        dispensed=VENDS - left,
        left=left,
        invalid="lost" if lost else "",
    )


def _holds(truth: float, estimates: Sequence[Estimate]) -> bool:
    return all(estimate.low <= truth <= estimate.high for estimate in estimates)


def covered(law: Law, seed: int, repeats: int) -> Counter[str]:
    """Count the repeats in which each kind of interval held what is true."""
    of_fills, of_vends, share = law.truths
    rng, found = np.random.default_rng(seed), Counter[str]()
    for _ in range(repeats):
        fills = law.draw(rng)
        looks = [Fills(SCENARIO, 0, fills[:n], n) for n in LOOKS]
        once = [each.risk(level=LEVEL) for each in looks]
        often = [each.risk_looking_often(level=LEVEL) for each in looks]
        shares = [each.share_of_vends("failure", level=LEVEL) for each in looks]
        low, high = clopper_pearson(shares[-1].failures, shares[-1].vends, LEVEL)
        held = (
            _holds(of_fills, [once[-1].per_fill]),
            _holds(of_vends, [once[-1].per_vend]),
            _holds(of_fills, [risk.per_fill for risk in often]),
            _holds(of_vends, [risk.per_vend for risk in often]),
            _holds(share, shares),
            _holds(of_fills, [risk.per_fill for risk in once]),
            low <= share <= high,
        )
        found.update({column: int(yes) for column, yes in zip(COLUMNS, held, strict=True)})
    return found


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    repeats, parts = (4, 2) if quick else (2000, 40)
    laws = LAWS[1:2] if quick else LAWS
    counted = {law.name: Counter[str]() for law in laws}
    with process_pool() as pool:
        jobs = [
            (law.name, pool.submit(covered, law, [SEED, k, part], repeats // parts))
            for k, law in enumerate(laws)
            for part in range(parts)
        ]
        for name, job in tqdm(jobs):
            counted[name].update(job.result())
    least = int(binom.ppf(1e-4, repeats, LEVEL)) / repeats
    rows: list[list[object]] = []
    for law in laws:
        rows.append([law.name, *(f"{counted[law.name][column] / repeats:.3f}" for column in COLUMNS)])
    truths = [[law.name, *(f"{truth:.4f}" for truth in law.truths)] for law in laws]
    lines = [
        f"Share of {repeats} repeats of up to {MOST_FILLS} fills of {VENDS} vends in which intervals at {LEVEL:.0%} "
        f"hold what is true. Looks at {', '.join(map(str, LOOKS))} fills; an interval for every look must hold at all "
        f"of them at once. A right interval stays below {least:.3f} in one such number of ten thousand, at most.",
        "",
        *table(["fills", *COLUMNS], rows),
        "",
        "The last two columns are what is not done, for comparison. What is true:",
        "",
        *table(
            ["fills", "failed fills", "failures over vends up to the first", "late or stalled over all vends"], truths
        ),
    ]
    lowest = min(counted[law.name][column] for law in laws for column in COLUMNS[:USED]) / repeats
    says = f"the lowest coverage of an interval that is used is {lowest:.3f}"
    write("interval_coverage", lines, quick=quick, holds=lowest >= least, says=says)


if __name__ == "__main__":
    main()
