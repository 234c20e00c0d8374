"""Which of several containers belong in a column: the answer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING, Any

from colsim.advice.option import Option
from colsim.advice.spacer_options import spacer_in_words
from colsim.advice.status import Status
from colsim.model import Container, Scenario
from colsim.sampling.pairs import Pairs

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Candidate", "Comparison"]


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
    interrupted : bool
        Whether Ctrl-C cut it short; those that are missing were not looked at.
    """

    scenario: Scenario
    candidates: tuple[Candidate, ...]
    seed: int
    interrupted: bool = False

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
        early = "Stopped early, so not all was looked at. " * self.interrupted
        text = early + "; ".join(f"{verdict}: {', '.join(names)}" for verdict, names in named.items()) + "."
        hints = [
            f"To settle {candidate.name}: {candidate.measure_next[0]}."
            for candidate in self.candidates
            if candidate.measure_next and candidate.status is not Status.MEETS
        ]
        return " ".join([text, *hints])

    def __repr__(self) -> str:
        return f"<Comparison in {self.scenario.title!r}: {len(self.candidates)} containers, seed {self.seed}>"

    def __str__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"


def _numbers(option: Option) -> tuple[float, float, float, float, float]:
    e = option.estimate
    return (e.rate, e.low, e.high, *option.risks.could_be)
