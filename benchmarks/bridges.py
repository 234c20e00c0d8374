"""Hundreds of bridges, each checked as an equilibrium by balances and a programme that know nothing of the engine.

For each: the engine's own forces balance every body within a hundredth of its weight and stay within friction; the
programme holds it with forces at most three times the engine's; its margin is what friction has to spare. A force a
fifth too great, or a contact left out, must be found wherever it matters.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from common import lifted_scenario, quick_or_full, table, varies, wide_scenario, write
from equilibrium_states import StackAtRest, stack_at_rest
from tqdm import tqdm

from colsim import Scenario, replay, simulate_fill
from colsim.physics.choice import engine_maker
from colsim.physics.engines import Engine, FloatArray, Settings
from colsim.physics.scene import Scene
from colsim.physics.vending import Frame
from colsim.sampling import Fill, Outcome
from colsim.theory.equilibrium import ContactState, imbalance, is_admissible, margin

BALANCED = 0.01  # of a body's weight, and of that times its longest arm
SLIDING = 1.001
LARGEST = 3.0  # times the engine's largest normal force
TOO_GREAT = 1.2
MATTERS = 0.1  # of the least weight, for a force that must be missed
LONGER = 500  # steps of a millisecond that a stack rests on


def held_of(scenario: Scenario, fill: Fill) -> StackAtRest:
    """Replay a fill, go on for half a second with what it has left hanging, and give that.

    A fill counts as at rest while its stack still swings on its springs at up to 2 mm/s, some five times a second: an
    acceleration of 2 pi 5/s times 2 mm/s, two thirds of the hundredth of a weight that is allowed.
    """
    made: list[Engine] = []

    def keep(scene: Scene, settings: Settings) -> Engine:
        made.append(engine_maker(fill.engine)(scene, settings))
        return made[-1]

    again = replay(scenario, seed=fill.seed, number=fill.number, engine=keep)
    engine = made[0]
    engine.advance(LONGER)
    frame = Frame(0.0, engine.drum_angle, engine.state())
    return stack_at_rest(again.section, again.bodies, frame, engine.contacts())


def normal_and_along(state: ContactState, forces: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Part each force into its normal component and the size of what is along the surface."""
    normal = (forces * state.normal).sum(axis=1)
    return normal, np.abs(state.normal[:, 0] * forces[:, 1] - state.normal[:, 1] * forces[:, 0])


def unbalanced(state: ContactState, forces: FloatArray) -> float:
    """Give the greatest residual of a force or torque, in weights and weights times arms."""
    force, torque = imbalance(state, forces)
    return max(float(np.hypot(*force.T).max()), float(np.abs(torque).max()))


def without(state: ContactState, contact: int) -> tuple[ContactState, FloatArray]:
    """Leave a contact out; gives the rest and which ones they are."""
    left = np.arange(len(state.body)) != contact
    parts = (getattr(state, name)[left] for name in ("body", "other", "point", "normal", "friction"))
    return ContactState(state.centre, state.weight, *parts), left


def that_matter(held: StackAtRest) -> list[int]:
    """Give the contacts with a force that cannot be spared."""
    least = np.hypot(*held.state.weight.T).min()
    return [int(k) for k in np.flatnonzero(np.hypot(*held.forces.T) > MATTERS * least)]


@dataclass(frozen=True)
class Found:
    """What the checks say of one bridge: residual, share of friction used, programme, margin, wrong states missed."""

    residual: float
    used: float
    pulls: bool
    admissible: bool
    margin: float
    too_great_missed: int
    left_out_missed: int
    corrupted: int

    @property
    def balances(self) -> bool:
        """Whether the engine's own forces balance, only push, and stay within friction."""
        return self.residual <= BALANCED and self.used <= SLIDING and not self.pulls

    @property
    def all_found(self) -> bool:
        """Whether every wrong force and every missing contact was found."""
        return self.corrupted > 0 and self.too_great_missed == self.left_out_missed == 0


