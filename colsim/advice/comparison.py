"""Which of several containers belong in a column."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Any

from colsim.advice.decision import Option
from colsim.advice.over_unknowns import OverUnknowns, simulate_over_unknowns
from colsim.advice.spacer import MAX_FILLS, default_spacers, spacer_bounds, spacer_geometry
from colsim.advice.status import Status
from colsim.errors import RangeError, ScenarioError, SimulationError
from colsim.model import Container, Scenario
from colsim.model.catalogue import find_entry
from colsim.physics.choice import AUTO, engine_named
from colsim.sampling.checks import require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.many_fills import process_pool
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
    """

    name: str
    container: Container
    refused: str
    capacity: int | None
    loaded: int
    option: Option | None

    @property
    def status(self) -> Status:
        """Whether it meets the target with that spacer."""
        return Status.FAILS if self.option is None else self.option.status

    @property
    def verdict(self) -> str:
        """Whether it belongs in the column, in words."""
        words = {
            Status.MEETS: "belongs",
            Status.FAILS: "does not belong",
            Status.DEPENDS: "depends",
            Status.UNDECIDED: "cannot tell yet",
        }
        return "does not go in" if self.option is None else words[self.status]

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
            "depends on": "" if option is None or option.status is not Status.DEPENDS else option.over.depends_on,
            "fills": 0 if option is None else option.estimate.fills,
        }

    def summary(self) -> str:
        """Say of each container whether it belongs in the column, with which spacer, and how sure that is."""
        width = max(len(candidate.name) for candidate in self.candidates)
        lines = [
            f"{self.scenario.title}: column {self.scenario.column.width:g} mm",
            f"{'':{width}}   verdict           spacer   holds   bad vends in 1000 (could be)   limited by",
        ]
        for candidate in self.candidates:
            option = candidate.option
            head = f"{candidate.name:{width}}   {candidate.verdict:<15}"
            if option is None:
                lines.append(f"{head}        -       -   {'-':<28}   {candidate.refused}")
                continue
            rate, _, _, low, high = (1000 * number for number in _numbers(option))
            holds = "?" if candidate.capacity is None else str(candidate.capacity)
            risk = f"{rate:.0f} ({low:.0f} - {high:.0f})"
            lines.append(f"{head} {option.value:5g} mm   {holds:>5}   {risk:<28}   {candidate.limit or 'nothing seen'}")
        lines += [
            f"{better} fails less than {worse}: of {pairs.fills} common loadings {pairs.only_second} spoilt only the "
            f"latter, {pairs.only_first} only the former"
            for better, worse, pairs in self.clearly_better()
        ]
        fills = max((c.option.estimate.fills for c in self.candidates if c.option), default=0)
        lines += [
            "holds: between the walls, besides the one in the pocket",
            f"could be: from what was not measured, and from up to {fills} virtual loadings a spacer and end",
            "Measure your own: makers differ, and a millimetre decides.",
        ]
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Comparison in {self.scenario.title!r}: {len(self.candidates)} containers, seed {self.seed}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def _numbers(option: Option) -> tuple[float, float, float, float, float]:
    e = option.estimate
    return (e.rate, e.low, e.high, *option.over.could_be)


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
    or else of steps of 6 mm; all with what nobody measured at its typical value and at both ends. The confidence is
    shared among all that is simulated.

    Parameters
    ----------
    scenario : Scenario
        The column, and how many are loaded at most.
    containers : sequence of str or Container, or mapping of str to Container
        What to compare; a name is that of a container of the scenario or of the catalogue.
    max_fills : int
        Fills to simulate for each spacer and end, at most.
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
        If none is named, or a name is not known.
    SimulationError
        If Ctrl-C came before the first fills were done.
    """
    named = _named(scenario, containers)
    max_fills = require_whole("max_fills", max_fills, least=1)
    engine = engine_named(engine)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    prepared = [_prepare(scenario, container) for container in named.values()]
    options = [(k, each) for k, (several, _) in enumerate(prepared) for each in several]
    level = 1 - (1 - scenario.target.confidence) / max(1, len(options))
    with process_pool() if executor is None else nullcontext(executor) as pool:
        found = simulate_over_unknowns(
            [each for _, each in options],
            level=level,
            max_fills=max_fills,
            seed=seed,
            executor=pool,
            engine=engine,
            progress=progress,
        )
    candidates = []
    for k, (name, container) in enumerate(named.items()):
        mine = [over for (j, _), over in zip(options, found, strict=True) if j == k and over.typical.records]
        refused = prepared[k][1]
        if not refused and not mine:
            raise SimulationError("stopped before the first fills were done; nothing to compare")
        best = [
            Option(over.scenario.rotor.spacer_thickness, _geometry(over.scenario), over)
            for over in sorted(mine, key=_how_bad)
        ]
        loaded = max((fill.loaded for fill in best[0].fills.valid), default=0) if best else 0
        candidates.append(
            Candidate(name, container, refused, _capacity(scenario, container), loaded, best[0] if best else None)
        )
    return Comparison(scenario, tuple(candidates), seed)


def _how_bad(over: OverUnknowns) -> tuple[int, tuple[bool, float, float]]:
    order = (Status.MEETS, Status.DEPENDS, Status.UNDECIDED, Status.FAILS)
    return (order.index(over.status), over.how_bad)


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


def _prepare(scenario: Scenario, container: Container) -> tuple[list[Scenario], str]:
    """Put the container into the column, with each spacer that is to be looked at; or say why it does not go in."""
    own = scenario.rotor.spacer_thickness
    try:
        bare = _with_container(scenario, container)
    except ScenarioError as error:
        return [], error.problems[0][1]
    suited = _suited_spacer(bare)
    return [bare.changed(**{"rotor.spacer_thickness": each}) for each in dict.fromkeys((suited, own))], ""


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


def _suited_spacer(scenario: Scenario) -> float:
    """Choose the spacer nearest the middle of its bounds."""
    least, greatest = spacer_bounds(scenario)
    middle = greatest if math.isinf(least) else (least + greatest) / 2
    return min(default_spacers(scenario), key=lambda each: (each > greatest, abs(each - middle)))


def _geometry(scenario: Scenario) -> str:
    return spacer_geometry(scenario.rotor.spacer_thickness, spacer_bounds(scenario))


def _capacity(scenario: Scenario, container: Container) -> int | None:
    try:
        return scenario.column.capacity(container.height)
    except RangeError:
        return None
