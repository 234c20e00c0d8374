"""All proofs against the outside in one command.

The plain channel, equilibria of bridges, clogging of a hopper, the coverage of the intervals, the fineness of the time
step, our engines against each other and an independent one: each writes its own results, and this gathers their
verdicts. With --missing only those are run that have none yet.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from pathlib import Path

from common import FAILS, HOLDS, RESULTS, VERDICT, table, write

PROOFS = ("channel", "bridges", "hopper", "interval_coverage", "convergence", "engines_agree", "verdicts")


def verdict_in(text: str) -> str:
    """Give the line with the verdict, or nothing if there is none."""
    return next((line for line in text.splitlines() if line.startswith(VERDICT)), "")


def kept(name: str) -> str:
    """Give the verdict that a results file holds, or nothing."""
    path = RESULTS / f"{name}.md"
    return verdict_in(path.read_text(encoding="utf-8")) if path.exists() else ""


def proven(name: str, *, quick: bool) -> str:
    """Run a proof, which shows its own progress, and give its verdict."""
    print(f"== {name}", file=sys.stderr)
    command = [sys.executable, str(Path(__file__).with_name(f"{name}.py")), *(["--quick"] if quick else [])]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    return verdict_in(done.stdout) if done.returncode == 0 else f"{FAILS}: it broke off with code {done.returncode}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a smoke run of each; writes nothing, shows nothing true")
    parser.add_argument("--missing", action="store_true", help="run only what has no verdict among the results")
    options = parser.parse_args()
    rows: list[list[object]] = []
    for name in PROOFS:
        begun = time.monotonic()
        verdict = kept(name) if options.missing else ""
        took = "kept"
        if not verdict:
            verdict = proven(name, quick=options.quick)
            took = f"{(time.monotonic() - begun) / 60:.1f} min"
        rows.append([name, verdict.removeprefix(VERDICT), took, f"{name}.md"])
    held = sum(str(row[1]).startswith(HOLDS.removeprefix(VERDICT)) for row in rows)
    lines = table(["proof", "verdict", "took", "results"], rows)
    write("prove", lines, quick=options.quick, holds=held == len(rows), says=f"{held} of {len(rows)} proofs")
    if held < len(rows) and not options.quick:
        sys.exit(1)


if __name__ == "__main__":
    main()
