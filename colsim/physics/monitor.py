"""When a turn is over, when a column is at rest, and where a container is: plain functions of numbers, also compiled.

An engine's state is checked every `CHECK_INTERVAL`. Times and limits here decide when a vend is over, not how bodies
move.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = [
    "CONTAINER_LEFT",
    "DONE",
    "DROPPED",
    "INSIDE",
    "LOST",
    "MONITOR_ROW",
    "RUNNING",
    "Monitor",
    "any_outside",
    "new_monitor",
    "note_extremes",
    "record_check",
    "start_wait",
    "steps_to_next_check",
    "update_rest",
    "whereabouts",
]

FloatArray = npt.NDArray[np.float64]

CHECK_INTERVAL = 0.02  # [s] between two checks of the state
FORCE_CHECK_EVERY = 2  # checks from one of the forces to the next; these cost as much as all other checks
REST_SPEED = 2.0  # [mm/s] below which everything counts as at rest
REST_TIME = 0.1  # [s] for which it must stay below
LONGEST_WAIT = 3.0  # [s] after which a column counts as at rest anyway
STALL_TIME = 0.5  # [s]; the drum is blocked if it turns in this time
STALL_SHARE = 0.1  # by less than this share of its turn at full speed
TOUCHING = 1.0  # [mm]; two containers in the drum with a smaller gap count as in one pocket
ANGLE_TOLERANCE = 2e-4  # [rad] before its target at which the drum is stopped, 0.02 mm at the rim
TARGET_TOLERANCE = 5e-3  # [rad] within which a drum that a load stops short counts as on target, 0.5 mm at the rim

MONITOR_ROW = np.dtype(
    [
        ("step", "f8"),  # time step of the engine [s]
        ("speed", "f8"),  # full speed of the drum [rad/s]
        ("turn", "f8"),  # sense in which it turns: -1 or 1
        ("drum_radius", "f8"),  # [mm]
        ("housing_radius", "f8"),
        ("half_width", "f8"),
        ("reach", "f8"),  # of the largest container that was ever in [mm]
        ("time", "f8"),  # [s]
        ("checks", "i8"),  # since the start
        ("steps", "i8"),  # until the next check
        ("rate", "f8"),  # of the drum until then [rad/s]
        ("turning", "?"),  # waiting for the drum to reach its target; else for rest
        ("vending", "?"),  # whether extremes are recorded
        ("target", "f8"),  # drum angle [rad]
        ("wait_start", "f8"),  # time [s]
        ("samples", "i8"),  # of the drum's distance to target, since the start of the wait
        ("sample_time", "f8"),  # of the last one [s]
        ("blocked", "?"),
        ("quiet", "f8"),  # time for which everything has been at rest [s]
        ("peak_force", "f8"),  # [N]
        ("dent", "f8"),  # deepest of one container [mm]
        ("dent_share", "f8"),  # greatest dent over diameter [-]
        ("shared", "?"),  # whether two containers were in one pocket
    ]
)
"""State of a wait for a turn or for rest, as one row."""

DONE, RUNNING, CONTAINER_LEFT = 0, 1, 2  # results of `Engine.run`
INSIDE, DROPPED, LOST = 0, 1, 2  # where a container is


class Monitor(NamedTuple):
    """What an engine waits for, and what it has observed.

    Attributes
    ----------
    row : ndarray of MONITOR_ROW, shape (1,)
        Changed in place.
    distances : ndarray, shape (samples,)
        Ring buffer of the drum's distance to its target, sampled every `CHECK_INTERVAL` [rad].
    """

    row: npt.NDArray[Any]
    distances: FloatArray


def new_monitor(step: float) -> Monitor:
    """Make a monitor for an engine.

    Parameters
    ----------
    step : float
        Time step of the engine [s].

    Returns
    -------
    Monitor
        All else in its row is 0 or False.
    """
    row = np.zeros(1, dtype=MONITOR_ROW)
    row["step"] = step
    return Monitor(row, np.zeros(1 + max(1, round(STALL_TIME / CHECK_INTERVAL))))


def start_wait(monitor: Monitor, *, turning: bool) -> None:
    """Start to wait for the drum to reach its target, or for rest.

    Parameters
    ----------
    monitor : Monitor
        Changed in place.
    turning : bool
        Whether to wait for the drum.
    """
    row = monitor.row[0]
    row["turning"], row["wait_start"], row["quiet"], row["blocked"] = turning, row["time"], 0.0, False
    row["samples"] = 0


def steps_to_next_check(monitor: Monitor, drum_angle: float) -> int:
    """Give the number of steps to the next check, and set the rate of the drum until then.

    Parameters
    ----------
    monitor : Monitor
        Changed in place: rate, steps, samples of the drum's distance to its target, and whether it is blocked.
    drum_angle : float
        Counterclockwise [rad].

    Returns
    -------
    int
        [steps] 0 if the wait is over.
    """
    row, distances = monitor.row[0], monitor.distances
    step, time = float(row["step"]), float(row["time"])
    steps = usual = max(1, round(CHECK_INTERVAL / step))
    if row["turning"]:
        speed, distance = float(row["speed"]), float(row["turn"] * (row["target"] - drum_angle))
        # Sampled by time, since checks are more frequent near the target.
        if row["samples"] == 0 or time - row["sample_time"] > (1.0 - 1e-9) * CHECK_INTERVAL:
            distances[row["samples"] % len(distances)] = distance
            row["samples"] += 1
            row["sample_time"] = time
        earlier = distances[row["samples"] % len(distances)]  # `STALL_TIME` ago, once the buffer is full
        if row["samples"] >= len(distances) and earlier - distance < STALL_SHARE * speed * STALL_TIME:
            row["blocked"] = distance > TARGET_TOLERANCE
            steps = 0
        elif distance <= ANGLE_TOLERANCE:  # on target, or pushed past it: the gear holds it there
            steps = 0
        else:
            # Full speed up to the last check, so that the interval of checks does not change how the drum stops.
            if distance < 1.5 * usual * speed * step:
                steps = max(2, math.ceil(distance / (speed * step)))
            row["rate"] = row["turn"] * min(distance / (steps * step), speed)
    elif row["quiet"] >= REST_TIME or time - row["wait_start"] > LONGEST_WAIT:
        steps = 0
    row["steps"] = steps
    return steps


def record_check(monitor: Monitor) -> bool:
    """Count a check, and the time of its steps.

    Parameters
    ----------
    monitor : Monitor
        Changed in place.

    Returns
    -------
    bool
        Whether forces are to be checked too: at every second check while vending.
    """
    row = monitor.row[0]
    row["time"] += row["steps"] * row["step"]
    row["checks"] += 1
    return bool(row["vending"] and row["checks"] % FORCE_CHECK_EVERY == 0)


def note_extremes(
    monitor: Monitor, force: float, dent: float, dent_share: float, positions: FloatArray, reaches: FloatArray
) -> None:
    """Update peak force, deepest dent, greatest dent over diameter, and whether two are in one pocket.

    Parameters
    ----------
    monitor : Monitor
        Changed in place; it keeps the force in N.
    force, dent, dent_share : float
        What `Engine.extremes` gives [mN, mm, -].
    positions : ndarray, shape (n, 2)
        Centres of the containers [mm].
    reaches : ndarray, shape (n,)
        Their reaches, in the same order [mm].
    """
    row = monitor.row[0]
    row["peak_force"], row["dent"] = max(row["peak_force"], force / 1000.0), max(row["dent"], dent)
    row["dent_share"] = max(row["dent_share"], dent_share)
    if row["shared"]:
        return
    for i in range(len(positions)):
        if math.hypot(positions[i, 0], positions[i, 1]) >= row["drum_radius"]:
            continue
        for j in range(i):
            distance = math.hypot(positions[i, 0] - positions[j, 0], positions[i, 1] - positions[j, 1])
            within = math.hypot(positions[j, 0], positions[j, 1]) < row["drum_radius"]
            if within and distance < reaches[i] + reaches[j] + TOUCHING:
                row["shared"] = True


def any_outside(monitor: Monitor, positions: FloatArray, reaches: FloatArray) -> bool:
    """Tell whether any container has left the column, by the outlet or otherwise.

    Parameters
    ----------
    monitor : Monitor
        Not changed.
    positions : ndarray, shape (n, 2)
        Centres of the containers [mm].
    reaches : ndarray, shape (n,)
        Their reaches, in the same order [mm].

    Returns
    -------
    bool
    """
    for k in range(len(positions)):  # numba does not compile generators
        if whereabouts(monitor, positions[k, 0], positions[k, 1], reaches[k]) != INSIDE:
            return True
    return False


def whereabouts(monitor: Monitor, x: float, y: float, reach: float) -> int:
    """Tell where a container is.

    Parameters
    ----------
    monitor : Monitor
        Not changed.
    x, y : float
        Its centre [mm].
    reach : float
        Greatest distance of its outline from there [mm].

    Returns
    -------
    int
        INSIDE, DROPPED through the outlet, or LOST, as is one at NaN.
    """
    row, from_axis = monitor.row[0], math.hypot(x, y)
    if (y > 0.0 and abs(x) < row["half_width"]) or from_axis < row["housing_radius"]:
        return INSIDE
    if y < 0.0 and abs(x) < row["housing_radius"] + reach:  # a squeezed container may leave the outlet sideways
        return DROPPED if from_axis > row["housing_radius"] + reach else INSIDE
    return LOST


def update_rest(monitor: Monitor, velocities: FloatArray, spins: FloatArray) -> None:
    """Add the last interval to the time at rest, or reset that time if a centre, by component, or a rim is too fast.

    Parameters
    ----------
    monitor : Monitor
        Changed in place.
    velocities : ndarray, shape (n, 2)
        Of the containers [mm/s].
    spins : ndarray, shape (n,)
        [rad/s]
    """
    row, fastest = monitor.row[0], 0.0
    for k in range(len(spins)):
        fastest = max(fastest, abs(velocities[k, 0]), abs(velocities[k, 1]), row["reach"] * abs(spins[k]))
    row["quiet"] = row["quiet"] + row["steps"] * row["step"] if fastest < REST_SPEED else 0.0
