"""How many containers to load."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TYPE_CHECKING

from colsim.advice.decision import (
    Decision,
    Option,
    Status,
    about_steps,
    allowed_in_words,
    hints_for,
    with_steps_checked,
    worst_in_words,
)
from colsim.advice.over_unknowns import End, OverUnknowns, simulate_over_unknowns
from colsim.advice.to_measure import in_words, what_measuring_brings
from colsim.errors import ScenarioError, SimulationError
from colsim.model import Scenario, Target
from colsim.model.loading import MOST_CONTAINERS
from colsim.physics.choice import AUTO, engine_named
from colsim.sampling.checks import require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.fills import Fills
from colsim.sampling.intervals import Estimate
from colsim.sampling.looks import FIRST_LOOK, Run, simulate_until_settled
from colsim.sampling.many_fills import process_pool, require_room
from colsim.sampling.one_fill import Fill
from colsim.sampling.pairs import Pairs

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["MAX_FILLS", "find_count", "halves_against_full", "risk_by_count", "two_halves"]

MAX_FILLS = 192  # enough to show a target of one vend in a hundred with four containers a loading
PAIRED_FILLS = 48  # of the full and the half column, to tell them apart; each settles earlier where it is clear


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
    draws, with what nobody measured at its typical value and at both ends.

    Parameters
    ----------
    scenario : Scenario
        With containers of one kind. Its own count is looked at if there is room for it; ``loading.top_up_at`` stays
        as it is, and only counts above it are looked at.
    counts : sequence of int, optional
        Exactly the counts to look at [containers].
    max_fills : int
        Fills to simulate for each count and end, at most. Of few containers a loading it takes more to show a target
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
        loading. Where none is shown to, the least bad of those that may is named, and none if all fail. Its first
        loadings are simulated again with half the time step; if the verdict turns on that, it does not meet the target.

    Raises
    ------
    ScenarioError
        If containers of several kinds are loaded, a count is not allowed or finds no room, or a number is not allowed.
    SimulationError
        If the column does not hold any of the counts, or Ctrl-C came before the first fill was done.

    Notes
    -----
    Which counts are looked at depends on what the same draws showed of others. So that all intervals hold together
    nevertheless, the confidence is shared among all counts that may come up, ``1 - (1 - target.confidence) / n``, and
    not only among those that do. The risk need not grow with the count; see `Decision.reason`.
    """
    _require_one_kind(scenario)
    max_fills = require_whole("max_fills", max_fills, least=1)
    engine = engine_named(engine)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    possible = _possible_counts(scenario) if counts is None else _named_counts(scenario, counts)
    level = 1 - (1 - scenario.target.confidence) / len(possible)
    with process_pool() if executor is None else nullcontext(executor) as pool:
        looks = _Looks(scenario, level, max_fills, seed, pool, engine, progress, most=_most(scenario))
        if counts is None:
            looks.search(possible)
        else:
            looks.simulate(possible)
            looks.make_comparable(possible[-1])
        options = looks.in_order
        if not options:
            raise SimulationError("stopped before the first fill was done; nothing to advise from")
        if all(option.fills.always_short for option in options):
            require_room(options[0].fills)
        looks.check_steps(search=counts is None)
        options = looks.in_order
        best = _best(options)
        narrowed: tuple[str, ...] = ()
        if best is not None and not looks.interrupted and best.status is Status.DEPENDS:
            narrowed = what_measuring_brings(best.over, max_fills=max_fills, seed=seed, executor=pool)
    reason = ("Stopped early, so not all was looked at. " if looks.interrupted else "") + _reason(
        options, best, searched=counts is None
    )
    return Decision(
        decision="count",
        recommended=None if best is None else best.value,
        unit="containers",
        status=Status.FAILS if best is None else best.status,
        reason=reason,
        options=options,
        measure_next=(*narrowed, *_what_to_do_next(options, best)),
        seed=seed,
        target=scenario.target.failures_per_vend,
    )


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
        _with_count(scenario, count)
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


def _with_count(scenario: Scenario, count: int) -> Scenario:
    return scenario.changed(**{"loading.count": count})


def _half(full: int) -> int:
    """Give half a load, so that two of them are no less than the whole."""
    return (full + 1) // 2


