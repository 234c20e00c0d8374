"""The one form of every answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from colsim.advice.over_unknowns import End, OverUnknowns
from colsim.advice.status import Status
from colsim.advice.step_check import StepCheck, check_steps
from colsim.advice.to_measure import what_to_do_next
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
    "StepCheck",
    "about_steps",
    "allowed_in_words",
    "commonest_mechanism",
    "first_failure",
    "hints_for",
    "with_steps_checked",
    "worst_in_words",
]


def commonest_mechanism(runs: Iterable[Fills]) -> str:
    """Say what goes wrong most often; empty if nothing did."""
    kinds = Counter(str(v.mechanism) for fills in runs for fill in fills.valid if (v := fill.failure))
    return kinds.most_common(1)[0][0] if kinds else ""


def first_failure(fills: Fills) -> int | None:
    """Give the number of the first fill that failed, to replay it; None if none did."""
    return next((fill.number for fill in fills.valid if fill.failure), None)


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
    step_check : StepCheck or None
        Whether finer time steps give the same; None of what is not recommended, and where that was cut short.
    """

    value: float
    geometry: str
    over: OverUnknowns
    step_check: StepCheck | None = None

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
        """Whether it meets the target; what turns on the time step is undecided instead."""
        return Status.UNDECIDED if self.turns_on_steps else self.over.status

    @property
    def turns_on_steps(self) -> bool:
        """Whether it would meet the target, were it not for what finer time steps showed."""
        return self.step_check is not None and self.step_check.turns and self.over.status is Status.MEETS

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


def with_steps_checked(
    options: tuple[Option, ...],
    choose: Callable[[tuple[Option, ...]], Option | None],
    *,
    executor: Executor,
    progress: bool = False,
) -> tuple[Option, ...]:
    """Check what is chosen with finer time steps, and whatever is chosen in its place if it turns on them.

    Parameters
    ----------
    options : tuple of Option
        All that were looked at.
    choose : callable
        Given the options, chooses the one to recommend, or None.
    executor : concurrent.futures.Executor
        Where to run.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    tuple of Option
        The same, with the checks that were made. What is chosen of them has one, unless Ctrl-C came.

    Raises
    ------
    SimulationError
        If a loading cannot be carried through.
    """
    while (best := choose(options)) is not None and best.step_check is None:
        check = check_steps(best.over, executor=executor, progress=progress)
        if check is None:
            break
        options = tuple(replace(each, step_check=check) if each is best else each for each in options)
    return options


def about_steps(options: Sequence[Option], best: Option | None, name: Callable[[Option], str]) -> str:
    """Say what turns on the time step: what is recommended, and what was not for that; empty if nothing does.

    Parameters
    ----------
    options : sequence of Option
        All that were looked at.
    best : Option or None
        What is recommended.
    name : callable
        Gives the words for an option, as a sentence begins.

    Returns
    -------
    str
    """
    found = []
    for each in options:
        check = each.step_check
        if check is None or not check.turns:
            continue
        if each is best:
            found.append(f"With finer time steps {check.in_words()}.")
        elif each.turns_on_steps:
            found.append(f"{name(each)} is passed over: with finer time steps {check.in_words()}.")
    return " ".join(found)


def hints_for(option: Option) -> tuple[str, ...]:
    """Say what to measure or simulate to be surer of an option, most help first; a sentence each."""
    hints = what_to_do_next(option.over)
    if option.turns_on_steps:
        hints += ("log 200 turns with it, or choose one with more room: so near an edge no simulation tells",)
    return hints


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

    @property
    def step_check(self) -> StepCheck | None:
        """What finer time steps showed of the recommended option; None if there is none, or it was cut short."""
        return None if self.chosen is None else self.chosen.step_check

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
        if self.chosen is not None:
            found = "NOT CHECKED, stopped early" if self.step_check is None else self.step_check.in_words()
            lines.append(f"finer time steps: {found}")
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Decision {self.decision}: {self.recommended} {self.unit} ({self.status})>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"
