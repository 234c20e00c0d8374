"""Which of several containers belong in a column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import permutations
from typing import TYPE_CHECKING, Any

from colsim.advice.option import Alternative, Option
from colsim.advice.pipeline import Inquiry, Question, decide, least_bad
from colsim.advice.spacer import MAX_FILLS, default_spacers, spacer_alternative, spacer_in_words
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.advice.status import Status
from colsim.advice.study import study
from colsim.errors import RangeError, ScenarioError
from colsim.model import Container, Scenario
from colsim.model.catalogue import find_entry
from colsim.physics.choice import AUTO
from colsim.sampling.pairs import Pairs

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Candidate", "Comparison", "compare_containers"]


@dataclass(frozen=True)
class Candidate:
    """One container in the column.

    Attributes
    ----------
    name : str
        Of the container.
    container : Container
        What was measured of it.
    refused : str
        Why it does not go into this column at all; empty if it does.
    capacity : int or None
        How many of it the column holds between its walls; None where no formula gives it.
    loaded : int
        How many were loaded: as many as the scenario says, or as there is room for.
    option : Option or None
        The better of the spacer in the pocket now and the one its measure asks for; None if it does not go in.
    measure_next : tuple of str
        What to measure or simulate to be surer, most help first.
    """

    name: str
    container: Container
    refused: str
    capacity: int | None
    loaded: int
    option: Option | None
    measure_next: tuple[str, ...] = ()

    @property
    def status(self) -> Status:
        """Whether it meets the target with that spacer."""
        return Status.FAILS if self.option is None else self.option.status

    @property
    def verdict(self) -> str:
        """Whether it belongs in the column, in words."""
        words = {
            Status.MEETS: "belongs here",
            Status.FAILS: "does not belong here",
            Status.DEPENDS: "depends",
            Status.UNDECIDED: "undecided",
        }
        return "DOES NOT FIT" if self.option is None else words[self.status]

    @property
    def limit(self) -> str:
        """What limits it: why it does not go in, or what goes wrong most often; empty if nothing did."""
        return self.refused or ("" if self.option is None else self.option.mechanism)


@dataclass(frozen=True, repr=False)
class Comparison:
    """Several containers in one column, on the same virtual loadings.

    Attributes
    ----------
    scenario : Scenario
        The column; its own container is not looked at unless it was named.
    candidates : tuple of Candidate
        In the order in which they were named.
    seed : int
        Seed of all draws.
    """

    scenario: Scenario
    candidates: tuple[Candidate, ...]
    seed: int

    def clearly_better(self) -> tuple[tuple[str, str, Pairs], ...]:
        """List which containers fail less than which others on the same loadings, beyond chance.

        Returns
        -------
        tuple of (str, str, Pairs)
            The better, the worse, and the fills in which only the one or only the other failed, with every unknown at
            its typical value. The error that the target's confidence leaves is shared among all pairs.
        """
        inside = [(c.name, c.option.fills) for c in self.candidates if c.option is not None]
        couples = list(permutations(inside, 2))
        needed = len(couples) / 2 / (1 - self.scenario.target.confidence)
        found = [(a, b, x.paired_with(y)) for (a, x), (b, y) in couples]
        return tuple((a, b, p) for a, b, p in found if p.only_second > p.only_first and p.e_value >= needed)

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the containers.

        Returns
        -------
        pandas.DataFrame
            A row a container: ``container``, ``verdict``, ``diameter [mm]``, ``free width [mm]``, ``capacity
            [containers]``, ``loaded [containers]``, ``spacer [mm]``; failures per vend as ``rate``, ``low``, ``high``
            with every unknown at its typical value, ``could be low`` and ``could be high`` over the ends of the
            unknowns; ``limited by``, ``depends on``, ``fills``. What does not go in has nan.
        """
        import pandas as pd

        return pd.DataFrame([self._row(candidate) for candidate in self.candidates])

    def _row(self, candidate: Candidate) -> dict[str, Any]:
        option = candidate.option
        risk = [math.nan] * 5 if option is None else _numbers(option)
        return {
            "container": candidate.name,
            "verdict": candidate.verdict,
            "diameter [mm]": candidate.container.diameter,
            "free width [mm]": self.scenario.column.width - candidate.container.height,
            "capacity [containers]": math.nan if candidate.capacity is None else candidate.capacity,
            "loaded [containers]": candidate.loaded,
            "spacer [mm]": math.nan if option is None else option.value,
            **dict(zip(("rate", "low", "high", "could be low", "could be high"), risk, strict=True)),
            "limited by": candidate.limit,
            "depends on": "" if option is None or option.status is not Status.DEPENDS else option.risks.depends_on,
            "fills": 0 if option is None else option.estimate.fills,
        }

    def summary(self) -> str:
        """Say of each container whether it belongs in the column, with which spacer, and how sure that is."""
        width = max(len("container"), *(len(candidate.name) for candidate in self.candidates))
        lines = [
            f"{self.scenario.title}: column {self.scenario.column.width:g} mm",
            f"{'container':{width}}   {'verdict':<20}   {'spacer':<12}   holds  "
            "bad vends in 1000 (could be)   limited by",
        ]
        for candidate in self.candidates:
            option = candidate.option
            head = f"{candidate.name:{width}}   {candidate.verdict:<20}"
            if option is None:
                lines.append(f"{head}   {'-':<12}   {'-':>4}   {'-':<28}   {candidate.refused}")
                continue
            rate, _, _, low, high = (1000 * number for number in _numbers(option))
            holds = "?" if candidate.capacity is None else str(candidate.capacity)
            risk = f"{rate:.0f} ({low:.0f} - {high:.0f})"
            limit = candidate.limit or "nothing seen"
            lines.append(f"{head}   {spacer_in_words(option.value):<12}   {holds:>4}   {risk:<28}   {limit}")
        lines += [
            f"{better} fails less than {worse}: of {pairs.fills} common loadings {pairs.only_second} spoilt only the "
            f"latter, {pairs.only_first} only the former"
            for better, worse, pairs in self.clearly_better()
        ]
        fills = max((c.option.estimate.fills for c in self.candidates if c.option), default=0)
        lines += [
            "holds: between the walls, besides the one in the pocket",
            f"could be: from what was not measured, and from up to {fills} virtual loadings a spacer and case",
            "Measure your own: makers differ, and a millimetre decides.",
            f"CONCLUSION (limit you set: {self.scenario.target.in_words()}): {self.conclusion()}",
        ]
        return "\n".join(lines)

    def conclusion(self) -> str:
        """Say which containers to load, which not, and what keeps the rest open."""
        named: dict[str, list[str]] = {}
        for candidate in self.candidates:
            spacer = "" if candidate.option is None else f" (with the {spacer_in_words(candidate.option.value)})"
            named.setdefault(candidate.verdict, []).append(f"{candidate.name}{spacer}")
        text = "; ".join(f"{verdict}: {', '.join(names)}" for verdict, names in named.items()) + "."
        hints = [
            f"To settle {candidate.name}: {candidate.measure_next[0]}."
            for candidate in self.candidates
            if candidate.measure_next and candidate.status is not Status.MEETS
        ]
        return " ".join([text, *hints])

    def __repr__(self) -> str:
        return f"<Comparison in {self.scenario.title!r}: {len(self.candidates)} containers, seed {self.seed}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def _numbers(option: Option) -> tuple[float, float, float, float, float]:
    e = option.estimate
    return (e.rate, e.low, e.high, *option.risks.could_be)


