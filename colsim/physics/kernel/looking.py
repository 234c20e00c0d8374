"""The time step from phase to phase, and looking on while time passes: what an engine calls."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, cast

from colsim.physics import contact_law, watching
from colsim.physics.kernel import bodies as moving
from colsim.physics.kernel import finding, solving, stiffening, world
from colsim.physics.kernel.bodies import accelerate, add_dents, change_section, drive, greatest, move
from colsim.physics.kernel.compiling import also_compiled, compiled, entry, stamp_of
from colsim.physics.kernel.finding import find_contacts
from colsim.physics.kernel.solving import keep_impulses, lay_on_forces, prepare, solve
from colsim.physics.kernel.stiffening import stiffen
from colsim.physics.kernel.world import ANGLE, CONTAINERS, REACH, SPIN, VX, VY, Array, StepSettings, World, X, Y
from colsim.physics.watching import (
    AGAIN,
    ONE_LEFT,
    OVER,
    Watch,
    after_look,
    any_left,
    has_left,
    judge_rest,
    next_look,
    note_extremes,
)
from colsim.theory import squeeze

__all__ = ["DIVERGED", "ENTRIES", "Entries", "is_compiled"]

DIVERGED = -1  # what became of some looks, beside those of `watching`

also_compiled(next_look, after_look, note_extremes, any_left, has_left, judge_rest)


class Entries(NamedTuple):
    """What is called from Python."""

    advance: Callable[[World, int, StepSettings], bool]
    look_on: Callable[[World, StepSettings, Watch, int], int]
    change_section: Callable[[World, int, float, float, float, float], None]
    drive: Callable[[World, float], None]
    greatest: Callable[[World], tuple[float, float, float]]
    add_dents: Callable[[World, Array], None]


@compiled
def _step(world: World, settings: StepSettings) -> bool:
    """Let one step pass; False if it diverged: a speed that is NaN or absurd, or too many contacts."""
    dt = settings.step
    if not move(world, dt):
        return False
    if not find_contacts(world):
        return False
    stiffen(world, dt)
    prepare(world, dt)
    if settings.rounds > 0:
        accelerate(world, dt, settings.gravity_x, settings.gravity_y)
        solve(world, dt, settings.rounds)
    else:
        lay_on_forces(world, dt)
        accelerate(world, dt, settings.gravity_x, settings.gravity_y)
    keep_impulses(world)
    return True


def _entries(stamp: int) -> Entries:
    """Make what is called from Python, with a stamp of all the code that it compiles in."""

    @entry
    def advance(world: World, steps: int, settings: StepSettings) -> bool:
        """Let time pass; False if it diverged."""
        for _ in range(steps if stamp else 0):
            if not _step(world, settings):
                return False
        return True

    @entry
    def look_on(world: World, settings: StepSettings, watch: Watch, looks: int) -> int:
        """Let time pass until what is watched for has come or a container has left; DIVERGED if it diverged."""
        bodies, row, count, drum = world.bodies, watch.row[0], world.counts[CONTAINERS], len(world.bodies) - 1
        places, reaches = bodies[:count, X : Y + 1], bodies[:count, REACH]
        velocities, spins = bodies[:count, VX : VY + 1], bodies[:count, SPIN]
        for _ in range(looks if stamp else 0):
            steps = next_look(watch, bodies[drum, ANGLE])
            if steps == 0:
                return OVER
            if row["turning"]:
                drive(world, row["rate"])
            for _ in range(steps):
                if not _step(world, settings):
                    return DIVERGED
            if after_look(watch):
                impulse, dent, share = greatest(world)
                note_extremes(watch, impulse / settings.step, dent, share, places, reaches)
            if any_left(watch, places, reaches):
                return ONE_LEFT
            judge_rest(watch, velocities, spins)
        return AGAIN

    @entry
    def change_section_of(world: World, i: int, height: float, flat: float, side: float, flat_angle: float) -> None:
        if stamp:
            change_section(world, i, height, flat, side, flat_angle)

    @entry
    def drive_drum(world: World, rate: float) -> None:
        if stamp:
            drive(world, rate)

    @entry
    def greatest_of(world: World) -> tuple[float, float, float]:
        return greatest(world) if stamp else (0.0, 0.0, 0.0)

    @entry
    def add_dents_of(world: World, found: Array) -> None:
        if stamp:
            add_dents(world, found)

    return Entries(advance, look_on, change_section_of, drive_drum, greatest_of, add_dents_of)


ENTRIES = _entries(stamp_of(contact_law, watching, squeeze, world, moving, finding, stiffening, solving))


def is_compiled() -> bool:
    """Tell whether machine code is there, of this process or kept by an earlier one of the same code and machine."""
    dispatcher = cast(Any, ENTRIES.look_on)
    if dispatcher.signatures:
        return True
    kept = dispatcher.stats.cache_path
    return kept is not None and any(Path(kept).glob("looking.*look_on-*.nbc"))
