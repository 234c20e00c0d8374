"""What many fills of one scenario show: risks with their intervals, tables, and a summary."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.sampling.intervals import Estimate, Risk, clopper_pearson, per_fill, per_vend
from colsim.sampling.one_fill import Fill, Outcome
from colsim.sampling.pairs import Pairs
from colsim.sampling.sequences import betting_sequence, confidence_sequence

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FAILURE", "Fills", "level_of_sequence", "target_per_fill"]

FAILURE = "failure"
"""Name under which any outcome other than a single vend is counted."""

_SEQUENCE_SHARE = 0.9  # of the error that is allowed, for the sequence over fills; the rest for the bets over vends


@dataclass(frozen=True, repr=False)
class Fills:
    """Fills 0 to n - 1 of one scenario and seed.

    Attributes
    ----------
    scenario : Scenario
        What was simulated.
    seed : int
        Seed of all draws.
    fills : tuple of Fill
        In order, without a gap.
    asked_for : int
        Fills that were asked for; more than there are if the work was interrupted.
    """

    scenario: Scenario
    seed: int
    fills: tuple[Fill, ...]
    asked_for: int

    @property
    def engine(self) -> str:
        """Name of the engine; empty if there are none."""
        return self.fills[0].engine if self.fills else ""

    @property
    def interrupted(self) -> bool:
        """Whether there are fewer fills than were asked for."""
        return len(self.fills) < self.asked_for

    @property
    def valid(self) -> tuple[Fill, ...]:
        """The fills that can be believed."""
        return tuple(fill for fill in self.fills if not fill.invalid)

    @property
    def invalid(self) -> int:
        """How many fills cannot be believed."""
        return len(self.fills) - len(self.valid)

    @property
    def always_short(self) -> bool:
        """Whether no valid fill found room for all that was to be loaded."""
        return bool(self.valid) and all(fill.short for fill in self.valid)

    def risk(self, outcome: Outcome | str = FAILURE, *, level: float = 0.95) -> Risk:
        """Estimate how often fills and vends fail.

        Parameters
        ----------
        outcome : str
            ``"failure"`` for the first vend of a fill that is not a single one, whatever it is; or one
            outcome, by which that first failure is sorted.
        level : float
            Confidence of the intervals.

        Returns
        -------
        Risk
            Share of fills, and failures over vends, each vend counted up to its fill's first failure.

        Raises
        ------
        ScenarioError
            If the outcome is unknown or the level is not between 0 and 1.
        """
        _require_outcome(outcome)
        if outcome == FAILURE:
            of_fills = self._share_of_fills(FAILURE, level)
            return Risk(of_fills, per_vend(of_fills, self.scenario.loading.vends, least=self._fewest_vends))
        # Two intervals enter the bound per vend, of this outcome and of all failures, each at half the error.
        both = 1 - (1 - level) / 2
        bound = per_vend(
            self._share_of_fills(outcome, both),
            self.scenario.loading.vends,
            least=self._fewest_vends,
            any_failure=self._share_of_fills(FAILURE, both),
        )
        return Risk(self._share_of_fills(outcome, level), replace(bound, level=level))

    @property
    def _fewest_vends(self) -> int:
        """Vends of a clean fill for which there was least room."""
        return max(1, self.scenario.loading.vends - max((fill.short for fill in self.valid), default=0))

    def _share_of_fills(self, outcome: Outcome | str, level: float) -> Estimate:
        firsts = [fill.failure for fill in self.valid]
        failures = sum(first is not None and outcome in (FAILURE, first.outcome) for first in firsts)
        vends = sum(fill.vends_to_failure for fill in self.valid)
        return per_fill(str(outcome), failures, len(self.fills), self.invalid, vends=vends, level=level)

    def risk_looking_often(self, *, level: float = 0.95, target: float | None = None) -> Risk:
        """Estimate how often fills and vends fail, where one stops simulating when the answer is clear.

        Parameters
        ----------
        level : float
            Confidence, that the intervals hold at every look.
        target : float, optional
            Share of fills about which the answer turns [-]; the scenario's target if not given.

        Returns
        -------
        Risk
            As `risk` of any failure. Of the error that is allowed, nine tenths go to the sequence over fills and one
            to the betting sequence over vends; per vend both hold.
        """
        bound = level_of_sequence(level)
        bets = 1 - (1 - _SEQUENCE_SHARE) * (1 - level)
        exact = self._share_of_fills(FAILURE, level)
        target = target_per_fill(self.scenario) if target is None else target
        of_fills = replace(
            exact,
            low=confidence_sequence(exact.failures, exact.fills, level=bound, target=target)[0],
            high=confidence_sequence(exact.failures + self.invalid, exact.fills, level=bound, target=target)[1],
            method="confidence sequence, fills",
        )
        of_vends = per_vend(of_fills, self.scenario.loading.vends, least=self._fewest_vends)
        firsts = [(int(fill.failure is not None), fill.vends_to_failure) for fill in self.valid]
        low, high = self._bet(firsts, 1, bets)
        return Risk(
            of_fills,
            replace(
                of_vends,
                low=max(of_vends.low, low),
                high=min(of_vends.high, high),
                method="confidence sequence over fills and betting sequence over vends",
            ),
        )

    def share_of_vends(self, outcome: Outcome | str, *, level: float = 0.95) -> Estimate:
        """Estimate which share of all vends ends with an outcome, those after a double or late one included.

        Parameters
        ----------
        outcome : str
            One outcome, or ``"failure"`` for any but a single.
        level : float
            Confidence, that the interval holds at every look.

        Returns
        -------
        Estimate

        Raises
        ------
        ScenarioError
            If the outcome is unknown or the level is not between 0 and 1.
        """
        _require_outcome(outcome)
        counted = [
            (
                sum(v.outcome is not Outcome.SINGLE and outcome in (FAILURE, v.outcome) for v in fill.vends),
                len(fill.vends),
            )
            for fill in self.valid
        ]
        low, high = self._bet(counted, self.scenario.loading.vends, level)
        number, vends = sum(x for x, _ in counted), sum(v for _, v in counted)
        return Estimate(
            unit="vend",
            outcome=str(outcome),
            failures=number,
            fills=len(self.fills),
            vends=vends,
            rate=number / vends if vends else math.nan,
            low=low,
            high=high,
            level=level,
            method="betting sequence over fills",
        )

    def _bet(self, counted: list[tuple[int, int]], most: int, level: float) -> tuple[float, float]:
        """Bound a ratio over fills; an invalid fill counts as clean in the lower bound, as all failed in the upper."""
        vends = self.scenario.loading.vends

        def bounds(instead: tuple[int, int]) -> tuple[float, float]:
            x, v = np.array([*counted, *[instead] * self.invalid], dtype=float).reshape(-1, 2).T
            return betting_sequence(x, v, most=most, most_vends=vends, level=level)

        return bounds((0, vends))[0], min(1.0, bounds((most, 1))[1])

    def paired_with(self, other: Fills) -> Pairs:
        """Compare with another design on the draws that both have.

        Parameters
        ----------
        other : Fills
            Of the same seed.

        Returns
        -------
        Pairs

        Raises
        ------
        ScenarioError
            If the seeds differ.
        """
        if self.seed != other.seed:
            raise ScenarioError(f"seed: got {self.seed} and {other.seed}; allowed: the same, so that draws are shared")
        both = [
            (a.failure, b.failure)
            for a, b in zip(self.fills, other.fills, strict=False)
            if not (a.invalid or b.invalid)
        ]
        return Pairs(
            len(both),
            sum(a is not None and b is None for a, b in both),
            sum(a is None and b is not None for a, b in both),
        )

    def hazard(self, *, level: float = 0.95) -> pd.DataFrame:
        """Tabulate how the risk of a vend depends on how many containers are in the column.

        Parameters
        ----------
        level : float
            Confidence of each row's own interval.

        Returns
        -------
        pandas.DataFrame
            A row for each number of containers before the vend, from full to one, and again after a top-up: columns
            ``topped up``, ``containers left``, ``failures``, ``vends``, ``rate``, ``low``, ``high``. Vends after a
            fill's first failure do not count. One vend a fill enters a row, so its exact interval holds.
        """
        import pandas as pd

        vends: Counter[tuple[bool, int]] = Counter()
        failures: Counter[tuple[bool, int]] = Counter()
        for fill in self.valid:
            for vend in fill.vends[: fill.vends_to_failure]:
                vends[vend.topped_up, vend.before] += 1
                failures[vend.topped_up, vend.before] += vend.outcome is not Outcome.SINGLE
        rows = [
            (
                *key,
                failures[key],
                vends[key],
                failures[key] / vends[key],
                *clopper_pearson(failures[key], vends[key], level),
            )
            for key in sorted(vends, key=lambda key: (key[0], -key[1]))
        ]
        return pd.DataFrame(rows, columns=["topped up", "containers left", "failures", "vends", "rate", "low", "high"])

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the vends.

        Returns
        -------
        pandas.DataFrame
            A row a vend: ``fill``, ``vend``, ``outcome``, ``mechanism`` (empty text for a single vend), ``remaining``
            [containers] and ``peak force [N]``. Vends of invalid fills are left out.
        """
        import pandas as pd

        rows = [
            (fill.fill, vend.vend, str(vend.outcome), str(vend.mechanism or ""), vend.remaining, vend.peak_force)
            for fill in self.valid
            for vend in fill.vends
        ]
        return pd.DataFrame(rows, columns=["fill", "vend", "outcome", "mechanism", "remaining", "peak force [N]"])

    def summary(self) -> str:
        """Say in a few lines what was simulated and what came of it."""
        lines = [f"{self.scenario.title}: {len(self.fills)} fills of {self.scenario.load}, seed {self.seed}"]
        if unknowns := self.scenario.unknowns():
            lines.append(f"not measured, and taken at typical values: {', '.join(unknowns)}")
        if short := [fill.short for fill in self.valid if fill.short]:
            lines.append(f"no room for all in {len(short)} fills; up to {max(short)} stayed out")
        if self.interrupted:
            lines.append(f"stopped early: {len(self.fills)} of {self.asked_for} fills are done, and only these count")
        if self.invalid:
            first = next(fill for fill in self.fills if fill.invalid)
            lines.append(f"{self.invalid} invalid, counted in both bounds; the first: {first.summary()}")
        risk = self.risk()
        lines += [_line(risk.per_fill, "fills", "fails"), _line(risk.per_vend, "vends", "goes wrong")]
        kinds = Counter((vend.outcome, vend.mechanism) for fill in self.valid if (vend := fill.failure))
        lines += [f"  {outcome} by {mechanism}: {n} fills" for (outcome, mechanism), n in kinds.most_common()]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Fills of {self.scenario.title!r}: {len(self.fills)}, seed {self.seed}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def level_of_sequence(level: float) -> float:
    """Give the confidence of the sequence over fills, of whose error the bets over vends take a share.

    Parameters
    ----------
    level : float
        Confidence of both together.

    Returns
    -------
    float
    """
    return 1 - _SEQUENCE_SHARE * (1 - level)


def target_per_fill(scenario: Scenario) -> float:
    """Give the share of fills that may fail: as set, or as many as keep within the share of vends that was set.

    Parameters
    ----------
    scenario : Scenario
        With its target.

    Returns
    -------
    float
        [-]
    """
    target, n = scenario.target, scenario.loading.vends
    if target.failures_per_fill is not None:
        return target.failures_per_fill
    return target.failures_per_vend * n / (1 + (n - 1) * target.failures_per_vend)


def _require_outcome(outcome: Outcome | str) -> None:
    allowed = (FAILURE, *(kind for kind in Outcome if kind is not Outcome.SINGLE))
    if outcome not in allowed:
        raise ScenarioError(f"outcome: got {outcome!r}; allowed: {', '.join(allowed)}")


def _line(estimate: Estimate, what: str, verb: str) -> str:
    over = estimate.fills if estimate.unit == "fill" else estimate.vends
    return (
        f"a {estimate.unit} {verb}: {estimate.rate:.3g}, {estimate.level:.0%} interval {estimate.low:.3g} to "
        f"{estimate.high:.3g} "
        f"({estimate.failures} of {over} {what})"
    )
