"""How many containers to load."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from itertools import combinations

from colsim.advice.decision import Decision
from colsim.advice.option import Alternative, Option
from colsim.advice.pipeline import Inquiry, Question, decide, hints_for, least_bad
from colsim.advice.risks import Risks
from colsim.advice.status import Status
from colsim.advice.study import study
from colsim.errors import ScenarioError, SimulationError
from colsim.model import Scenario
from colsim.model.loading import MOST_CONTAINERS
from colsim.physics.choice import AUTO
from colsim.sampling.checks import require_whole
from colsim.sampling.looks import FIRST_LOOK, Run
from colsim.sampling.one_fill import Fill

__all__ = ["MAX_FILLS", "find_count"]

MAX_FILLS = 192  # enough to show a target of one vend in a hundred with four containers a loading
COUNT = "loading.count"


def find_count(
    scenario: Scenario,
    *,
    counts: Sequence[int] | None = None,
    max_fills: int = MAX_FILLS,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    progress: bool = False,
) -> Decision:
    """Find how many containers can be loaded so that the column still vends one a turn.

    If no counts are named, the full column, half of it and the load as it is now are simulated first, and then the
    middle between the greatest count that meets the target and the next one looked at, until the two are neighbours;
    so the number of counts looked at grows as the logarithm of what the column holds. All are simulated on the same
    draws, in all cases of what nobody measured.

    Parameters
    ----------
    scenario : Scenario
        With containers of one kind. Its own count is looked at if there is room for it; ``loading.top_up_at`` stays
        as it is, and only counts above it are looked at.
    counts : sequence of int, optional
        Exactly the counts to look at [containers].
    max_fills : int
        Fills to simulate for each count and case, at most. Of few containers a loading it takes more to show a target
        per vend.
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
    Decision
        Recommended is the greatest count looked at that itself meets the target and for which there was room in every
        loading. Where none is shown to, the least bad of those that may is named, and none if all fail.

    Raises
    ------
    ScenarioError
        If containers of several kinds are loaded, a count is not allowed or finds no room, or a number is not allowed.
    SimulationError
        If the column does not hold any of the counts, a fill cannot be carried through, or Ctrl-C came before the first
        fill was done.

    Notes
    -----
    Which counts are looked at depends on what the same draws showed of others. So that all intervals hold together
    nevertheless, the confidence is shared among all counts that may come up, and not only among those that do. The risk
    need not grow with the count; see `Decision.reason`.
    """
    _require_one_kind(scenario)
    question = _Count(scenario, counts)
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        return decide(question, how)


class _Count(Question):
    decision, unit, things = "count", "containers", "count looked at"

    def __init__(self, scenario: Scenario, counts: Sequence[int] | None) -> None:
        super().__init__(scenario)
        self.searched = counts is None
        self.counts = _possible_counts(scenario) if counts is None else _named_counts(scenario, counts)
        self.most = _most(scenario)

    @property
    def possible(self) -> int:
        return len(self.counts)

    @property
    def with_present(self) -> bool:
        return self.scenario.loading.total in self.counts

    def refused_for(self, allowed: str) -> str:
        return f"goes wrong more often than {allowed}, or not always finds room"

    def alternative(self, count: int) -> Alternative:
        return Alternative(
            label=f"load of {count}",
            changes={COUNT: count},
            order=f"Load {count}, no more.",
            geometry=f"{count} of at most {self.most}",
        )

    def next(self, inquiry: Inquiry) -> Sequence[Alternative]:
        if not inquiry.options:
            return [self.alternative(count) for count in (self._first(inquiry) if self.searched else self.counts)]
        count = self._between(inquiry.options) if self.searched else None
        return [] if count is None else [self.alternative(count)]

    def _first(self, inquiry: Inquiry) -> list[int]:
        """Give the full column, half of it and the present load."""
        least, full = self.counts[0], self._room(inquiry)
        if full < least:
            raise SimulationError(
                f"the column has room for {full} containers (seed {inquiry.study.seed}), but is to be filled up again "
                f"at {least - 1} left: lower loading.top_up_at, or measure column.height again"
            )
        return sorted(n for n in {full, (full + 1) // 2, self.scenario.loading.total} if least <= n <= full)

    def _room(self, inquiry: Inquiry) -> int:
        """Give for how many there is room in every loading, of a few with all unknowns over their ranges."""
        most = self.counts[-1]
        run = Run(self.scenario.changed(**{COUNT: most}).screened(), lambda _: True, engine=inquiry.study.engine)
        (fills,) = inquiry.study.simulate([run], at_most=FIRST_LOOK)
        if fills.interrupted:
            raise SimulationError("stopped before the first fill was done; nothing to advise from")
        return min((_room_in(fill) for fill in fills.valid), default=most)

    def _between(self, options: Sequence[Option]) -> int | None:
        """Give the middle between the greatest good count and the next one looked at; None if nothing lies between.

        Good is what meets the target. As long as nothing is shown to, good is at first what may by its best guess, and
        then what came out clean: of these the greatest is soonest shown, since few containers a loading take more.
        """
        shown = [option for option in options if _is_shown(option)]
        may_be = [option for option in options if option.is_open and not _lacks(option)]
        may_be = [option for option in may_be if not option.risks.best_guess_fails]
        clean = [option for option in may_be if not option.mechanism]
        for good in [shown] if shown else [may_be, clean]:
            low = max((int(option.value) for option in good), default=self.counts[0] - 1)
            high = min((int(option.value) for option in options if option.value > low), default=low)
            if high - low > 1:
                return (low + high) // 2
        return None

    def lack_of_room(self, risks: Risks) -> str:
        return _lack_of_room(risks)

    def choose(self, options: Sequence[Option]) -> Option | None:
        if good := [option for option in options if _is_shown(option)]:
            return good[-1]
        return least_bad([option for option in options if not _lacks(option)])

    def hints(self, options: Sequence[Option], best: Option) -> tuple[str, ...]:
        if best.status is not Status.MEETS:
            return hints_for(best)
        above = (option for option in options if option.value > best.value and not _lacks(option))
        unsettled = next((option for option in above if option.status is not Status.FAILS), None)
        if unsettled is None:
            return ()
        return tuple(f"to load {unsettled.value:g}: {hint}" for hint in hints_for(unsettled))

    def beside(self, options: Sequence[Option], best: Option) -> Sequence[str]:
        if best is not options[-1]:
            found = _above(options, best)
        elif best.status is Status.MEETS:
            found = ["There is room for no more." if self.searched else "More were not looked at."]
        else:
            found = []
        return [*found, *_fewer_but_worse(options)]


def _require_one_kind(scenario: Scenario) -> None:
    if scenario.loading.layers:
        raise ScenarioError(
            f"loading.layers: got {scenario.load}; allowed: one kind, as loading.count, since how many of which to "
            "leave out is not settled by a count; describe each kind alone and find its count"
        )


def _least(scenario: Scenario) -> int:
    """Give the least count that can be topped up as the scenario says."""
    return 1 + (scenario.loading.top_up_at or 0)


def _most(scenario: Scenario) -> int:
    """Give the greatest count that the measurements allow, at all ends of what varies or is unknown."""
    greatest = min(scenario.greatest_count(), MOST_CONTAINERS)
    return next(count for count in range(greatest, 0, -1) if _can_be_described(scenario, count))


def _can_be_described(scenario: Scenario, count: int) -> bool:
    """Tell whether the measurements leave room for so many; its own count always can."""
    try:
        scenario.changed(**{COUNT: count})
    except ScenarioError:
        return False
    return True


def _possible_counts(scenario: Scenario) -> tuple[int, ...]:
    return tuple(range(_least(scenario), _most(scenario) + 1))


def _named_counts(scenario: Scenario, counts: Sequence[int]) -> tuple[int, ...]:
    """Check the counts that were named, and put each once and in order."""
    named = tuple(sorted({require_whole("counts", count, least=1) for count in counts}))
    if not named:
        raise ScenarioError("counts: got none; allowed: one whole number of containers or more")
    least, most = _least(scenario), _most(scenario)
    if named[0] < least:
        raise ScenarioError(
            f"counts: got {named[0]}; allowed: {least} or more, since the column is filled up again at "
            f"{least - 1} left; name greater counts or change loading.top_up_at"
        )
    if named[-1] > most:
        raise ScenarioError(
            f"counts: got {named[-1]}; allowed: at most {most}, for which there is room; name smaller counts or "
            "measure column.height again"
        )
    return named


def _room_in(fill: Fill) -> int:
    """Give how many lay in the column after loading, and after topping up; the fewer of the two."""
    filled_up = {vend.topped_up: vend.before for vend in reversed(fill.vends)}
    return min(filled_up.values())


def _is_shown(option: Option) -> bool:
    return option.status is Status.MEETS and not _lacks(option)


def _lacks(option: Option) -> bool:
    return bool(_lack_of_room(option.risks))


def _lack_of_room(risks: Risks) -> str:
    """Say in how many loadings not all found room; empty if all did in each."""
    valid = [fill for case in risks.cases for fill in risks.runs[case].valid]
    short = sum(fill.short > 0 for fill in valid)
    return f"no room for all in {short} of {len(valid)} loadings" if short else ""


def _above(options: Sequence[Option], best: Option) -> list[str]:
    """Say what ends it above the count that is recommended."""
    above = [option for option in options if option.value > best.value]
    without_room = [option for option in above if _lacks(option) and option.status is not Status.FAILS]
    failing = [option for option in above if option.status is Status.FAILS]
    unsettled = [option for option in above if option not in failing and option not in without_room]
    parts = []
    if unsettled:
        parts.append(f"Not settled: {_stretch(unsettled, failing)}.")
    if failing:
        first = failing[0]
        is_tail = all(option in failing for option in above if option.value >= first.value)
        where = f"From {first.value:g} up it fails" if is_tail else f"It fails with {_listed(failing)}"
        parts.append(f"{where}: {first.mechanism}.")
    if without_room:
        parts.append(f"There is not always room for {_listed(without_room)}.")
    return parts


def _stretch(unsettled: Sequence[Option], failing: Sequence[Option]) -> str:
    """Name the counts that are not settled, those between them that were not looked at included where all lie below."""
    first, last = unsettled[0].value, unsettled[-1].value
    if not failing or last > failing[0].value or failing[0].value - first == 1:
        return _listed(unsettled)
    return f"{first:g} to {failing[0].value - 1:g}"


def _listed(options: Iterable[Option]) -> str:
    return ", ".join(f"{option.value:g}" for option in options)


def _fewer_but_worse(options: Sequence[Option]) -> list[str]:
    """Name a count that is shown to be worse than a greater one."""
    for fewer, more in combinations(options, 2):
        if fewer.risks.estimate_of_target().low > more.risks.estimate_of_target().high:
            why = f": {fewer.mechanism}" if fewer.mechanism else ""
            return [f"Fewer is not always safer: {fewer.value:g} went wrong more often than {more.value:g}{why}."]
    return []
