"""One choice that was looked at, before and after it was simulated."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from colsim.advice.risks import Case, Risks
from colsim.advice.status import Status
from colsim.advice.step_check import StepCheck
from colsim.model import Scenario
from colsim.sampling.fills import Fills
from colsim.sampling.intervals import Estimate
from colsim.sampling.one_fill import Outcome

__all__ = ["Alternative", "Option", "commonest_mechanism", "first_failure"]


def commonest_mechanism(runs: Iterable[Fills]) -> str:
    """Say what goes wrong most often.

    Parameters
    ----------
    runs : iterable of Fills
        Over all of which it is counted, by the first failure of each valid fill.

    Returns
    -------
    str
        Empty if nothing went wrong.
    """
    kinds = Counter(str(v.mechanism) for fills in runs for fill in fills.valid if (v := fill.failure))
    return kinds.most_common(1)[0][0] if kinds else ""


def first_failure(fills: Fills) -> int | None:
    """Give the number of the first fill that failed, to replay it.

    Parameters
    ----------
    fills : Fills
        Of one scenario.

    Returns
    -------
    int or None
        None if no valid fill failed.
    """
    return next((fill.number for fill in fills.valid if fill.failure), None)


@dataclass(frozen=True)
class Alternative:
    """One choice that can be looked at.

    Attributes
    ----------
    label : str
        Of it, as it stands after "the": ``12 mm spacer``, ``bare pocket``, ``load of 12``.
    changes : mapping of str to object
        What is changed in the scenario, by dotted path.
    order : str
        What to do to choose it; a sentence.
    geometry : str
        What the measurements alone say of it.
    made : Scenario or None
        The scenario with this choice, where it was made already.
    """

    label: str
    changes: Mapping[str, Any] = field(default_factory=dict)
    order: str = ""
    geometry: str = ""
    made: Scenario | None = None

    def of(self, scenario: Scenario) -> Scenario:
        """Give the scenario with this choice.

        Parameters
        ----------
        scenario : Scenario
            To be changed; without effect where the scenario with this choice was made already.

        Returns
        -------
        Scenario

        Raises
        ------
        ScenarioError
            If the choice contradicts the scenario.
        """
        return scenario.changed(**self.changes) if self.made is None else self.made


@dataclass(frozen=True)
class Option:
    """One choice that was looked at.

    Attributes
    ----------
    label : str
        Of it, as it stands after "the".
    changes : mapping of str to object
        What is changed in the scenario, by dotted path.
    risks : Risks
        What was simulated of it. The confidence of its intervals is such that those of all options hold together at
        the target's.
    order, geometry : str
        What to do to choose it, and what the measurements alone say of it.
    step_check : StepCheck or None
        Whether finer time steps give the same; None of what is not recommended, and where that was cut short.
    """

    label: str
    changes: Mapping[str, Any]
    risks: Risks
    order: str = ""
    geometry: str = ""
    step_check: StepCheck | None = None

    @property
    def value(self) -> float:
        """The choice as a number [unit of the decision]; nan if it is not one number."""
        numbers = [value for value in self.changes.values() if isinstance(value, (int, float))]
        return float(numbers[0]) if len(numbers) == 1 else float("nan")

    @property
    def fills(self) -> Fills:
        """The fills with every unknown at its typical value."""
        return self.risks.typical

    @property
    def estimate(self) -> Estimate:
        """Failures per vend with every unknown at its typical value."""
        return self.risks.estimate()

    @property
    def estimates(self) -> tuple[tuple[Case, Estimate], ...]:
        """In each case failures per fill and per vend, and the share of vends with each outcome."""
        level = self.risks.level
        kinds = [kind for kind in Outcome if kind is not Outcome.SINGLE]
        found: list[tuple[Case, Estimate]] = []
        for case, fills in self.risks.runs.items():
            whole = fills.risk_looking_often(level=level)
            found += [(case, whole.per_fill), (case, whole.per_vend)]
            found += [(case, fills.share_of_vends(kind, level=level)) for kind in kinds]
        return tuple(found)

    @property
    def status(self) -> Status:
        """Whether it meets the target; what turns on the time step is undecided instead."""
        return Status.UNDECIDED if self.turns_on_steps else self.risks.status

    @property
    def turns_on_steps(self) -> bool:
        """Whether it would meet the target, were it not for what finer time steps showed."""
        return self.step_check is not None and self.step_check.turns and self.risks.status is Status.MEETS

    @property
    def is_open(self) -> bool:
        """Whether it may meet the target for all that is known: it is not shown to fail, and some fill is valid."""
        return self.status is not Status.FAILS and bool(self.fills.valid)

    @property
    def mechanism(self) -> str:
        """What goes wrong most often: as typical, or else in whatever case something does; empty if nothing did."""
        return commonest_mechanism([self.fills]) or commonest_mechanism(self.risks.runs.values())

    @property
    def first_failure(self) -> int | None:
        """Number of the first fill that failed with every unknown at its typical value; None if none did."""
        return first_failure(self.fills)
