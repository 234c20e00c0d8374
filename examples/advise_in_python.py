"""What ``colsim advise examples/alder-hall-2.toml --seed 4417`` does, in Python.

Run with ``--quick`` for a few loadings an option: enough to see the shape of the answer, not to trust it.
"""

import sys
from pathlib import Path

from colsim import Scenario, advise, simulate_fill
from colsim.advice.measurements import what_follows


def main() -> None:
    scenario = Scenario.from_toml(Path(__file__).parent / "alder-hall-2.toml")
    for subject, sentence in what_follows(scenario):
        print(f"{subject}: {sentence}")

    advice = advise(scenario, max_fills=4 if "--quick" in sys.argv else 60, seed=4417)
    print(advice)
    decision = advice.spacer
    print(decision.to_dataframe().to_string(index=False))

    # One loading again, on its own: the first that failed as the column is now.
    now = next(option for option in decision.options if option.value == scenario.rotor.spacer_thickness)
    print(simulate_fill(scenario, seed=4417, number=now.first_failure or 0).summary())


if __name__ == "__main__":  # worker processes read this file too
    main()
