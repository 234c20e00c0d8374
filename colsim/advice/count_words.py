"""What is said of the counts beside the one that is recommended."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations

from colsim.advice.option import Option
from colsim.advice.risks import Risks
from colsim.advice.status import Status

__all__ = ["fewer_but_worse", "lack_of_room", "what_ends_it"]


def lack_of_room(risks: Risks) -> str:
    """Say in how many loadings not all found room; empty if all did in each.

    Parameters
    ----------
    risks : Risks
        Of one count.

    Returns
    -------
    str
    """
    valid = [fill for case in risks.cases for fill in risks.runs[case].valid]
    short = sum(fill.short > 0 for fill in valid)
    return f"no room for all in {short} of {len(valid)} loadings" if short else ""


def what_ends_it(options: Sequence[Option], best: Option) -> list[str]:
    """Say what ends it above the count that is recommended.

    Parameters
    ----------
    options : sequence of Option
        By count.
    best : Option
        The one that is recommended.

    Returns
    -------
    list of str
        Sentences.
    """
    above = [option for option in options if option.value > best.value]
    without_room = [option for option in above if lack_of_room(option.risks) and option.status is not Status.FAILS]
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


def fewer_but_worse(options: Sequence[Option]) -> list[str]:
    """Name a count that is shown to be worse than a greater one.

    Parameters
    ----------
    options : sequence of Option
        By count.

    Returns
    -------
    list of str
        A sentence, or none.
    """
    for fewer, more in combinations(options, 2):
        if fewer.risks.estimate_of_target().low > more.risks.estimate_of_target().high:
            why = f": {fewer.mechanism}" if fewer.mechanism else ""
            return [f"Fewer is not always safer: {fewer.value:g} went wrong more often than {more.value:g}{why}."]
    return []
