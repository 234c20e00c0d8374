"""When a turn is over, when a column is at rest, and when a container has left: number by number, to compile as well.

Times and limits here decide when a vend is over, not how things move.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = [
    "AGAIN",
    "DROPPED",
    "INSIDE",
    "LOST",
    "ONE_LEFT",
    "OVER",
    "WATCH",
    "Watch",
    "after_look",
    "any_left",
    "begin",
    "has_left",
    "judge_rest",
    "new_watch",
    "next_look",
    "note_extremes",
]

Array = npt.NDArray[np.float64]

LOOK_TIME = 0.02  # [s] between two looks at the state
EXTREMES_EVERY = 2  # looks between two at forces, which cost as much as all else that is looked at
REST_SPEED = 2.0  # [mm/s] below which everything counts as at rest
REST_TIME = 0.1  # [s] for which it must stay so
LONGEST_WAIT = 3.0  # [s] after which a column that never quite rests is taken as it is
STALL_TIME = 0.5  # [s] in which a drum that is not blocked must make
STALL_SHARE = 0.1  # at least this share of its turn at full speed
TOUCHING = 1.0  # [mm] apart at which two containers in the drum count as in one pocket
ANGLE_TOLERANCE = 2e-4  # [rad] short of its place at which the drum is stopped, 0.02 mm at the rim
PLACE_TOLERANCE = 5e-3  # [rad] at which it counts as in its place if a load keeps it from coming closer, 0.5 mm

WATCH = np.dtype(
    [
        ("step", "f8"),  # of the engine [s]
        ("speed", "f8"),  # at which the motor turns the drum [rad/s], and which way
        ("turn", "f8"),
        ("drum_radius", "f8"),  # [mm]
        ("housing_radius", "f8"),
        ("half_width", "f8"),
        ("reach", "f8"),  # of the largest container that was ever in [mm]
        ("time", "f8"),  # [s]
        ("looks", "i8"),
        ("steps", "i8"),  # of the look that comes next, and how fast the drum is to turn meanwhile [rad/s]
        ("rate", "f8"),
        ("turning", "?"),  # whether the drum is to reach its target, else all are to come to rest
        ("vending", "?"),  # whether extremes are wanted
        ("target", "f8"),  # [rad]
        ("begun", "f8"),  # time at which it began to be waited for [s]
        ("marks", "i8"),  # times since then at which it was noted how far the drum is short, and the last of them
        ("marked", "f8"),
        ("blocked", "?"),
        ("quiet", "f8"),  # [s] since when everything is at rest
        ("peak_force", "f8"),  # [N]
        ("dent", "f8"),  # deepest of one container [mm], and over its diameter [-]
        ("dent_share", "f8"),
        ("shared", "?"),  # whether two lay in one pocket
    ]
)
"""What is known of a turn or a wait for rest, as one row."""

OVER, AGAIN, ONE_LEFT = 0, 1, 2  # what became of some looks: done, more to come, or a container has left
INSIDE, DROPPED, LOST = 0, 1, 2  # where a container is


class Watch(NamedTuple):
    """What is waited for, and how far it has come.

    Attributes
    ----------
    row : ndarray of WATCH, shape (1,)
        Changed in place.
    short : ndarray, shape (marks,)
        By how much the drum was short of its target at the last marks, `LOOK_TIME` apart [rad].
    """

    row: npt.NDArray[Any]
    short: Array


def new_watch(step: float) -> Watch:
    """Give a watch over a column at rest that an engine moves on by steps of so many seconds."""
    row = np.zeros(1, dtype=WATCH)
    row["step"] = step
    return Watch(row, np.zeros(1 + max(1, round(STALL_TIME / LOOK_TIME))))


def begin(watch: Watch, *, turning: bool) -> None:
    """Begin to turn towards the target, or to wait for rest."""
    row = watch.row[0]
    row["turning"], row["begun"], row["quiet"], row["blocked"] = turning, row["time"], 0.0, False
    row["marks"] = 0


def next_look(watch: Watch, drum_angle: float) -> int:
    """Give the steps until the next look, or 0 if what is waited for has come; note how fast the drum is to turn."""
    row, short = watch.row[0], watch.short
    step, time = float(row["step"]), float(row["time"])
    steps = usual = max(1, round(LOOK_TIME / step))
    if row["turning"]:
        speed, off = float(row["speed"]), float(row["turn"] * (row["target"] - drum_angle))
        # By time, since looks come more often near its place.
        if row["marks"] == 0 or time - row["marked"] > (1.0 - 1e-9) * LOOK_TIME:
            short[row["marks"] % len(short)] = off
            row["marks"] += 1
            row["marked"] = time
        far_back = short[row["marks"] % len(short)]  # the mark `STALL_TIME` ago, once there are so many
        if row["marks"] >= len(short) and far_back - off < STALL_SHARE * speed * STALL_TIME:
            row["blocked"] = off > PLACE_TOLERANCE
            steps = 0
        elif off <= ANGLE_TOLERANCE:  # in its place, or pushed past it, where the gear holds it
            steps = 0
        else:
            # At full speed up to its place, so that how often we look does not shape how the drum stops.
            if off < 1.5 * usual * speed * step:
                steps = max(2, math.ceil(off / (speed * step)))
            row["rate"] = row["turn"] * min(off / (steps * step), speed)
    elif row["quiet"] >= REST_TIME or time - row["begun"] > LONGEST_WAIT:
        steps = 0
    row["steps"] = steps
    return steps


def after_look(watch: Watch) -> bool:
    """Take note of a look; tell whether forces are to be looked at too."""
    row = watch.row[0]
    row["time"] += row["steps"] * row["step"]
    row["looks"] += 1
    return bool(row["vending"] and row["looks"] % EXTREMES_EVERY == 0)


def note_extremes(watch: Watch, force: float, dent: float, share: float, places: Array, reaches: Array) -> None:
    """Keep what a turn is asked for beside what came: peak force [mN], deepest dent [mm, -], two in one pocket."""
    row = watch.row[0]
    row["peak_force"], row["dent"] = max(row["peak_force"], force / 1000.0), max(row["dent"], dent)
    row["dent_share"] = max(row["dent_share"], share)
    if row["shared"]:
        return
    for i in range(len(places)):
        if math.hypot(places[i, 0], places[i, 1]) >= row["drum_radius"]:
            continue
        for j in range(i):
            apart = math.hypot(places[i, 0] - places[j, 0], places[i, 1] - places[j, 1])
            within = math.hypot(places[j, 0], places[j, 1]) < row["drum_radius"]
            if within and apart < reaches[i] + reaches[j] + TOUCHING:
                row["shared"] = True


def any_left(watch: Watch, places: Array, reaches: Array) -> bool:
    """Tell whether any container has left the column, by the outlet or otherwise."""
    for k in range(len(places)):  # noqa: SIM110 (a generator would not compile)
        if has_left(watch, places[k, 0], places[k, 1], reaches[k]) != INSIDE:
            return True
    return False


def has_left(watch: Watch, x: float, y: float, reach: float) -> int:
    """Tell whether a container of some reach is still inside, has dropped by the outlet, or is lost."""
    row, from_axis = watch.row[0], math.hypot(x, y)
    if (y > 0.0 and abs(x) < row["half_width"]) or from_axis < row["housing_radius"]:
        return INSIDE
    if y < 0.0 and abs(x) < row["housing_radius"] + reach:  # what was squeezed may be thrown out sideways
        return DROPPED if from_axis > row["housing_radius"] + reach else INSIDE
    return LOST


def judge_rest(watch: Watch, velocities: Array, spins: Array) -> None:
    """Add a look to the time at rest if no centre, along an axis, and no rim is too fast."""
    row, fastest = watch.row[0], 0.0
    for k in range(len(spins)):
        fastest = max(fastest, abs(velocities[k, 0]), abs(velocities[k, 1]), row["reach"] * abs(spins[k]))
    row["quiet"] = row["quiet"] + row["steps"] * row["step"] if fastest < REST_SPEED else 0.0
