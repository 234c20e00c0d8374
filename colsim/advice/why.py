"""What stands behind an answer, for those who ask."""

from __future__ import annotations

from collections import Counter

from colsim.advice.advice import Advice
from colsim.advice.measurements import what_follows
from colsim.advice.option import Option, first_failure
from colsim.advice.to_measure import in_words
from colsim.advice.words import wrapped

__all__ = ["why"]

_MOST_INVALID = 3


def why(advice: Advice) -> str:
    """Write what stands behind the answer: cases of the unknowns, mechanisms, and fills to replay.

    Parameters
    ----------
    advice : Advice
        All decisions.

    Returns
    -------
    str
    """
    scenario = advice.scenario
    lines = ["WHY"]
    lines += [wrapped(f"   {subject.upper()}", sentence, 14) for subject, sentence in what_follows(scenario)]
    if unknowns := scenario.unknowns():
        lines.append(f"   {'NOT MEASURED':<37} typical, from - to, origin")
        lines += [
            f"      {path:<34} {spread.typical:g}, {spread.low:g} - {spread.high:g}, {spread.origin or 'as you wrote'}"
            for path, spread in unknowns.items()
        ]
    lines.append(f"   {'SIMULATED, unknowns':<27} failed loadings  bad vends in 1000   what went wrong first")
    for decision in advice.decisions:
        for option in decision.options:
            lines += [f"   {option.label.upper()}: {option.geometry}", *_behind(option)]
    return "\n".join([*lines, *_against_now(advice)])


def _behind(option: Option) -> list[str]:
    """Give the numbers of an option by case of the unknowns, what they depend on, and fills that are invalid."""
    lines = []
    for case, fills in option.risks.runs.items():
        e = option.risks.estimate(case)
        mechanisms = Counter(f"{v.outcome} by {v.mechanism}" for fill in fills.valid if (v := fill.failure))
        what = "; ".join(f"{n} {text}" for text, n in mechanisms.most_common()) or "all clean"
        replay = "" if (number := first_failure(fills)) is None else f"; first in fill {number}"
        numbers = f"{e.failures:4d} of {e.fills:<4d}     {1000 * e.low:4.0f} - {1000 * e.high:<4.0f}"
        lines.append(f"      {case:<24} {numbers}        {what}{replay}")
    lines += [
        f"         {in_words(e.path)}: {100 * e.share_when_low:.0f} in 100 loadings fail in its lower half, "
        f"{100 * e.share_when_high:.0f} in its upper"
        for e in option.risks.effects
        if e.seen
    ]
    if (check := option.step_check) is not None:
        lines.append(
            f"      of {check.fills} loadings {check.only_coarse} met trouble with the usual time step only, "
            f"{check.only_fine} with half of it only"
        )
    invalid = [fill for fills in option.risks.runs.values() for fill in fills if fill.invalid]
    lines += [f"      {fill.summary()}" for fill in invalid[:_MOST_INVALID]]
    return lines


def _against_now(advice: Advice) -> list[str]:
    """Compare what is recommended with the spacer in the pocket now, on the loadings that both have."""
    decision = advice.spacer
    now = next((o for o in decision.options if o.value == advice.scenario.rotor.spacer_thickness), None)
    if now is None or decision.chosen is None or now is decision.chosen:
        return []
    pairs = decision.chosen.fills.paired_with(now.fills)
    return [
        f"   AGAINST NOW: of {pairs.fills} common loadings {pairs.only_second} failed only as it is now, "
        f"{pairs.only_first} only as recommended (evidence {pairs.e_value:.3g} to 1 that they differ)"
    ]
