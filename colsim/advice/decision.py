"""The one form of every answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from colsim.advice.over_unknowns import End, OverUnknowns
from colsim.advice.status import Status
from colsim.model import Target
from colsim.sampling.fills import Fills
from colsim.sampling.intervals import Estimate
from colsim.sampling.one_fill import Outcome

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "Decision",
    "Option",
    "Status",
    "allowed_in_words",
    "commonest_mechanism",
    "first_failure",
    "worst_in_words",
]


def commonest_mechanism(runs: Iterable[Fills]) -> str:
    """Say what goes wrong most often; empty if nothing did."""
    kinds = Counter(str(v.mechanism) for fills in runs for fill in fills.valid if (v := fill.failure))
    return kinds.most_common(1)[0][0] if kinds else ""


def first_failure(fills: Fills) -> int | None:
    """Give the number of the first fill that failed, to replay it; None if none did."""
    return next((fill.fill for fill in fills.valid if fill.failure), None)


def allowed_in_words(target: Target) -> str:
    """Say how often things may go wrong, per vend or per fill as the target is."""
    if target.failures_per_fill is None:
        return f"{1000 * target.failures_per_vend:g} bad vends in 1000"
    return f"{1000 * target.failures_per_fill:g} bad loadings in 1000"


@dataclass(frozen=True)
class Option:
    """One choice that was looked at.

    Attributes
    ----------
    value : float
        The choice, in the decision's unit.
    geometry : str
        What the measurements alone say of it.
    over : OverUnknowns
        What was simulated of it. The confidence of its intervals is such that all options hold together at the
        target's.
    """

    value: float
    geometry: str
    over: OverUnknowns

    @property
    def fills(self) -> Fills:
        """The fills with every unknown at its typical value."""
        return self.over.typical

    @property
    def estimate(self) -> Estimate:
        """Failures per vend with every unknown at its typical value."""
        return self.over.estimate()

    @property
    def estimates(self) -> tuple[tuple[End, Estimate], ...]:
        """At each end failures per fill and per vend, and the share of vends with each outcome."""
        level = self.over.level
        kinds = [kind for kind in Outcome if kind is not Outcome.SINGLE]
        found: list[tuple[End, Estimate]] = []
        for end, fills in self.over.runs.items():
            whole = fills.risk_looking_often(level=level)
            found += [(end, whole.per_fill), (end, whole.per_vend)]
            found += [(end, fills.share_of_vends(kind, level=level)) for kind in kinds]
        return tuple(found)

    @property
    def status(self) -> Status:
        """Whether it meets the target."""
        return self.over.status

    @property
    def mechanism(self) -> str:
        """What goes wrong most often: as typical, or else at whatever end something does; empty if nothing did."""
        return commonest_mechanism([self.fills]) or commonest_mechanism(self.over.runs.values())

    @property
    def first_failure(self) -> int | None:
        """Number of the first fill that failed with every unknown at its typical value; None if none did."""
        return first_failure(self.fills)


def worst_in_words(options: Sequence[Option]) -> str:
    """Say what goes wrong with most of the options; empty if nothing did."""
    causes = Counter(option.mechanism for option in options if option.mechanism)
    return f"What goes wrong most: {causes.most_common(1)[0][0]}." if causes else ""


@dataclass(frozen=True, repr=False)
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
        What to measure or simulate to be surer, most help first.
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

    @property
    def chosen(self) -> Option | None:
        """The option that is recommended, if one is."""
        return next((option for option in self.options if option.value == self.recommended), None)

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the options.

        Returns
        -------
        pandas.DataFrame
            A row an option: ``<decision> [<unit>]``, ``geometry``, ``failures`` and ``fills``; failures per vend as
            ``rate``, ``low``, ``high`` with every unknown at its typical value; ``could be low`` and ``could be high``
            over all ends of the unknowns; the commonest ``mechanism``, ``status``, and what it ``depends on``.
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
                "could be low": option.over.could_be[0],
                "could be high": option.over.could_be[1],
                "mechanism": option.mechanism,
                "status": str(option.status),
                "depends on": option.over.depends_on if option.status is Status.DEPENDS else "",
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
            low, high = option.over.could_be
            mark = ">" if option.value == self.recommended else " "
            lines.append(
                f"{mark} {option.value:6g} {self.unit}   {1000 * e.rate:4.0f} (could be {1000 * low:3.0f} to "
                f"{1000 * high:4.0f})   "
                f"{e.failures:4d} of {e.fills:<4d}   {option.status:<9}   {option.geometry}"
                + (f"; {option.mechanism}" if option.mechanism else "")
            )
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Decision {self.decision}: {self.recommended} {self.unit} ({self.status})>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"