@dataclass
class _Looks:
    """What was simulated so far of the counts of one scenario, and how to go on."""

    scenario: Scenario
    level: float
    max_fills: int
    seed: int
    executor: Executor
    engine: str
    progress: bool
    most: int
    options: dict[int, Option] = field(default_factory=dict)
    interrupted: bool = False

    @property
    def in_order(self) -> tuple[Option, ...]:
        return tuple(self.options[count] for count in sorted(self.options))

    def search(self, possible: Sequence[int]) -> None:
        """Look at the full column, half of it and the present load, and narrow to the border."""
        least = possible[0]
        full = self._room(possible[-1])
        if self.interrupted:
            return
        if full < least:
            raise SimulationError(
                f"the column has room for {full} containers (seed {self.seed}), but is to be filled up again at "
                f"{least - 1} left: lower loading.top_up_at, or measure column.height again"
            )
        first = {full, _half(full), self.scenario.loading.total}
        self.simulate(sorted(count for count in first if least <= count <= full))
        self.make_comparable(full)
        self._narrow()

    def _narrow(self) -> int:
        """Look at the counts that narrow to the border, one after the other; give how many these were."""
        before = len(self.options)
        while not self.interrupted and (count := _next_count(self.options, _least(self.scenario))) is not None:
            self.simulate([count])
        return len(self.options) - before

    def check_steps(self, *, search: bool) -> None:
        """Check what would be recommended with finer time steps; if it turns on them, search for the border again."""
        while not self.interrupted:
            found = with_steps_checked(self.in_order, _best, executor=self.executor, progress=self.progress)
            self.options = {int(option.value): option for option in found}
            best = _best(found)
            self.interrupted = best is not None and best.step_check is None
            if not (search and self._narrow()):
                return

    def simulate(self, counts: Sequence[int]) -> None:
        """Simulate some counts on common draws."""
        found = simulate_over_unknowns(
            [_with_count(self.scenario, count) for count in counts],
            level=self.level,
            max_fills=self.max_fills,
            seed=self.seed,
            executor=self.executor,
            engine=self.engine,
            progress=self.progress,
        )
        for count, over in zip(counts, found, strict=True):
            self.interrupted = self.interrupted or over.interrupted
            if over.typical.records:
                self._keep(count, over)

    def _keep(self, count: int, over: OverUnknowns) -> None:
        lack = _lack_of_room(over)
        geometry = f"{count} of at most {self.most}" + (lack and f"; {lack}")
        self.options[count] = Option(count, geometry, over)

    def _room(self, most: int) -> int:
        """Give for how many there is room in every loading, of a few with all unknowns drawn over their ranges."""
        scenario = _with_count(self.scenario, most).pooled()
        (fills,) = self._until([Run(scenario, lambda _: True, engine=self.engine)], min(FIRST_LOOK, self.max_fills))
        return min((_room_in(fill) for fill in fills.valid), default=most)

    def make_comparable(self, full: int) -> None:
        """Take the full and the half column, where both were looked at, to as many fills as tell them apart."""
        both = [count for count in dict.fromkeys((_half(full), full)) if count in self.options]
        if self.interrupted or len(both) < 2 or self.scenario.loading.top_up_at is not None:
            return
        overs = [self.options[count].over for count in both]
        runs = [
            Run(
                over.typical.scenario,
                lambda so_far: len(so_far) >= PAIRED_FILLS,
                list(over.typical),
                self.engine,
            )
            for over in overs
        ]
        for count, over, longer in zip(both, overs, self._until(runs, self.max_fills), strict=True):
            ends = {end: longer if fills is over.typical else fills for end, fills in over.runs.items()}
            self._keep(count, replace(over, runs=ends))

    def _until(self, runs: Sequence[Run], max_fills: int) -> list[Fills]:
        found = simulate_until_settled(
            runs, max_fills=max_fills, seed=self.seed, executor=self.executor, progress=self.progress
        )
        self.interrupted = self.interrupted or any(fills.interrupted for fills in found)
        return found


def _room_in(fill: Fill) -> int:
    """Give how many lay in the column after loading, and after topping up; the fewer of the two."""
    filled_up = {vend.topped_up: vend.before for vend in reversed(fill.vends)}
    return min(filled_up.values())


def _next_count(options: Mapping[int, Option], least: int) -> int | None:
    """Give the middle between the greatest good count and the next one looked at; None if nothing lies between.

    Good is what meets the target. As long as nothing is shown to, good is at first what may by its best guess, and then
    what came out clean: of these the greatest is soonest shown, since of few containers a loading it takes more.
    """
    shown = [count for count, option in options.items() if _is_shown_good(option)]
    may_be = [count for count, option in options.items() if _may_be_good(option)]
    clean = [count for count in may_be if not options[count].mechanism]
    for good in [shown] if shown else [may_be, clean]:
        low = max(good, default=least - 1)
        high = min((count for count in options if count > low), default=low)
        if high - low > 1:
            return (low + high) // 2
    return None


