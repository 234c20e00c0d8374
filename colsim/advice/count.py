"""How many containers to load."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor

from colsim.advice.count_bounds import COUNT, greatest_count, named_counts, possible_counts, require_one_kind
from colsim.advice.count_words import fewer_but_worse, lack_of_room, what_ends_it
from colsim.advice.decision import Decision
from colsim.advice.option import Alternative, Option
from colsim.advice.pipeline import Inquiry, Question, decide, hints_for, least_bad
from colsim.advice.risks import Risks
from colsim.advice.status import Status
from colsim.advice.study import study
from colsim.errors import SimulationError, StoppedError
from colsim.model import Scenario
from colsim.physics.choice import AUTO
from colsim.sampling.looks import FIRST_LOOK, Run
from colsim.sampling.one_fill import Fill

__all__ = ["MAX_FILLS", "find_count"]

MAX_FILLS = 192  # enough to show a target of one vend in a hundred with four containers a loading


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
        If the column does not hold any of the counts, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.

    Notes
    -----
    Which counts are looked at depends on what the same draws showed of others. So that all intervals hold together
    nevertheless, the confidence is shared among all counts that may come up, and not only among those that do. The risk
    need not grow with the count; see `Decision.reason`.
    """
    question = _Count(scenario, counts)
    with study(max_fills=max_fills, seed=seed, executor=executor, engine=engine, progress=progress) as how:
        return decide(question, how)


class _Count(Question):
    decision, unit, things = "count", "containers", "count looked at"

    def __init__(self, scenario: Scenario, counts: Sequence[int] | None) -> None:
        super().__init__(scenario)
        require_one_kind(scenario)
        self.searched = counts is None
        self.counts = possible_counts(scenario) if counts is None else named_counts(scenario, counts)
        self.most = greatest_count(scenario)

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
            raise StoppedError("stopped before the first fill was done; nothing to advise from")
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
        return lack_of_room(risks)

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
            found = what_ends_it(options, best)
        elif best.status is Status.MEETS:
            found = ["There is room for no more." if self.searched else "More were not looked at."]
        else:
            found = []
        return [*found, *fewer_but_worse(options)]


def _room_in(fill: Fill) -> int:
    """Give how many lay in the column after loading, and after topping up; the fewer of the two."""
    filled_up = {vend.topped_up: vend.before for vend in reversed(fill.vends)}
    return min(filled_up.values())


def _is_shown(option: Option) -> bool:
    return option.status is Status.MEETS and not _lacks(option)


def _lacks(option: Option) -> bool:
    return bool(lack_of_room(option.risks))