def checked(held: StackAtRest) -> Found:
    """Check one bridge."""
    state, forces = held.state, held.forces
    normal, along = normal_and_along(state, forces)
    pressing = normal > 0
    largest, matter = LARGEST * float(normal.max()), that_matter(held)
    great = left_out = 0
    for k in matter:
        wrong = forces.copy()
        wrong[k] *= TOO_GREAT
        great += unbalanced(state, wrong) <= BALANCED
        fewer, kept = without(state, k)
        left_out += unbalanced(fewer, forces[kept]) <= BALANCED
    return Found(
        residual=unbalanced(state, forces),
        used=float((along[pressing] / (state.friction * normal)[pressing]).max()),
        pulls=bool((normal < 0).any()),
        admissible=is_admissible(state, largest_normal=largest),
        margin=margin(state, largest_normal=largest),
        too_great_missed=great,
        left_out_missed=left_out,
        corrupted=len(matter),
    )


def job(arguments: tuple[Scenario, int]) -> Found | None:
    """Check the bridge of a fill, if there is one."""
    scenario, number = arguments
    fill = simulate_fill(scenario, seed=5, number=number)
    if fill.failure is None or fill.vends[-1].outcome is not Outcome.BRIDGE:
        return None
    return checked(held_of(scenario, fill))


def scenes() -> list[Scenario]:
    """Give columns that bridge at a corner or a lifted edge, round and with flats, of containers that differ."""
    wide = wide_scenario(0.3, 8)
    several = [
        wide,
        wide_scenario(0.2, 12),
        wide.changed(**{"column.floor_slope": 45, "title": "the same, floor at 45 deg"}),
        wide.changed(**{"container.set_flat": 5, "title": "73 mm with flats of 5 mm in 124 mm, wall friction 0.3"}),
        lifted_scenario(8, 0.3),
        lifted_scenario(5, 0.3),
    ]
    # Where containers are alike, so are the bridges.
    spreads = {"container.diameter": varies(73.0, 0.3), "container.friction": varies(0.25, 0.03)}
    return [scenario.changed(**spreads, title=scenario.title) for scenario in several]


def row(title: str, fills: int, found: Sequence[Found]) -> list[object]:
    if not found:
        return [title, f"0 of {fills}", *["-"] * 7]
    margins = [one.margin for one in found]
    corrupted = sum(one.corrupted for one in found)
    return [
        title,
        f"{len(found)} of {fills}",
        f"{max(one.residual for one in found):.1e}",
        f"{max(one.used for one in found):.3f}",
        sum(one.balances for one in found),
        sum(one.admissible for one in found),
        f"{min(margins):.2f} to {max(margins):.2f}",
        f"{corrupted - sum(one.too_great_missed for one in found)} of {corrupted}",
        f"{corrupted - sum(one.left_out_missed for one in found)} of {corrupted}",
    ]


def main() -> None:
    quick = quick_or_full(__doc__ or "")
    fills = 2 if quick else 80
    rows, bridges = [], []
    with ProcessPoolExecutor() as pool:
        for scenario in tqdm(scenes()[:1] if quick else scenes()):
            done = list(pool.map(job, [(scenario, number) for number in range(fills)], chunksize=2))
            found = [one for one in done if one is not None]
            rows.append(row(scenario.title, fills, found))
            bridges += found
    columns = ["column", "bridges of fills", "worst residual", "friction used", "balance", "programme holds", "margin"]
    columns += ["a force 1.2 times: found", "a contact left out: found"]
    head = [
        "Residual in weights (torques: weights times longest arm); friction used and margin as shares of it. Forces "
        "act where both flats of a contact meet, so lever arms are radii less dents.",
        "",
    ]
    good = [one for one in bridges if one.balances and one.admissible and one.all_found]
    says = f"{len(good)} of {len(bridges)} bridges are equilibria, with every wrong state found"
    write("bridges", head + table(columns, rows), quick=quick, holds=len(good) == len(bridges) > 0, says=says)


if __name__ == "__main__":
    main()