def _is_shown_good(option: Option) -> bool:
    return option.status is Status.MEETS and not _lack_of_room(option.over)


def _may_be_good(option: Option) -> bool:
    if option.status is Status.FAILS or _lack_of_room(option.over):
        return False
    return _judged(option).rate <= _allowed(option.fills.scenario.target)


def _lack_of_room(over: OverUnknowns) -> str:
    """Say in how many loadings not all found room; empty if all did in each."""
    valid = [fill for end in over.ends for fill in over.runs[end].valid]
    short = sum(fill.short > 0 for fill in valid)
    return f"no room for all in {short} of {len(valid)} loadings" if short else ""


def _best(options: tuple[Option, ...]) -> Option | None:
    """Choose the greatest count that meets, or the least bad of those that may."""
    if good := [option for option in options if _is_shown_good(option)]:
        return good[-1]
    open_ones = [option for option in options if option.status is not Status.FAILS and not _lack_of_room(option.over)]
    return min(open_ones, key=lambda option: option.over.how_bad, default=None)


def _allowed(target: Target) -> float:
    return target.failures_per_vend if target.failures_per_fill is None else target.failures_per_fill


def _judged(option: Option, end: End = End.TYPICAL) -> Estimate:
    """Give the risk that the target is about, per vend or per fill."""
    fills = option.over.runs[end]
    risk = fills.risk_looking_often(level=option.over.level)
    return risk.per_vend if fills.scenario.target.failures_per_fill is None else risk.per_fill


def risk_by_count(decision: Decision) -> pd.DataFrame:
    """Tabulate the risk that the target is about against the count.

    Parameters
    ----------
    decision : Decision
        As `find_count` gives it.

    Returns
    -------
    pandas.DataFrame
        A row a count: ``count [containers]``; failures per vend, or per fill if the target is per fill, as ``rate``,
        ``low`` and ``high`` [-] with every unknown at its typical value, ``could be low`` and ``could be high`` over
        the ends of the unknowns; ``status``, and the commonest ``mechanism``.
    """
    import pandas as pd

    rows = []
    for option in decision.options:
        typical, ends = _judged(option), [_judged(option, end) for end in option.over.ends]
        rows.append(
            {
                "count [containers]": int(option.value),
                "rate": typical.rate,
                "low": typical.low,
                "high": typical.high,
                "could be low": min(estimate.low for estimate in ends),
                "could be high": max(estimate.high for estimate in ends),
                "status": str(option.status),
                "mechanism": option.mechanism,
            }
        )
    return pd.DataFrame(rows)


def _what_to_do_next(options: Sequence[Option], best: Option | None) -> tuple[str, ...]:
    """Say what would make the answer surer, or, where it is sure, what would tell whether more can be loaded."""
    if best is None:
        return ()
    if best.status is not Status.MEETS:
        return hints_for(best)
    above = (option for option in options if option.value > best.value and not _lack_of_room(option.over))
    unsettled = next((option for option in above if option.status is not Status.FAILS), None)
    if unsettled is None:
        return ()
    return tuple(f"to load {unsettled.value:g}: {hint}" for hint in hints_for(unsettled))


def _reason(options: Sequence[Option], best: Option | None, *, searched: bool) -> str:
    allowed = allowed_in_words(options[0].fills.scenario.target)
    if best is None:
        parts = [f"Every count looked at goes wrong more often than {allowed}, or lacks room.", worst_in_words(options)]
    elif best is options[-1] and best.status is Status.MEETS:
        end = "there is room for no more" if searched else "more were not looked at"
        parts = [f"Loading {best.value:g} stays within {allowed}; {end}."]
    elif best.status is Status.MEETS:
        parts = [f"Loading {best.value:g} stays within {allowed}.", *_above(options, best)]
    elif best.turns_on_steps:
        parts = [f"Loading {best.value:g} stays within {allowed} with the usual time steps only."]
        parts += _above(options, best)
    elif best.status is Status.DEPENDS:
        parts = [
            f"Loading {best.value:g} went wrong least, but whether it stays within {allowed} depends on what was "
            "not measured.",
            f"It depends most on the {in_words(best.over.depends_on)}." if best.over.depends_on else "",
            *(_above(options, best) or [worst_in_words(options)]),
        ]
    else:
        parts = [
            f"Loading {best.value:g} went wrong least, but {best.estimate.fills} fills do not show whether it stays "
            f"within {allowed}.",
            *(_above(options, best) or [worst_in_words(options)]),
        ]
    parts += [about_steps(options, best, lambda option: f"Loading {option.value:g}"), _fewer_but_worse(options)]
    return " ".join(part for part in parts if part)


