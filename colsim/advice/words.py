"""How answers are laid out for the terminal, and how decisions, options and loads are named in them."""

from __future__ import annotations

import textwrap

from colsim.advice.cautions import CAUTIONS
from colsim.advice.option import Option
from colsim.advice.status import Status
from colsim.advice.to_measure import in_words
from colsim.model import Scenario

__all__ = ["LINE", "care_as_text", "loading_in_words", "verdict_in_words", "wrapped"]

LINE = 100  # characters


def care_as_text() -> str:
    """Write what to mind with the hands in the machine, for the terminal."""
    return "\n".join(["CARE", *(f"   {caution}" for caution in CAUTIONS)])


def wrapped(label: str, text: str, indent: int) -> str:
    """Wrap a text beside a label.

    Parameters
    ----------
    label : str
        What stands before the first line.
    text : str
        In one line.
    indent : int
        Characters before the text in each line.

    Returns
    -------
    str
        In lines of `LINE` characters at most.
    """
    return textwrap.fill(
        text, LINE, initial_indent=f"{label:<{indent}}", subsequent_indent=" " * indent, break_on_hyphens=False
    )


def loading_in_words(scenario: Scenario) -> str:
    """Say what is loaded, and when it is topped up.

    Parameters
    ----------
    scenario : Scenario
        What is described.

    Returns
    -------
    str
    """
    top_up = scenario.loading.top_up_at
    return scenario.load + ("" if top_up is None else f", topped up once at {top_up} left")


def verdict_in_words(option: Option) -> str:
    """Say whether an option meets the target, and by what it does not.

    Parameters
    ----------
    option : Option
        What was looked at.

    Returns
    -------
    str
    """
    if option.turns_on_steps:
        return f"{option.status}: finer time steps change it"
    if option.status is Status.DEPENDS:
        on = in_words(option.risks.depends_on) if option.risks.depends_on else "what was not measured"
        return f"{option.status} on {on.removeprefix('on ')}" + (f": {option.mechanism}" if option.mechanism else "")
    text = str(option.status)
    return f"{text}: {option.mechanism}" if option.mechanism and option.status is not Status.MEETS else text