def compare_containers(
    scenario: Scenario,
    containers: Sequence[str | Container] | Mapping[str, Container],
    *,
    max_fills: int = MAX_FILLS,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    progress: bool = False,
) -> Comparison:
    """Compare containers in one column, each with the spacer that suits it, on the same virtual loadings.

    Of each are simulated the spacer in the pocket now and the one nearest the middle of its bounds, of those on hand
    or else of steps of 6 mm; all in all cases of what nobody measured. The confidence is
    shared among all that is simulated.

    Parameters
    ----------
    scenario : Scenario
        The column, and how many are loaded at most.
    containers : sequence of str or Container, or mapping of str to Container
        What to compare; a name is that of a container of the scenario or of the catalogue.
    max_fills : int
        Fills to simulate for each spacer and case, at most.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    progress : bool
        Whether to show a bar on standard error.

    Returns
    -------
    Comparison
        One that does not go in is kept, with the reason.

    Raises
    ------
    ScenarioError
        If none is named, one twice, or a name is not known; or if a number is not allowed, or there is no such engine.
    SimulationError
        If the column does not hold what it is to be loaded with, a fill cannot be carried through, or Ctrl-C came
        before the first fills were done.
    """
    named = _named(scenario, containers)
    prepared = {name: _prepare(scenario, container) for name, container in named.items()}
    made = [each.of(scenario) for alternatives, _ in prepared.values() for each in alternatives]
    with_present = scenario in made
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        candidates = []
        for name, container in named.items():
            alternatives, refused = prepared[name]
            capacity = _capacity(scenario, container)
            if refused:
                candidates.append(Candidate(name, container, refused, capacity, 0, None))
                continue
            decision = decide(_InColumn(scenario, alternatives, len(made), with_present=with_present), how)
            option = decision.least_bad
            loaded = max((fill.loaded for fill in option.fills.valid), default=0)
            candidates.append(Candidate(name, container, "", capacity, loaded, option, decision.measure_next))
            if decision.interrupted:
                break
    return Comparison(scenario, tuple(candidates), how.seed)


