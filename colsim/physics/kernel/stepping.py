"""The time step of the compiled engine, and the entry points for Python."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from colsim.physics import contact_law, engines, monitor
from colsim.physics.kernel import bodies as kernel_bodies
from colsim.physics.kernel import collision, solver, stiffness, world
from colsim.physics.kernel.bodies import add_dents, apply_gravity, change_section, drive, extremes, move
from colsim.physics.kernel.collision import find_contacts
from colsim.physics.kernel.compiling import compiled, entry_point, jitable, source_checksum
from colsim.physics.kernel.solver import apply_forces, prepare_contacts, solve, store_impulses
from colsim.physics.kernel.stiffness import update_stiffness
from colsim.physics.kernel.world import ANGLE, CONTAINERS, REACH, SPIN, VX, VY, FloatArray, StepSettings, World, X, Y
from colsim.physics.monitor import (
    CONTAINER_LEFT,
    DONE,
    RUNNING,
    Monitor,
    any_outside,
    note_extremes,
    record_check,
    steps_to_next_check,
    update_rest,
    whereabouts,
)
from colsim.theory import squeeze

__all__ = ["DIVERGED", "ENTRY_POINTS", "EntryPoints"]

DIVERGED = -1  # result of `EntryPoints.run`, beside those of `monitor`

jitable(steps_to_next_check, record_check, note_extremes, any_outside, whereabouts, update_rest)


class EntryPoints(NamedTuple):
    """The compiled functions that Python calls."""

    advance: Callable[[World, int, StepSettings], bool]
    run: Callable[[World, StepSettings, Monitor, int], int]
    change_section: Callable[[World, int, float, float, float, float], None]
    drive: Callable[[World, float], None]
    extremes: Callable[[World], tuple[float, float, float]]
    add_dents: Callable[[World, FloatArray], None]


@compiled
def _step(world: World, settings: StepSettings) -> bool:
    """Do one step; False if it diverged: a speed is NaN or too high, or the contact buffer is full.

    Semi-implicit Euler: positions move with the velocities that the last step ended with.
    """
    dt = settings.step
    if not move(world, dt):
        return False
    if not find_contacts(world):
        return False
    update_stiffness(world, dt)
    prepare_contacts(world, dt)
    if settings.iterations > 0:
        apply_gravity(world, dt, settings.gravity_x, settings.gravity_y)
        solve(world, dt, settings.iterations, math.hypot(settings.gravity_x, settings.gravity_y))
    else:
        apply_forces(world, dt)
        apply_gravity(world, dt, settings.gravity_x, settings.gravity_y)
    store_impulses(world)
    return True


def _entry_points(checksum: int) -> EntryPoints:
    """Make the entry points; each holds the checksum of all code that it compiles in, see `entry_point`."""

    @entry_point
    def advance(world: World, steps: int, settings: StepSettings) -> bool:
        """Do some steps; False if one diverged."""
        for _ in range(steps if checksum else 0):
            if not _step(world, settings):
                return False
        return True

    @entry_point
    def run(world: World, settings: StepSettings, monitor: Monitor, checks: int) -> int:
        """Do what `Engine.run` does; gives DIVERGED if a step diverged."""
        bodies, row, count, drum = world.bodies, monitor.row[0], world.counts[CONTAINERS], len(world.bodies) - 1
        positions, reaches = bodies[:count, X : Y + 1], bodies[:count, REACH]
        velocities, spins = bodies[:count, VX : VY + 1], bodies[:count, SPIN]
        for _ in range(checks if checksum else 0):
            steps = steps_to_next_check(monitor, bodies[drum, ANGLE])
            if steps == 0:
                return DONE
            if row["turning"]:
                drive(world, row["rate"])
            for _ in range(steps):
                if not _step(world, settings):
                    return DIVERGED
            if record_check(monitor):
                impulse, dent, dent_share = extremes(world)
                note_extremes(monitor, impulse / settings.step, dent, dent_share, positions, reaches)
            if any_outside(monitor, positions, reaches):
                return CONTAINER_LEFT
            update_rest(monitor, velocities, spins)
        return RUNNING

    @entry_point
    def change_section_of(world: World, i: int, height: float, flat: float, side: float, flat_angle: float) -> None:
        if checksum:
            change_section(world, i, height, flat, side, flat_angle)

    @entry_point
    def drive_drum(world: World, rate: float) -> None:
        if checksum:
            drive(world, rate)

    @entry_point
    def extremes_of(world: World) -> tuple[float, float, float]:
        return extremes(world) if checksum else (0.0, 0.0, 0.0)

    @entry_point
    def add_dents_of(world: World, tensors: FloatArray) -> None:
        if checksum:
            add_dents(world, tensors)

    return EntryPoints(advance, run, change_section_of, drive_drum, extremes_of, add_dents_of)


ENTRY_POINTS = _entry_points(
    source_checksum(contact_law, engines, monitor, squeeze, world, kernel_bodies, collision, stiffness, solver)
)
