"""What a new user is told of six invented columns, and whether it ends in something to do.

Each column is asked about with `colsim advise`; then the command that the answer names as next is typed, and the
one that its answer names, three commands at most. An answer ends in something to do if it gives an order that is
settled, says not to load the container here, or names measurements that settle it.
"""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from common import quick_or_full, table, write
from tqdm import tqdm

from colsim.physics.choice import make_ready

COMMANDS = 3  # at most
ROTOR = 'radius = "95 mm"\npockets = 1\npocket_width = "82 mm"\npocket_depth = "80 mm"'
COLUMNS = {
    "wide": f"""
title = "Wide (invented)"
container = "591 ml carbonated"
[column]
width = "124 mm"
height = "1500 mm"
wall_friction = 0.3
throat = "90 mm"
floor_slope = 60
[rotor]
{ROTOR}
[loading]
count = 16
""",
    "narrow": f"""
title = "Narrow (invented)"
container = "591 ml carbonated"
[column]
width = "90 mm"
height = "1200 mm"
wall_friction = 0.25
[rotor]
{ROTOR}
speed = 45
torque_limit = 20
housing_clearance = "3 mm"
lead_in = "8 mm"
[loading]
count = 12
""",
    "can": """
title = "Can (invented)"
container = "12 fl oz can"
[column]
width = "76 mm"
height = "1200 mm"
wall_friction = 0.2
[rotor]
radius = "85 mm"
pockets = 1
pocket_width = "74 mm"
pocket_depth = "72 mm"
[loading]
count = 14
""",
    "soft": f"""
title = "Soft (invented)"
[container]
diameter = "65 mm"
mass = "520 g"
drink = "still"
wall_feel = "thin"
[column]
width = "90 mm"
height = "1300 mm"
wall_friction = 0.25
[rotor]
{ROTOR}
[loading]
count = 14
""",
    "single file": f"""
title = "Single file (invented)"
[container]
diameter = "66 mm"
mass = "540 g"
stiffness = 70
[column]
width = "69 mm"
height = "1200 mm"
wall_friction = 0.25
throat_radius = 0
[rotor]
{ROTOR}
[loading]
count = 14
""",
    "two kinds": f"""
title = "Two kinds (invented)"
[containers.large]
diameter = "66 mm"
mass = "540 g"
stiffness = 70
[containers.slim]
diameter = "62 mm"
mass = "480 g"
stiffness = 70
[column]
width = "90 mm"
height = "1300 mm"
wall_friction = 0.25
[rotor]
{ROTOR}
[[loading.layers]]
container = "large"
count = 6
[[loading.layers]]
container = "slim"
count = 6
""",
}


def typed(words: list[str], extra: list[str]) -> tuple[str, float]:
    """Run a command of colsim as it was printed; give what it says and its seconds."""
    begun = time.perf_counter()
    command = [sys.executable, "-m", "colsim", *words, "--seed", "4417", *extra]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{shlex.join(command)}: {done.stderr}")
    return done.stdout, time.perf_counter() - begun


def next_of(answer: str) -> list[str]:
    """Give the words of the command that an answer names next; none if it names no one that can be typed at once."""
    found = re.search(r"^NEXT +colsim (.*)$", answer, re.MULTILINE)
    words = shlex.split(found[1].split("   (")[0]) if found else []
    return [] if "NAME" in words else words


def what_to_do(answer: str) -> str:
    """Say in which way an answer ends in something to do; empty if in none."""
    flowing = " ".join(answer.split())
    if "Do not load this container here" in flowing:
        return "do not load it here"
    orders = re.findall(r"(Put in the [^.]*?\)\.|Leave the pocket bare\.|Load \d+, no more\.)", flowing)
    if orders and "Not settled. If you must" not in flowing:
        return " ".join(orders)
    if settles := re.search(r"MEASURE NEXT (.{10,200}?): settles it", flowing):
        return f"measure {settles[1]}"
    return ""


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    make_ready("compiled")
    extra = ["--max-fills", "2"] if quick else []
    rows: list[list[object]] = []
    texts: list[str] = []
    good = 0
    columns = dict(list(COLUMNS.items())[1:2]) if quick else COLUMNS
    with tempfile.TemporaryDirectory() as folder:
        for name, text in tqdm(columns.items(), desc="columns"):
            file = Path(folder) / f"{name.replace(' ', '-')}.toml"
            file.write_text(text.lstrip(), encoding="utf-8")
            words, ends, seconds, told = ["advise", str(file)], "", 0.0, []
            for _ in range(1 if quick else COMMANDS):
                answer, took = typed(words, extra)
                seconds += took
                printed = f"$ colsim {shlex.join(words)}\n{answer}".replace(folder + "/", "")
                told.append(printed)
                ends = what_to_do(answer) or ends
                following = next_of(answer)
                if not following or following == words:
                    break
                words = following
            good += bool(ends)
            rows.append([name, len(told), ends or "nothing", f"{seconds:.0f}"])
            texts += ["", f"## {name}", "", "```", *"\n".join(told).splitlines(), "```"]
    lines = table(["column", "commands", "ends in", "seconds"], rows) + texts
    says = f"{good} of {len(columns)} end in something to do, in at most {COMMANDS} commands"
    write("first_answers", lines, quick=quick, holds=good == len(columns), says=says)


if __name__ == "__main__":
    main()