class _InColumn(Question):
    """With which spacer one of the containers belongs in the column."""

    decision, unit, things = "container", "mm", "spacer looked at"

    def __init__(
        self, scenario: Scenario, alternatives: Sequence[Alternative], possible: int, *, with_present: bool
    ) -> None:
        super().__init__(scenario)
        self.alternatives, self._possible, self._with_present = alternatives, possible, with_present

    @property
    def possible(self) -> int:
        return self._possible

    @property
    def with_present(self) -> bool:
        return self._with_present

    def next(self, inquiry: Inquiry) -> Sequence[Alternative]:
        return () if inquiry.options else self.alternatives

    def choose(self, options: Sequence[Option]) -> Option | None:
        good = [option for option in options if option.status is Status.MEETS]
        return min(good, key=lambda option: option.risks.how_bad) if good else least_bad(options)

    def beside(self, options: Sequence[Option], best: Option) -> Sequence[str]:
        return ()


def _named(
    scenario: Scenario, containers: Sequence[str | Container] | Mapping[str, Container]
) -> Mapping[str, Container]:
    if isinstance(containers, Mapping):
        named = dict(containers)
    else:
        found = [(each, _find(scenario, each)) if isinstance(each, str) else (each.name, each) for each in containers]
        named = dict(found)
        if len(named) < len(found):
            raise ScenarioError("containers: got the same name twice; allowed: each name once; rename one")
    if not named:
        raise ScenarioError("containers: got none; allowed: one name or container at least")
    return named


def _find(scenario: Scenario, name: str) -> Container:
    own = {container.name: container for container in scenario.products.values()} | dict(scenario.products)
    return own[name] if name in own else find_entry(name).container()


def _prepare(scenario: Scenario, container: Container) -> tuple[list[Alternative], str]:
    """Put the container into the column, with each spacer that is to be looked at; or say why it does not go in."""
    own = scenario.rotor.spacer_thickness
    try:
        bare = _with_container(scenario, container)
    except ScenarioError as error:
        return [], error.problems[0][1]
    bounds, found = spacer_bounds(bare), []
    for thickness in dict.fromkeys((_suited_spacer(bare, bounds), own)):
        choice = spacer_alternative(bare, thickness, bounds)
        found.append(replace(choice, made=choice.of(bare)))
    return found, ""


def _with_container(scenario: Scenario, container: Container) -> Scenario:
    data = scenario.as_given()
    loading = {name: value for name, value in data["loading"].items() if name not in ("layers", "mixed_friction")}
    data = {name: value for name, value in data.items() if name != "containers"}
    for count in range(scenario.loading.total, 0, -1):
        if count <= loading.get("top_up_at", 0):
            loading.pop("top_up_at")
        try:
            return Scenario(**{**data, "container": container, "loading": {**loading, "count": count}})
        except ScenarioError as error:
            if [path for path, _ in error.problems] != ["loading.count"]:
                raise
    raise ScenarioError("the column is too low for a single one; measure column.height again")


def _suited_spacer(scenario: Scenario, bounds: tuple[float, float]) -> float:
    """Choose the spacer nearest the middle of its bounds."""
    least, greatest = bounds
    middle = greatest if math.isinf(least) else (least + greatest) / 2
    return min(default_spacers(scenario), key=lambda each: (each > greatest, abs(each - middle)))


def _capacity(scenario: Scenario, container: Container) -> int | None:
    try:
        return scenario.column.capacity(container.height)
    except RangeError:
        return None
