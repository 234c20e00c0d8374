"""The risk against the count, as a table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from colsim.advice.decision import Decision

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["risk_by_count"]


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
        the cases of the unknowns; ``status``, and the commonest ``mechanism``.
    """
    import pandas as pd

    rows = []
    for option in decision.options:
        risks = option.risks
        typical, ends = risks.estimate_of_target(), [risks.estimate_of_target(case) for case in risks.cases]
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
