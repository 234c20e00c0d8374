"""Scenes and paths that several test folders use."""

from dataclasses import replace
from pathlib import Path

from colsim import Scenario
from colsim.physics.mechanism import Mechanism
from colsim.sampling import Outcome, Vend

ROOT = Path(__file__).parents[1]
ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}


def small_scenario(count=2, **changes):
    """Give a quick column: 66 mm in 90 mm vends clean without a spacer, 58 mm stalls."""
    return Scenario(
        title="small",
        container={"diameter": 66, "mass": 0.54},
        column={"width": 90, "height": 900, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"count": count},
    ).changed(**changes)


def small_toml(folder, width=90):
    """Write the quick column as a file."""
    path = folder / "small.toml"
    rotor = "\n".join(f"{key} = {value}" for key, value in ROTOR.items())
    path.write_text(
        f'title = "small"\n[container]\ndiameter = "66 mm"\nmass = "540 g"\n'
        f"[column]\nwidth = {width}\nheight = 900\nwall_friction = 0.25\nthroat = 90\nfloor_slope = 60\n"
        f"[rotor]\n{rotor}\n[loading]\ncount = 2\n",
        encoding="utf-8",
    )
    return path


def made(plain, number, outcomes, count=4, invalid=""):
    """Make a fill by hand from its outcomes."""
    left, vends = count, []
    for k, outcome in enumerate(outcomes, 1):
        before = left
        left -= {Outcome.SINGLE: 1, Outcome.LATE: 1, Outcome.DOUBLE: 2}.get(outcome, 0)
        why = None if outcome is Outcome.SINGLE else Mechanism.SECOND_IN_POCKET
        vends.append(Vend(k, outcome, why, left, before, 1.0))
    return replace(
        plain, fill=number, vends=tuple(vends), loaded=count, dispensed=count - left, left=left, invalid=invalid
    )
