"""What the benchmarks share: the scenes, and a results file with its date, commit and processor."""

from __future__ import annotations

import argparse
import platform
import subprocess
from datetime import UTC, datetime
from pathlib import Path

from colsim import Scenario
from colsim.physics.choice import AUTO, engine_named

RESULTS = Path(__file__).parent / "results"
ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}
MASS = {58: 0.45, 62: 0.48, 66: 0.54, 73: 0.64}
STIFFNESS = 70  # between two boards, of a firm container [N/mm]


def varies(typical: float, deviation: float) -> dict[str, object]:
    """Give what differs by a normal law from container to container, or from fill to fill if it is of a column."""
    return {"kind": "varies", "shape": "normal", "typical": typical, "deviation": deviation}


def rotor_scenario(diameter: int, count: int) -> Scenario:
    """Give the column of 90 mm over the pocket of 82 x 80 mm, friction 0.25."""
    return Scenario(
        title=f"{diameter} mm in 90 mm",
        container={"diameter": diameter, "mass": MASS[diameter], "stiffness": STIFFNESS},
        column={"width": 90, "height": 3000, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"count": count},
    )


def wide_scenario(friction: float, count: int) -> Scenario:
    """Give the column of 124 mm with a floor at 60 deg, for containers of 73 mm."""
    return Scenario(
        title=f"73 mm in 124 mm, wall friction {friction:g}",
        container={"like": "591 ml carbonated", "stiffness": STIFFNESS},
        column={"width": 124, "height": 1500, "throat": 90, "floor_slope": 60, "wall_friction": friction},
        rotor=ROTOR,
        loading={"count": count},
    )


def lifted_scenario(lift: float, friction: float, container_friction: float = 0.25) -> Scenario:
    """Give a plain wide column of 124 mm with sheets up to 500 mm whose top edges stand off, over a wide rotor."""
    return Scenario(
        title=f"73 mm in plain 124 mm, edges lifted {lift:g} mm, friction {friction:g}",
        container={"like": "591 ml carbonated", "stiffness": STIFFNESS, "friction": container_friction},
        column={
            "width": 124,
            "height": 1500,
            "wall_friction": friction,
            "liners": [{"top": 500, "friction": friction, "lifted_edge": lift}],
        },
        rotor={"radius": 110, "pockets": 1, "pocket_width": 100, "pocket_depth": 90, "spacer_thickness": 10}
        | {"torque_limit": 60},
        loading={"count": 14},
    )


def quick_or_full(description: str) -> bool:
    """Read the command line: whether only a smoke run, which writes no results, is wanted."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--quick", action="store_true", help="a smoke run of a few seconds; writes nothing")
    return bool(parser.parse_args().quick)


VERDICT = "Verdict: "
HOLDS, FAILS = f"{VERDICT}holds", f"{VERDICT}DOES NOT HOLD"


def write(name: str, lines: list[str], *, quick: bool, holds: bool | None = None, says: str = "") -> None:
    """Print the lines and, in a full run, keep them with date, commit and processor; a proof ends with its verdict."""
    if holds is not None:
        lines = [*lines, "", f"{HOLDS if holds else FAILS}: {says}"]
    print("\n".join(lines))
    if quick:
        return
    RESULTS.mkdir(exist_ok=True)
    engine = f"{engine_named(AUTO)} engine unless named"
    head = [f"# {name}", "", f"{datetime.now(UTC):%Y-%m-%d}, commit {_commit()}, {_processor()}, {engine}", ""]
    (RESULTS / f"{name}.md").write_text("\n".join([*head, *lines]) + "\n", encoding="utf-8")


def table(columns: list[str], rows: list[list[object]]) -> list[str]:
    """Write a table in Markdown."""
    return ["| " + " | ".join(str(cell) for cell in row) + " |" for row in [columns, ["---"] * len(columns), *rows]]


def _commit() -> str:
    command = ["git", "-C", str(Path(__file__).parent), "rev-parse", "--short", "HEAD"]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout.strip() or "unknown"


def _processor() -> str:
    names = [line.partition(":")[2].strip() for line in _cpuinfo() if line.startswith("model name")]
    return (
        f"{names[0] if names else platform.processor()} ({len(names) or '?'} cores), Python {platform.python_version()}"
    )


def _cpuinfo() -> list[str]:
    path = Path("/proc/cpuinfo")
    return path.read_text(encoding="utf-8").splitlines() if path.exists() else []