def _above(options: Sequence[Option], best: Option) -> list[str]:
    """Say what ends it above the count that is recommended."""
    above = [option for option in options if option.value > best.value]
    without_room = [option for option in above if _lack_of_room(option.over) and option.status is not Status.FAILS]
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


def _fewer_but_worse(options: Sequence[Option]) -> str:
    """Name a count that is shown to be worse than a greater one; empty if none is."""
    for fewer, more in combinations(options, 2):
        if _judged(fewer).low > _judged(more).high:
            why = f": {fewer.mechanism}" if fewer.mechanism else ""
            return f"Fewer is not always safer: {fewer.value:g} went wrong more often than {more.value:g}{why}."
    return ""


def halves_against_full(half: Fills, full: Fills) -> Pairs:
    """Pair loadings of one full column with loadings of two columns that are each half full.

    Parameters
    ----------
    half, full : Fills
        Of the same seed.

    Returns
    -------
    Pairs
        The first is trouble in either of the half columns, fills 2j and 2j + 1; the second trouble in the full one,
        fill 2j. Each draw enters one pair only, so that the pairs are independent of each other.

    Raises
    ------
    ScenarioError
        If the seeds differ.
    """
    if half.seed != full.seed:
        raise ScenarioError(f"seed: got {half.seed} and {full.seed}; allowed: the same, so that draws are shared")
    pairs = [
        (bool(one.failure or other.failure), bool(whole.failure))
        for one, other, whole in zip(half[::2], half[1::2], full[::2], strict=False)
        if not (one.invalid or other.invalid or whole.invalid)
    ]
    return Pairs(
        len(pairs), sum(two and not whole for two, whole in pairs), sum(whole and not two for two, whole in pairs)
    )


def two_halves(decision: Decision) -> str:
    """Say whether two columns that are each half full would meet trouble less often than one that is full.

    Parameters
    ----------
    decision : Decision
        As `find_count` gives it.

    Returns
    -------
    str
        The share of loadings in which either half column, and in which the full one, meets trouble, with every unknown
        at its typical value, each with its interval. One is said to be better only where the evidence on common draws
        reaches ``1 / (1 - target.confidence)``. Says so where the two were not looked at or are not the same work.
    """
    full = decision.options[-1]
    whole, part = int(full.value), _half(int(full.value))
    half = next((option for option in decision.options if option.value == part), None)
    if whole == 1:
        return "One container cannot be shared between two columns."
    if full.fills.scenario.loading.top_up_at is not None:
        return "Two half columns were not compared with a full one: topped up, they do not vend equally many."
    if half is None:
        return f"Two half columns were not compared with a full one: {part} a loading was not looked at."
    pairs = halves_against_full(half.fills, full.fills)
    q, of_full = (option.fills.risk_looking_often(level=option.over.level).per_fill for option in (half, full))
    either = (1 - (1 - share) ** 2 for share in (q.rate, q.low, q.high))
    numbers = (
        f"Of two columns of {part} one or both meet trouble in {_in_100(*either)} of 100 loadings, one of {whole} in "
        f"{_in_100(of_full.rate, of_full.low, of_full.high)}"
    )
    spoilt = f"of {pairs.fills} common loadings {pairs.only_second} spoilt only the full one, {pairs.only_first} only "
    better = "the two halves serve better" if pairs.only_second > pairs.only_first else "the full one serves better"
    shown = pairs.e_value >= 1 / (1 - full.fills.scenario.target.confidence)
    verdict = better if shown else "a difference is not shown"
    typical = " (with what was not measured at its typical value)" if full.fills.scenario.unknowns() else ""
    return f"{numbers}; {spoilt}the halves: {verdict}{typical}."


def _in_100(rate: float, low: float, high: float) -> str:
    return f"{100 * rate:.0f} ({100 * low:.0f} - {100 * high:.0f})"
