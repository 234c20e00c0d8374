"""What many fills of one scenario show: risks with their intervals, tables, and a summary."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, overload

import numpy as np

from colsim.errors import ScenarioError
from colsim.model import Scenario
from colsim.sampling.checks import require_kind, require_share, require_whole
from colsim.sampling.intervals import Estimate, Risk, clopper_pearson, per_fill, per_vend
from colsim.sampling.one_fill import Fill, Outcome, Replay
from colsim.sampling.pairs import Pairs
from colsim.sampling.sequences import betting_sequence, confidence_sequence
from colsim.sampling.targets import target_per_fill, target_per_vend

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FAILURE", "Fills", "level_of_sequence"]

FAILURE = "failure"
"""Name under which any outcome other than a single vend is counted."""

_SEQUENCE_SHARE = 0.9  # of the error that is allowed, for the sequence over fills; the rest for the bets over vends


@dataclass(frozen=True, repr=False)
class Fills:
    """Fills 0 to n - 1 of one scenario and seed; ``len``, iteration, an index or a slice give their records.

    Attributes
    ----------
    scenario : Scenario
        What was simulated.
    seed : int
        Seed of all draws.
    records : tuple of Fill
        In order, without a gap.
    asked_for : int
        Fills that were asked for; more than there are if the work was interrupted.
    looked_often : bool
        Whether one looked at them on the way and stopped when the answer was clear. Intervals are then those that
        allow it.
    """

    scenario: Scenario
    seed: int
    records: tuple[Fill, ...]
    asked_for: int
    looked_often: bool = False

    def __len__(self) -> int:
        return len(self.records)

    def __iter__(self) -> Iterator[Fill]:
        return iter(self.records)

    @overload
    def __getitem__(self, which: int) -> Fill: ...
    @overload
    def __getitem__(self, which: slice) -> tuple[Fill, ...]: ...
    def __getitem__(self, which: int | slice) -> Fill | tuple[Fill, ...]:
        return self.records[which]

    @property
    def engine(self) -> str:
        """Name of the engine; empty if there are none."""
        return self.records[0].engine if self.records else ""

    @property
    def interrupted(self) -> bool:
        """Whether there are fewer fills than were asked for."""
        return len(self) < self.asked_for

    @property
    def valid(self) -> tuple[Fill, ...]:
        """The fills that can be believed."""
        return tuple(fill for fill in self if not fill.invalid)

    @property
    def invalid_count(self) -> int:
        """How many fills cannot be believed."""
        return len(self) - len(self.valid)

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
            Confidence of the intervals [-].

        Returns
        -------
        Risk
            Share of fills, and failures over vends [-], each vend counted up to its fill's first failure. The intervals
            are exact for a number of fills that was fixed beforehand; where one looked often, they hold at every look.

        Raises
        ------
        ScenarioError
            If the outcome is unknown or the level is not between 0 and 1.
        """
        _require_outcome(outcome)
        level = require_share("level", level)
        if outcome == FAILURE and self.looked_often:
            return self.risk_looking_often(level=level)
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
        """Estimate the share of fills with an outcome, with an interval that fits how they were sampled."""
        exact = self._exact_share_of_fills(outcome, level)
        return self._at_every_look(exact, level, target_per_fill(self.scenario)) if self.looked_often else exact

    def _exact_share_of_fills(self, outcome: Outcome | str, level: float) -> Estimate:
        firsts = [fill.failure for fill in self.valid]
        failures = sum(first is not None and outcome in (FAILURE, first.outcome) for first in firsts)
        vends = sum(fill.vends_to_failure for fill in self.valid)
        return per_fill(str(outcome), failures, len(self), self.invalid_count, vends=vends, level=level)

    def _at_every_look(self, estimate: Estimate, level: float, target: float) -> Estimate:
        """Give the interval over fills that holds at every look, in place of the exact one."""
        return replace(
            estimate,
            low=confidence_sequence(estimate.failures, estimate.fills, level=level, target=target)[0],
            high=confidence_sequence(
                estimate.failures + self.invalid_count, estimate.fills, level=level, target=target
            )[1],
            method="confidence sequence, fills",
        )

    def risk_looking_often(self, *, level: float = 0.95, target: float | None = None) -> Risk:
        """Estimate how often fills and vends fail, where one stops simulating when the answer is clear.

        Parameters
        ----------
        level : float
            Confidence, that the intervals hold at every look [-].
        target : float, optional
            Share of fills about which the answer turns [-]; the scenario's target if not given.

        Returns
        -------
        Risk
            As `risk` of any failure [-]. Of the error that is allowed, nine tenths go to the sequence over fills and
            one to the betting sequence over vends; per vend both hold.

        Raises
        ------
        ScenarioError
            If the level or the target is not between 0 and 1.
        """
        level = require_share("level", level)
        bets = 1 - (1 - _SEQUENCE_SHARE) * (1 - level)
        target = target_per_fill(self.scenario) if target is None else require_share("target", target)
        exact = self._exact_share_of_fills(FAILURE, level)
        of_fills = self._at_every_look(exact, level_of_sequence(level), target)
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
            Confidence, that the interval holds at every look [-].

        Returns
        -------
        Estimate
            [-]

        Raises
        ------
        ScenarioError
            If the outcome is unknown or the level is not between 0 and 1.
        """
        _require_outcome(outcome)
        level = require_share("level", level)
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
            fills=len(self),
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
            x, v = np.array([*counted, *[instead] * self.invalid_count], dtype=float).reshape(-1, 2).T
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
            Numbers of fills.

        Raises
        ------
        ScenarioError
            If the other is of another kind, or the seeds differ.
        """
        require_kind("other", other, Fills, "as simulate_fills gives them")
        if self.seed != other.seed:
            raise ScenarioError(f"seed: got {self.seed} and {other.seed}; allowed: the same, so that draws are shared")
        both = [(a.failure, b.failure) for a, b in zip(self, other, strict=False) if not (a.invalid or b.invalid)]
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
            Confidence of each row's own interval [-].

        Returns
        -------
        pandas.DataFrame
            A row for each number of containers before the vend, from full to one, and again after a top-up: columns
            ``topped up``, ``containers left``, ``failures``, ``vends``, and ``rate``, ``low``, ``high`` [-]. Vends
            after a fill's first failure do not count. One vend a fill enters a row, so its exact interval holds, or,
            where one looked often, the sequence over them. Without a valid fill there is no row.

        Raises
        ------
        ScenarioError
            If the level is not between 0 and 1.
        """
        level = require_share("level", level)
        vends: Counter[tuple[bool, int]] = Counter()
        failures: Counter[tuple[bool, int]] = Counter()
        for fill in self.valid:
            for vend in fill.vends[: fill.vends_to_failure]:
                vends[vend.topped_up, vend.before] += 1
                failures[vend.topped_up, vend.before] += vend.outcome is not Outcome.SINGLE
        target = target_per_vend(self.scenario)
        return _by_height(
            ("failures", "vends"),
            [
                (*key, failures[key], vends[key], *self._interval(failures[key], vends[key], 0, level, target))
                for key in sorted(vends, key=_from_full_to_empty)
            ],
        )

    def failed_so_far(self, *, level: float = 0.95) -> pd.DataFrame:
        """Tabulate which share of fills has failed by the time that a column is down to so many containers.

        Parameters
        ----------
        level : float
            Confidence of each row's own interval [-].

        Returns
        -------
        pandas.DataFrame
            A row for each number of containers before a vend, from full to one, and again after a top-up: columns
            ``topped up``, ``containers left``, ``failures`` (fills whose first failure came at this number or before),
            ``fills`` (valid ones), and ``rate``, ``low``, ``high`` [-]. The last row is `risk` per fill. Invalid fills
            count as clean in the lower bound and as failed in the upper. Without a valid fill there is no row.

        Raises
        ------
        ScenarioError
            If the level is not between 0 and 1.
        """
        level = require_share("level", level)
        heights = {(vend.topped_up, vend.before) for fill in self.valid for vend in fill.vends[: fill.vends_to_failure]}
        firsts = Counter((vend.topped_up, vend.before) for fill in self.valid if (vend := fill.failure))
        target, failures, rows = target_per_fill(self.scenario), 0, []
        for key in sorted(heights, key=_from_full_to_empty):
            failures += firsts[key]
            interval = self._interval(failures, len(self.valid), self.invalid_count, level, target)
            rows.append((*key, failures, len(self.valid), *interval))
        return _by_height(("failures", "fills"), rows)

    def _interval(
        self, failures: int, trials: int, invalid: int, level: float, target: float
    ) -> tuple[float, float, float]:
        """Give a rate with its interval, as the fills were sampled; invalid ones widen it to both sides."""

        def bounds(of: int) -> tuple[float, float]:
            if self.looked_often:
                return confidence_sequence(of, trials + invalid, level=level, target=target)
            return clopper_pearson(of, trials + invalid, level)

        return failures / trials, bounds(failures)[0], bounds(failures + invalid)[1]

    def replay(self, number: int) -> Replay:
        """Make one of the fills again, with a frame every fiftieth of a second.

        Parameters
        ----------
        number : int
            Which fill, from 0.

        Returns
        -------
        Replay
            The same fill to the last bit.

        Raises
        ------
        ScenarioError
            If there is no such fill, or it was made on an engine that has no name in colsim.
        SimulationError
            If it was made with another version of colsim, or comes out otherwise.
        """
        number = require_whole("number", number)
        if number >= len(self):
            raise ScenarioError(f"number: got {number}; allowed: a fill that is there, below {len(self)}")
        return self[number].replay(self.scenario)

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
            (fill.number, vend.number, str(vend.outcome), str(vend.mechanism or ""), vend.remaining, vend.peak_force)
            for fill in self.valid
            for vend in fill.vends
        ]
        return pd.DataFrame(rows, columns=["fill", "vend", "outcome", "mechanism", "remaining", "peak force [N]"])

    def summary(self) -> str:
        """Say in a few lines what was simulated and what came of it."""
        lines = [f"{self.scenario.title}: {len(self)} fills of {self.scenario.load}, seed {self.seed}"]
        if unknowns := self.scenario.unknowns():
            lines.append(f"not measured, and taken at typical values: {', '.join(unknowns)}")
        if short := [fill.short for fill in self.valid if fill.short]:
            lines.append(f"no room for all in {len(short)} fills; up to {max(short)} stayed out")
        if self.interrupted:
            lines.append(f"stopped early: {len(self)} of {self.asked_for} fills are done, and only these count")
        if self.invalid_count:
            first = next(fill for fill in self if fill.invalid)
            lines.append(f"{self.invalid_count} invalid, counted in both bounds; the first: {first.summary()}")
        risk = self.risk()
        lines += [_line(risk.per_fill, "fills", "fails"), _line(risk.per_vend, "vends", "goes wrong")]
        kinds = Counter((vend.outcome, vend.mechanism) for fill in self.valid if (vend := fill.failure))
        lines += [f"  {outcome} by {mechanism}: {n} fills" for (outcome, mechanism), n in kinds.most_common()]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Fills of {self.scenario.title!r}: {len(self)}, seed {self.seed}>"

    def __str__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def _from_full_to_empty(key: tuple[bool, int]) -> tuple[bool, int]:
    """Put numbers of containers in the order in which a fill comes to them."""
    topped_up, containers = key
    return topped_up, -containers


def _by_height(counted: tuple[str, str], rows: Sequence[tuple[object, ...]]) -> pd.DataFrame:
    """Tabulate rates by whether the column was topped up and how many containers were in it."""
    import pandas as pd

    return pd.DataFrame(rows, columns=["topped up", "containers left", *counted, "rate", "low", "high"])


def level_of_sequence(level: float) -> float:
    """Give the confidence of the sequence over fills, of whose error the bets over vends take a share.

    Parameters
    ----------
    level : float
        Confidence of both together [-].

    Returns
    -------
    float
        [-]
    """
    return 1 - _SEQUENCE_SHARE * (1 - level)


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
