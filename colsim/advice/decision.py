"""The one form of every answer."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from colsim.sampling import Fills, Outcome
from colsim.sampling.intervals import Estimate

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Decision", "Option", "Status"]


class Status(StrEnum):
    """How sure an answer is."""

    MEETS = "meets"
    FAILS = "fails"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Option:
    """One choice that was looked at.

    Attributes
    ----------
    value : float
        The choice, in the decision's unit.
    geometry : str
        What the measurements alone say of it.
    fills : Fills
        What was simulated of it.
    level : float
        Confidence of its intervals, so that all options hold together at the target's.
    """

    value: float
    geometry: str
    fills: Fills
    level: float

    @property
    def estimate(self) -> Estimate:
        """Failures per vend."""
        return self.fills.risk(level=self.level).per_vend

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Failures per fill, failures per vend, then the fills that failed by each outcome."""
        whole = self.fills.risk(level=self.level)
        kinds = (kind for kind in Outcome if kind is not Outcome.SINGLE)
        return (whole.per_fill, whole.per_vend, *(self.fills.risk(kind, level=self.level).per_fill for kind in kinds))

    @property
    def status(self) -> Status:
        """Whether it meets the target."""
        target, estimate = self.fills.scenario.target.failures_per_vend, self.estimate
        if estimate.high <= target:
            return Status.MEETS
        return Status.FAILS if estimate.low > target else Status.UNDECIDED

    @property
    def mechanism(self) -> str:
        """What goes wrong most often; empty if nothing did."""
        kinds = Counter(str(vend.mechanism) for fill in self.fills.valid if (vend := fill.failure))
        return kinds.most_common(1)[0][0] if kinds else ""

    @property
    def first_failure(self) -> int | None:
        """Number of the first fill that failed, to replay it; None if none did."""
        return next((fill.fill for fill in self.fills.valid if fill.failure), None)


@dataclass(frozen=True)
class Decision:
    """One answer, with its reason and everything it was chosen from.

    Attributes
    ----------
    decision : str
        What was decided.
    recommended : float or None
        The choice [unit]; None if none can be recommended.
    unit : str
        Unit of the choice.
    status : Status
        Whether the recommended option meets the target; if there is none, why not.
    reason : str
        Why, in plain words.
    options : tuple of Option
        All that were looked at, in order.
    measure_next : tuple of str
        What to measure or simulate to be surer.
    seed : int
        Seed of all draws.
    target : float
        Failures per vend that were allowed [-].
    """

    decision: str
    recommended: float | None
    unit: str
    status: Status
    reason: str
    options: tuple[Option, ...]
    measure_next: tuple[str, ...]
    seed: int
    target: float

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the options.

        Returns
        -------
        pandas.DataFrame
            A row an option: ``<decision> [<unit>]``, ``geometry``, ``failures`` and ``fills``, failures per vend as
            ``rate``, ``low``, ``high``, the commonest ``mechanism``, and ``status``.
        """
        import pandas as pd

        rows: list[dict[str, Any]] = [
            {
                f"{self.decision} [{self.unit}]": option.value,
                "geometry": option.geometry,
                "failures": option.estimate.failures,
                "fills": option.estimate.fills,
                "rate": option.estimate.rate,
                "low": option.estimate.low,
                "high": option.estimate.high,
                "mechanism": option.mechanism,
                "status": str(option.status),
            }
            for option in self.options
        ]
        return pd.DataFrame(rows)

    def summary(self) -> str:
        """Say the answer, its reason and the options in a few lines."""
        choice = "none" if self.recommended is None else f"{self.recommended:g} {self.unit}"
        lines = [f"{self.decision}: {choice} ({self.status})", self.reason, ""]
        lines.append(f"{self.decision:>10}   bad vends in 1000            fills failed   verdict     by measure alone")
        for option in self.options:
            e = option.estimate
            mark = ">" if option.value == self.recommended else " "
            lines.append(
                f"{mark} {option.value:6g} {self.unit}   {1000 * e.rate:4.0f} (could be {1000 * e.low:3.0f} to "
                f"{1000 * e.high:4.0f})   "
                f"{e.failures:4d} of {e.fills:<4d}   {option.status:<9}   {option.geometry}"
                + (f"; {option.mechanism}" if option.mechanism else "")
            )
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"
