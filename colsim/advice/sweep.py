"""How the risk moves with what can be changed: every combination of values, on the same virtual loadings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from itertools import combinations, product
from textwrap import shorten
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from tqdm import tqdm

from colsim.advice.option import commonest_mechanism
from colsim.errors import ScenarioError, SimulationError, StoppedError
from colsim.model import Scenario
from colsim.model.paths import put
from colsim.physics.choice import AUTO, engine_named
from colsim.sampling.checks import require_scenario, require_whole
from colsim.sampling.draws import fresh_seed
from colsim.sampling.fills import Fills
from colsim.sampling.many_fills import Batch, require_room, simulate_batches
from colsim.sampling.one_fill import Fill
from colsim.sampling.workers import process_pool

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Point", "Sweep", "simulate_sweep"]

_LONGEST_REASON = 90  # characters of a reason in the summary; the table holds it whole
_RATES = [(unit, bound) for unit in ("vend", "fill") for bound in ("rate", "low", "high")]
_NOTHING: Mapping[str, Any] = MappingProxyType(
    {
        "fills": 0,
        "failures": math.nan,
        "invalid": math.nan,
        **{f"{bound} per {unit}": math.nan for unit, bound in _RATES},
        "commonest mechanism": "",
        "short [containers]": math.nan,
    }
)
"""What is in the table of a point that was refused."""


@dataclass(frozen=True)
class Point:
    """One combination of values.

    Attributes
    ----------
    values : mapping of str to object
        Value by dotted path, as it was given.
    fills : Fills or None
        What was simulated; None if the point was refused.
    refused : str
        Why it cannot be described, or does not hold what is to be loaded; empty if it does.
    """

    values: Mapping[str, object]
    fills: Fills | None
    refused: str


@dataclass(frozen=True, repr=False)
class Sweep:
    """Every combination of some values, simulated on the same virtual loadings.

    Attributes
    ----------
    scenario : Scenario
        What all points share.
    over : mapping of str to tuple
        Values by dotted path, in the order in which they were given.
    points : tuple of Point
        In the order of the product, the last path running fastest. Interrupted by Ctrl-C, without those of which
        nothing was done.
    seed : int
        Seed of all draws.
    asked_for : int
        Fills of each point that were asked for.
    """

    scenario: Scenario
    over: Mapping[str, tuple[object, ...]]
    points: tuple[Point, ...]
    seed: int
    asked_for: int

    @property
    def interrupted(self) -> bool:
        """Whether points, or fills of a point, are missing."""
        whole = math.prod(len(values) for values in self.over.values())
        return len(self.points) < whole or any(fills.interrupted for _, fills in self._simulated())

    def without_effect(self) -> tuple[str, ...]:
        """List the paths whose values made no difference to any vend.

        Returns
        -------
        tuple of str
            Paths of which several values were simulated with all else the same, and gave the same vends to the last
            bit, forces included: nothing that happened in these fills depends on them.
        """
        return tuple(path for path in self.over if self._makes_no_difference(path))

    def to_dataframe(self, *, level: float = 0.95) -> pd.DataFrame:
        """Tabulate the points.

        Parameters
        ----------
        level : float
            Confidence of each row's own intervals [-].

        Returns
        -------
        pandas.DataFrame
            A row a point: a column for each path, with the values as they were given; ``fills``, ``failures`` and
            ``invalid`` [fills]; ``rate per vend``, ``low per vend``, ``high per vend`` and the same ``per fill`` [-],
            exact for the fixed number of fills, with what nobody measured at its typical value; ``commonest
            mechanism`` (empty text if nothing failed); ``short [containers]``, the most that found no room in a
            fill; ``seed``; and why it was ``refused`` (empty text if it was not). A refused point has 0 fills and nan.

        Raises
        ------
        ScenarioError
            If the level is not between 0 and 1.
        """
        import pandas as pd

        return pd.DataFrame([self._row(point, level) for point in self.points])

    def _row(self, point: Point, level: float) -> dict[str, Any]:
        found = _NOTHING if point.fills is None else _found(point.fills, level)
        return {**point.values, **found, "seed": self.seed, "refused": point.refused}

    def summary(self) -> str:
        """Say what was simulated, and of each point how often vends and fills fail."""
        rows = [[*map(str, point.values.values()), *_cells(point)] for point in self.points]
        heads = [*self.over, "bad vends in 1000 (95 %)", "fills failed", "most often"]
        lines = [
            f"{self.scenario.title}: {len(self.points)} points of {self.asked_for} fills, seed {self.seed}",
            *_aligned([heads, *rows]),
            *self._remarks(),
        ]
        return "\n".join(lines)

    def _remarks(self) -> Iterator[str]:
        if self.interrupted:
            done = sum(len(fills) for _, fills in self._simulated())
            yield f"stopped early: {done} fills are done, and only these count"
        if invalid := sum(fills.invalid_count for _, fills in self._simulated()):
            yield f"{invalid} fills are invalid, and counted in both bounds"
        if short := sum(any(fill.short for fill in fills.valid) for _, fills in self._simulated()):
            yield f"no room for all in some fills of {short} points"
        for path in self.without_effect():
            yield f"{path} made no difference to any vend of these fills"
        yield "95 %: each line's own interval, for what chance may do in so many fills"
        if unknowns := dict.fromkeys(path for _, fills in self._simulated() for path in fills.scenario.unknowns()):
            yield f"not measured, and taken at typical values: {', '.join(unknowns)}"

    def _simulated(self) -> Iterator[tuple[Point, Fills]]:
        return ((point, point.fills) for point in self.points if point.fills is not None)

    def _makes_no_difference(self, path: str) -> bool:
        alike: dict[str, list[Fills]] = {}
        for point, fills in self._simulated():
            rest = repr({name: value for name, value in point.values.items() if name != path})
            alike.setdefault(rest, []).append(fills)
        groups = [group for group in alike.values() if len(group) > 1]
        return bool(groups) and all(_same_vends(group[0], other) for group in groups for other in group[1:])

    def __repr__(self) -> str:
        paths = ", ".join(self.over)
        return f"<Sweep of {self.scenario.title!r} over {paths}: {len(self.points)} points, seed {self.seed}>"

    def __str__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def simulate_sweep(
    scenario: Scenario,
    over: Mapping[str, Sequence[object]],
    *,
    fills: int,
    seed: int | None = None,
    executor: Executor | None = None,
    engine: str = AUTO,
    progress: bool = False,
) -> Sweep:
    """Simulate every combination of some values, each for the same number of fills on the same draws.

    Since a point's draws are those of every other, two points differ by what was changed and not by chance.

    Parameters
    ----------
    scenario : Scenario
        What was measured.
    over : mapping of str to sequence
        Values by dotted path, as `Scenario.changed` takes them. The last path runs fastest.
    fills : int
        How many of each point, at least 1.
    seed : int, optional
        Seed of all draws; a fresh one, kept in the result, if not given.
    executor : concurrent.futures.Executor, optional
        Where to run; one process for each core if not given. The result is the same on any.
    engine : str
        ``compiled``, ``pymunk``, or ``auto`` for the compiled one.
    progress : bool
        Whether to show one bar for all points on standard error.

    Returns
    -------
    Sweep
        A point that cannot be described, or has no room for what is to be loaded, is kept with the reason. Interrupted
        by Ctrl-C, each point with its fills 0 to k that are done without a gap.

    Raises
    ------
    ScenarioError
        If a path is unknown, has no values, a value twice, or is replaced by a later one; if fills or seed is not
        allowed, or there is no such engine; or if no point can be described.
    SimulationError
        If no point has room for what is to be loaded, or a fill cannot be carried through.
    StoppedError
        If Ctrl-C came before the first fill was done.

    Examples
    --------
    >>> from concurrent.futures import ThreadPoolExecutor
    >>> scenario = Scenario(
    ...     container="12 fl oz can",
    ...     column={"width": 90, "height": 900, "wall_friction": 0.25},
    ...     rotor={"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80},
    ...     loading={"count": 1},
    ... )
    >>> with ThreadPoolExecutor(1) as pool:
    ...     sweep = simulate_sweep(scenario, {"loading.count": [1, 99]}, fills=1, seed=4417, executor=pool)
    >>> sweep.to_dataframe()[["loading.count", "fills", "refused"]]
       loading.count  fills                                            refused
    0              1      1
    1             99      0  loading.count: got 99; at most ... fit; load f...
    """
    require_scenario(scenario)
    fills = require_whole("fills", fills, least=1)
    engine = engine_named(engine)
    seed = fresh_seed() if seed is None else require_whole("seed", seed)
    listed = _listed(scenario, over)
    wanted = [dict(zip(listed, values, strict=True)) for values in product(*listed.values())]
    described = [_described(scenario, values) for values in wanted]
    batches = [Batch(each, seed, range(fills), engine) for each in described if isinstance(each, Scenario)]
    if not batches:
        raise ScenarioError(_all_refused(wanted, str(described[0])))
    found: list[list[Fill]] = [[] for _ in batches]
    with (
        process_pool() if executor is None else nullcontext(executor) as pool,
        suppress(KeyboardInterrupt),  # while the bar closes; what is done counts
        tqdm(total=fills * len(batches), unit="fill", desc=scenario.title, disable=not progress, leave=False) as bar,
    ):
        found, _ = simulate_batches(batches, pool, bar)
    done = iter(found)
    points = [
        Point(values, None, each)
        if isinstance(each, str)
        else _point(values, Fills(each, seed, tuple(next(done)), fills))
        for values, each in zip(wanted, described, strict=True)
    ]
    if not any(found):
        raise StoppedError("stopped before the first fill was done; nothing to show")
    if all(point.refused for point in points):
        raise SimulationError(_all_refused(wanted, points[0].refused))
    kept = tuple(point for point in points if point.refused or (point.fills is not None and point.fills.records))
    return Sweep(scenario, listed, kept, seed, fills)


def _listed(scenario: Scenario, over: Mapping[str, Sequence[object]]) -> dict[str, tuple[object, ...]]:
    """Give the values as plain ones; refuse paths that there are not, and values that make no list."""
    if not over:
        raise ScenarioError('over: got no path; allowed: one at least, as in {"loading.count": [8, 10, 12]}')
    listed = {path: _plain_values(path, values) for path, values in over.items()}
    for earlier, later in combinations(listed, 2):
        if earlier.startswith(f"{later}."):
            raise ScenarioError(f"over: {later} would replace {earlier}, which comes before it; put {later} first")
    tables = scenario.as_given()
    for path, (first, *_) in listed.items():
        put(tables, type(scenario), path, first)
    return listed


def _plain_values(path: str, values: Sequence[object]) -> tuple[object, ...]:
    if isinstance(values, (str, Mapping)) or not isinstance(values, Iterable):
        raise ScenarioError([(path, f"got {values!r}; allowed: a list of values, as in [{values!r}]")])
    plain = [value.item() if isinstance(value, np.generic) else value for value in values]
    if not plain:
        raise ScenarioError([(path, "got no values; allowed: one at least")])
    for k, value in enumerate(plain):
        if value in plain[:k]:
            raise ScenarioError([(path, f"got {value!r} twice; allowed: each value once")])
    return tuple(plain)


def _described(scenario: Scenario, values: Mapping[str, object]) -> Scenario | str:
    """Give the changed scenario, or why there can be none."""
    try:
        return scenario.changed(**values)
    except ScenarioError as error:
        return "; ".join(str(error).splitlines())


def _point(values: Mapping[str, object], fills: Fills) -> Point:
    try:
        require_room(fills)
    except SimulationError as error:
        return Point(values, None, str(error))
    return Point(values, fills, "")


def _all_refused(wanted: Sequence[Mapping[str, object]], first_reason: str) -> str:
    first = ", ".join(f"{path} = {value}" for path, value in wanted[0].items())
    return f"none of the {len(wanted)} points can be simulated; the first ({first}): {first_reason}"


def _found(fills: Fills, level: float) -> dict[str, Any]:
    """Give what is in the table of a point that was simulated, under the names of `_NOTHING`."""
    risk = fills.risk(level=level)
    of = {"vend": risk.per_vend, "fill": risk.per_fill}
    return {
        "fills": len(fills),
        "failures": risk.per_fill.failures,
        "invalid": fills.invalid_count,
        **{f"{bound} per {unit}": getattr(of[unit], bound) for unit, bound in _RATES},
        "commonest mechanism": commonest_mechanism([fills]),
        "short [containers]": max((fill.short for fill in fills.valid), default=0),
    }


def _cells(point: Point) -> tuple[str, str, str]:
    """Say in words how often vends and fills of a point fail, and by what."""
    if point.fills is None:
        return "-", "-", f"refused: {shorten(point.refused, _LONGEST_REASON, placeholder=' ...')}"
    risk = point.fills.risk()
    vends, fills = risk.per_vend, risk.per_fill
    return (
        f"{1000 * vends.rate:.0f} ({1000 * vends.low:.0f} - {1000 * vends.high:.0f})",
        f"{fills.failures} of {fills.fills}",
        commonest_mechanism([point.fills]) or "nothing seen",
    )


def _aligned(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        yield "   ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _same_vends(one: Fills, other: Fills) -> bool:
    return bool(one.valid) and all(a.vends == b.vends for a, b in zip(one, other, strict=False))
