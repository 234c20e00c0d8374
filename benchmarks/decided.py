"""How soon `colsim advise` decides a target of one bad vend in a thousand, on a column that meets it and one that not.

The true risk comes from a long run of its own, on other draws. Bottles differ in diameter, and a slim one lets a second
into the pocket. All else is measured, so that no end of an unknown is simulated, and there is no spacer to choose.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from common import quick_or_full, table, write

from colsim import Scenario, simulate_fills
from colsim.physics.choice import make_ready

TARGET, SECONDS = 0.001, 60.0
CASES = {"68 mm, spread 0.8 mm": (68.0, 0.8), "65 mm, spread 1 mm": (65.0, 1.0)}
TEXT = """
title = "Decided (invented): {name}"
[container]
diameter = {{ kind = "varies", shape = "normal", typical = "{typical} mm", deviation = "{deviation} mm" }}
mass = "540 g"
stiffness = "70 N/mm"
friction = 0.25
restitution = 0.2
liquid_spin = 0.2
[column]
width = "90 mm"
height = "900 mm"
wall_friction = 0.25
throat_radius = "10 mm"
[rotor]
radius = "95 mm"
pockets = 1
pocket_width = "82 mm"
pocket_depth = "80 mm"
housing_clearance = "2 mm"
lead_in = "10 mm"
speed = "45 rpm"
torque_limit = "20 N m"
friction = 0.25
spacer_thickness = "0 mm"
[loading]
count = 10
placement_scatter = 0.5
[on_hand]
spacers = ["0 mm"]
[target]
failures_per_vend = {target}
"""


def advised(file: Path, max_fills: int) -> tuple[float, str]:
    """Run the command as a user would; give its seconds and its line on the column as it is."""
    begun = time.perf_counter()
    command = [sys.executable, "-m", "colsim", "advise", str(file), "--seed", "4417", "--max-fills", str(max_fills)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, env=os.environ)
    took = time.perf_counter() - begun
    return took, next(" ".join(line.split()) for line in done.stdout.splitlines() if "bare pocket (as" in line)


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    make_ready("compiled")
    fills, most = (4, 8) if quick else (1000, 4000)
    rows: list[list[object]] = []
    good = True
    with tempfile.TemporaryDirectory() as folder:
        for name, (typical, deviation) in CASES.items():
            file = Path(folder) / "decided.toml"
            text = TEXT.format(name=name, typical=typical, deviation=deviation, target=TARGET)
            file.write_text(text, encoding="utf-8")
            risk = simulate_fills(Scenario.from_toml(file), fills=fills, seed=90210, progress=True).risk().per_vend
            took, line = advised(file, most)
            good &= took < SECONDS and ("meets" in line or "fails" in line)
            long_run = f"{1000 * risk.rate:.2f} ({1000 * risk.low:.2f} to {1000 * risk.high:.2f})"
            rows.append([name, long_run, f"{risk.failures} of {risk.fills}", line, f"{took:.0f}"])
    head = [f"Bad vends in 1000; the target is {1000 * TARGET:g}. Whole command, on all cores.", ""]
    columns = ["column", "true, from a long run", "fills failed", "what advise says", "seconds"]
    says = f"each is decided within {SECONDS:.0f} s"
    write("decided", head + table(columns, rows), quick=quick, holds=good, says=says)


if __name__ == "__main__":
    main()
