"""From a question to its answer: simulating options until they are settled, checking the best, saying why.

A question gives the options, chooses among them and words its choice. All else stands here once: how confidence is
shared, what is simulated and when enough, the check with finer time steps, and what to measure next.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from colsim.advice.decision import Decision
from colsim.advice.option import Alternative, Option
from colsim.advice.risks import Risks, simulate_risks
from colsim.advice.status import Status
from colsim.advice.step_check import check_steps
from colsim.advice.study import Study
from colsim.advice.to_measure import in_words, what_measuring_brings, what_to_do_next
from colsim.advice.window import Window
from colsim.errors import StoppedError
from colsim.model import Scenario
from colsim.sampling.checks import require_scenario
from colsim.sampling.many_fills import require_room

__all__ = ["Inquiry", "Question", "decide", "hints_for", "least_bad"]

_SHARE_OF_PRESENT = 1 / 8  # of the error allowed, for the scenario as it is, so that every question judges it alike


class Question(ABC):
    """What is to be decided of a scenario.

    Attributes
    ----------
    scenario : Scenario
        What was measured.
    window : Window or None
        Between which choices any serves, where that was sought.
    """

    decision: str
    unit: str
    things: str
    """What the options are, as in "every ... looked at"."""

    def __init__(self, scenario: Scenario) -> None:
        require_scenario(scenario)
        self.scenario = scenario
        self.window: Window | None = None

    @property
    @abstractmethod
    def possible(self) -> int:
        """How many options may come up; all of them share the confidence."""

    @property
    @abstractmethod
    def with_present(self) -> bool:
        """Whether the scenario as it is is among the options."""

    @abstractmethod
    def next(self, inquiry: Inquiry) -> Sequence[Alternative]:
        """Give what to look at next, from what was found so far.

        Parameters
        ----------
        inquiry : Inquiry
            What was simulated so far.

        Returns
        -------
        sequence of Alternative
            Empty when that is enough.

        Raises
        ------
        SimulationError
            If it simulates for that, and a fill cannot be carried through or the column has no room for what must be in
            it.
        """

    @abstractmethod
    def choose(self, options: Sequence[Option]) -> Option | None:
        """Choose what to recommend.

        Parameters
        ----------
        options : sequence of Option
            All that were looked at, by value.

        Returns
        -------
        Option or None
            None if nothing can be recommended.
        """

    @abstractmethod
    def beside(self, options: Sequence[Option], best: Option) -> Sequence[str]:
        """Say what is known of the options beside the one that is recommended.

        Parameters
        ----------
        options : sequence of Option
            All that were looked at, by value.
        best : Option
            The one that is recommended.

        Returns
        -------
        sequence of str
            Sentences.
        """

    def window_among(self, options: Sequence[Option]) -> Window | None:
        """Give the window, if it still stands.

        Parameters
        ----------
        options : sequence of Option
            All that were looked at.

        Returns
        -------
        Window or None
            None if none was sought, or an option within did not meet the target after all, in all cases or finer steps.
        """
        window = self.window
        if window is None:
            return None
        within = [option for option in options if window.low <= option.value <= window.high]
        return window if all(option.status is Status.MEETS for option in within) else None

    def refused_for(self, allowed: str) -> str:
        """Say why an option is not even open; after "every option looked at".

        Parameters
        ----------
        allowed : str
            What the target allows, in words.

        Returns
        -------
        str
        """
        return f"goes wrong more often than {allowed}"

    def lack_of_room(self, risks: Risks) -> str:
        """Say whether not all that was to be loaded found room.

        Parameters
        ----------
        risks : Risks
            What was simulated of an option.

        Returns
        -------
        str
            Empty if all found room in any loading.
        """
        return "no room for all that was to be loaded" if risks.typical.always_short else ""

    def hints(self, options: Sequence[Option], best: Option) -> tuple[str, ...]:
        """Say what to measure or simulate to be surer.

        Parameters
        ----------
        options : sequence of Option
            All that were looked at, by value.
        best : Option
            The one that is recommended.

        Returns
        -------
        tuple of str
            Sentences, most help first.
        """
        return hints_for(best)


class Inquiry:
    """What was simulated so far of a question.

    Attributes
    ----------
    question : Question
        What is to be decided.
    study : Study
        How to simulate.
    interrupted : bool
        Whether Ctrl-C came.
    """

    def __init__(self, question: Question, study: Study) -> None:
        self.question, self.study = question, study
        self.interrupted = False
        self._options: dict[str, Option] = {}

    @property
    def options(self) -> tuple[Option, ...]:
        """All that were looked at, by value."""
        return tuple(sorted(self._options.values(), key=lambda option: option.value))

    @property
    def best(self) -> Option | None:
        """What is chosen of them."""
        return self.question.choose(self.options)

    def simulate(self, alternatives: Sequence[Alternative]) -> None:
        """Simulate some options on common draws, and keep those of which any fill was done.

        Parameters
        ----------
        alternatives : sequence of Alternative
            What to look at.

        Raises
        ------
        ScenarioError
            If a choice contradicts the scenario.
        SimulationError
            If a fill cannot be carried through.
        """
        question, scenario = self.question, self.question.scenario
        scenarios = [each.of(scenario) for each in alternatives]
        levels = _levels_of(scenarios, scenario, possible=question.possible, with_present=question.with_present)
        found = simulate_risks(scenarios, level=levels, study=self.study)
        for each, risks in zip(alternatives, found, strict=True):
            self.interrupted = self.interrupted or risks.interrupted
            if risks.typical.records:
                geometry = "; ".join(part for part in (each.geometry, question.lack_of_room(risks)) if part)
                self._options[each.label] = Option(each.label, each.changes, risks, each.order, geometry)

    def check(self, option: Option) -> None:
        """Check an option with finer time steps.

        Parameters
        ----------
        option : Option
            One of those that were looked at, which is kept with what was found.

        Raises
        ------
        SimulationError
            If a fill cannot be carried through.
        """
        found = check_steps(option.risks, self.study)
        if found is None:
            self.interrupted = True
        else:
            self._options[option.label] = replace(option, step_check=found)


def _levels_of(scenarios: Sequence[Scenario], present: Scenario, *, possible: int, with_present: bool) -> list[float]:
    """Share the confidence among options: an eighth of the error to what is there now, the rest among all others.

    Parameters
    ----------
    scenarios : sequence of Scenario
        Of some of the options.
    present : Scenario
        What is there now.
    possible : int
        How many options may come up.
    with_present : bool
        Whether what is there now is among the options; if not, the others share all of the error, and if there are no
        others it has all.

    Returns
    -------
    list of float
        Confidence of the intervals of each.
    """
    error, others = 1 - present.target.confidence, possible - with_present
    own = (_SHARE_OF_PRESENT if others else 1.0) * error if with_present else 0.0
    return [1 - (own if each == present else (error - own) / others) for each in scenarios]


def decide(question: Question, study: Study) -> Decision:
    """Simulate what a question asks for, and answer it.

    Parameters
    ----------
    question : Question
        What is to be decided.
    study : Study
        How to simulate.

    Returns
    -------
    Decision
        The recommended option, if any, was simulated again with half the time step; where the verdict turns on that, it
        does not count as meeting the target.

    Raises
    ------
    ScenarioError
        If an option cannot be.
    SimulationError
        If the column does not hold what it is to be loaded with, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.
    """
    inquiry = Inquiry(question, study)
    while not inquiry.interrupted:
        if more := question.next(inquiry):
            inquiry.simulate(more)
        elif (best := inquiry.best) is not None and best.step_check is None:
            inquiry.check(best)
        else:
            break
    options, best = inquiry.options, inquiry.best
    if not options:
        raise StoppedError("stopped before the first fill was done; nothing to advise from")
    if all(option.fills.always_short for option in options):
        require_room(options[0].fills)
    narrowed: tuple[str, ...] = ()
    if best is not None and best.status is Status.DEPENDS and not inquiry.interrupted:
        narrowed = what_measuring_brings(best.risks, study=study)
    stopped = inquiry.interrupted or (best is not None and best.step_check is None)
    reason = [_reason(question, options, best), *_about_steps(options, best)]
    return Decision(
        decision=question.decision,
        unit=question.unit,
        scenario=question.scenario,
        options=options,
        chosen=best,
        status=Status.FAILS if best is None else best.status,
        reason=" ".join(part for part in (*["Stopped early, so not all was looked at."] * stopped, *reason) if part),
        measure_next=() if best is None else narrowed or question.hints(options, best),
        seed=study.seed,
        engine=options[0].fills.engine,
        window=question.window_among(options),
        interrupted=stopped,
    )


def least_bad(options: Sequence[Option]) -> Option | None:
    """Choose what went wrong least of those that may meet the target for all that is known.

    Parameters
    ----------
    options : sequence of Option
        What was looked at.

    Returns
    -------
    Option or None
        None if all fail.
    """
    return min((option for option in options if option.is_open), key=lambda option: option.risks.how_bad, default=None)


def _worst_in_words(options: Sequence[Option]) -> str:
    """Say what goes wrong with most of the options; empty if nothing did."""
    causes = Counter(option.mechanism for option in options if option.mechanism)
    return f"What goes wrong most: {causes.most_common(1)[0][0]}." if causes else ""


def hints_for(option: Option) -> tuple[str, ...]:
    """Say what to measure or simulate to be surer of an option.

    Parameters
    ----------
    option : Option
        What was looked at.

    Returns
    -------
    tuple of str
        A sentence each, most help first.
    """
    hints = what_to_do_next(option.risks)
    if option.turns_on_steps:
        hints += ("log 200 turns with it, or choose one with more room: so near an edge no simulation tells",)
    return hints


def _reason(question: Question, options: Sequence[Option], best: Option | None) -> str:
    allowed = question.scenario.target.in_words()
    if best is None:
        return f"Every {question.things} {question.refused_for(allowed)}. {_worst_in_words(options)}".rstrip()
    name = f"The {best.label}"
    beside = [*question.beside(options, best)]
    if best.turns_on_steps:
        parts = [f"{name} stays within {allowed} with the usual time steps only.", *beside]
    elif best.status is Status.MEETS:
        parts = [f"{name} stays within {allowed}.", *beside]
    elif best.status is Status.DEPENDS:
        parts = [f"{name} went wrong least, but whether it stays within {allowed} depends on what was not measured."]
        parts += [f"It depends most on the {in_words(best.risks.depends_on)}."] * bool(best.risks.depends_on)
        parts += beside or [_worst_in_words(options)]
    else:
        parts = [
            f"{name} went wrong least, but {_loadings(best.estimate.fills)} not show whether it stays "
            f"within {allowed}.",
            *(beside or [_worst_in_words(options)]),
        ]
    return " ".join(part for part in parts if part)


def _loadings(number: int) -> str:
    return f"{number} loadings do" if number != 1 else "one loading does"


def _about_steps(options: Sequence[Option], best: Option | None) -> list[str]:
    """Say what turns on the time step: what is recommended, and what was not for that."""
    found = []
    for each in options:
        check = each.step_check
        if check is None or not check.turns:
            continue
        if each is best:
            found.append(f"With finer time steps {check.in_words()}.")
        elif each.turns_on_steps:
            found.append(f"The {each.label} is passed over: with finer time steps {check.in_words()}.")
    return found
