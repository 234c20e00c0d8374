"""The one form of every answer."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from colsim.advice.option import Option
from colsim.advice.status import Status
from colsim.advice.step_check import StepCheck
from colsim.advice.window import Window
from colsim.model import Scenario, Target
from colsim.physics.engines import Settings
from colsim.version import __version__

if TYPE_CHECKING:
    import pandas as pd

_USUAL = Settings()

__all__ = ["Decision", "Option", "Status", "StepCheck"]


@dataclass(frozen=True, repr=False)
class Decision:
    """One answer, with its reason and everything it was chosen from.

    Attributes
    ----------
    decision : str
        What was decided.
    unit : str
        Unit of the choice.
    scenario : Scenario
        What was asked about.
    options : tuple of Option
        All that were looked at, in order.
    chosen : Option or None
        What is recommended; None if nothing can be.
    status : Status
        Whether the recommended option meets the target; if there is none, why not.
    reason : str
        Why, in plain words.
    measure_next : tuple of str
        What to measure or simulate to be surer, most help first.
    window : Window or None
        Between which choices any serves; None where that was not sought.
    seed : int
        Seed of all draws.
    engine : str
        On which engine.
    settings : Settings
        How finely it worked.
    version : str
        Of colsim.
    interrupted : bool
        Whether Ctrl-C cut it short.
    """

    decision: str
    unit: str
    scenario: Scenario
    options: tuple[Option, ...]
    chosen: Option | None
    status: Status
    reason: str
    measure_next: tuple[str, ...]
    seed: int
    engine: str
    window: Window | None = None
    settings: Settings = _USUAL
    version: str = __version__
    interrupted: bool = False

    @property
    def recommended(self) -> float | None:
        """The choice [unit]; None if none can be recommended."""
        return None if self.chosen is None else self.chosen.value

    @property
    def target(self) -> Target:
        """What the operator will put up with."""
        return self.scenario.target

    @property
    def step_check(self) -> StepCheck | None:
        """What finer time steps showed of the recommended option; None if there is none, or it was cut short."""
        return None if self.chosen is None else self.chosen.step_check

    @property
    def least_bad(self) -> Option:
        """What is recommended, or else went wrong least."""
        return self.chosen or min(self.options, key=lambda option: option.risks.how_bad)

    @property
    def nothing_will_do(self) -> bool:
        """Whether every option goes wrong too often, or does so by its best guess."""
        return self.chosen is None or all(option.risks.best_guess_fails for option in self.options)

    def to_dataframe(self) -> pd.DataFrame:
        """Tabulate the options.

        Returns
        -------
        pandas.DataFrame
            A row an option: ``<decision> [<unit>]``, ``geometry``, ``failures`` and ``fills``; failures per vend as
            ``rate``, ``low``, ``high`` with every unknown at its typical value; ``could be low`` and ``could be high``
            over all cases of the unknowns; the commonest ``mechanism``, ``status``, and what it ``depends on``.
        """
        import pandas as pd

        rows: list[dict[str, Any]] = [
            {
                f"{self.decision} [{self.unit}]": option.value,
                "geometry": option.geometry,
                "failures": option.estimate.failures,
                "fills": option.estimate.fills,
                "rate": option.estimate.rate,
                "low": option.estimate.low,
                "high": option.estimate.high,
                "could be low": option.risks.could_be[0],
                "could be high": option.risks.could_be[1],
                "mechanism": option.mechanism,
                "status": str(option.status),
                "depends on": option.risks.depends_on if option.status is Status.DEPENDS else "",
            }
            for option in self.options
        ]
        return pd.DataFrame(rows)

    def summary(self) -> str:
        """Say the answer, its reason and the options in a few lines."""
        choice = "nothing to recommend" if self.chosen is None else self.chosen.label
        width = max(len("option"), *(len(option.label) for option in self.options))
        lines = [f"{self.decision}: {choice} ({self.status})", self.reason, ""]
        heads = "bad vends in 1000            loadings failed   verdict     by measure alone"
        lines.append(f"  {'option':{width}}   {heads}")
        for option in self.options:
            e = option.estimate
            low, high = option.risks.could_be
            rate = "   ?" if math.isnan(e.rate) else f"{1000 * e.rate:4.0f}"
            lines.append(
                f"{'>' if option is self.chosen else ' '} {option.label:{width}}   "
                f"{rate} (could be {1000 * low:3.0f} to {1000 * high:4.0f})   "
                f"{e.failures:4d} of {e.fills:<4d}       {option.status:<9}   {option.geometry}"
                + (f"; {option.mechanism}" if option.mechanism else "")
            )
        if self.window is not None:
            lines.append(self.window.in_words())
        if self.chosen is not None:
            found = "NOT CHECKED, stopped early" if self.step_check is None else self.step_check.in_words()
            lines.append(f"finer time steps: {found}")
        return "\n".join(lines)

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        choice = "nothing" if self.chosen is None else self.chosen.label
        return f"<Decision {self.decision}: {choice} ({self.status})>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.summary())}</pre>"
