"""Which of several containers belong in a column: the question."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace

from colsim.advice.comparison import Candidate, Comparison
from colsim.advice.option import Alternative, Option
from colsim.advice.pipeline import Inquiry, Question, decide, least_bad
from colsim.advice.spacer import MAX_FILLS
from colsim.advice.spacer_bounds import spacer_bounds
from colsim.advice.spacer_options import default_spacers, spacer_alternative
from colsim.advice.status import Status
from colsim.advice.study import study
from colsim.errors import RangeError, ScenarioError
from colsim.model import Container, Scenario
from colsim.model.catalogue import find_entry
from colsim.model.one_line import as_escapes, is_one_line
from colsim.physics.choice import AUTO
from colsim.sampling.checks import require_kind, require_list, require_scenario

__all__ = ["compare_containers"]


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
        If the column does not hold what it is to be loaded with, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.
    """
    require_scenario(scenario)
    named = _named(scenario, containers)
    prepared = {name: _prepare(scenario, container) for name, container in named.items()}
    made = [each.of(scenario) for alternatives, _ in prepared.values() for each in alternatives]
    with_present = scenario in made
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        candidates, interrupted = [], False
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
            if interrupted := decision.interrupted:
                break
    return Comparison(scenario, tuple(candidates), how.seed, interrupted)


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
        named = {name: _container(each) for name, each in containers.items()}
    else:
        listed = require_list("containers", containers, '["12 fl oz can", "500 ml carbonated"]')
        found = [
            (each, _find(scenario, each)) if isinstance(each, str) else (_container(each).name, each) for each in listed
        ]
        named = dict(found)
        if len(named) < len(found):
            raise ScenarioError("containers: got the same name twice; allowed: each name once; rename one")
    if not named:
        raise ScenarioError("containers: got none; allowed: one name or container at least")
    for name in named:
        if not is_one_line(str(name)):
            text = f'got the name "{as_escapes(str(name))}"; allowed: one line of text without control characters'
            raise ScenarioError([("containers", f"{text}; give it another")])
    return named


def _container(given: Container) -> Container:
    """Refuse what is none."""
    require_kind("containers", given, Container, "make one with Container(...), or give a name of the catalogue")
    return given


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
