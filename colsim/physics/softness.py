"""How the sections of soft-walled containers follow what presses on them.

Once in a while the load on each container is read from its contacts and its section moved part of the way to the one
that this load makes.

Where a column leaves less than 3 mm beside a container and its bulge fills that, both walls press on it. It is then a
box with rounded corners a little narrower than the column, which touches neither wall, and what they do to it, the
friction of what they are pressed with, holds it back by a force of its own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from colsim.physics.cross_section import CrossSection
from colsim.physics.engines import Engine, IntArray, Settings
from colsim.physics.giving_way import GAP, SECTION, GivingWay, Pace
from colsim.physics.scene import Body
from colsim.physics.section_under_load import Squeezing, bound_section, loads
from colsim.theory.squeeze import bulge

__all__ = ["SoftBodies"]

SLICE = 0.005  # [s] between two looks at the loads, and two changes of the sections
FASTEST = 10.0  # [mm/s] at which a height or a flat changes
SAME_LOAD = 0.02  # [N] by which a load may differ from one whose section is known
SINGLE_FILE = 3.0  # [mm] beside a container, below which both walls can press on it
STILL = 0.1  # [mm] by which a height may change in the time of a response while it counts as settled


class SoftBodies:
    """The soft ones among a column's containers, and the sections that they have taken.

    Parameters
    ----------
    engine : Engine
        That they are in.
    settings : Settings
        Its time step, and how fast sections follow loads.
    section : CrossSection, optional
        Whose walls press on what fills its width; without it none do.
    """

    def __init__(self, engine: Engine, settings: Settings, section: CrossSection | None = None) -> None:
        self._engine, self._section = engine, section
        steps = max(1, round(SLICE / settings.step))
        passing = steps * settings.step
        self._pace = Pace(
            steps=steps,
            keep=math.exp(-passing / settings.memory),
            share=-math.expm1(-passing / settings.response),
            most=FASTEST * passing,
        )
        self._bodies: dict[int, Body] = {}  # as they are without load, in the order of the sections
        self._soft = GivingWay(
            sections=np.zeros(0, dtype=SECTION),
            virials=np.zeros((0, 2, 2)),
            past=np.zeros((max(1, round(settings.response / passing)), 0, 2)),
            slices=np.zeros(1, dtype=np.int64),
        )
        self._placed = True
        self._renew()

    def __bool__(self) -> bool:
        return bool(self._bodies)

    def __contains__(self, index: int) -> bool:
        return index in self._bodies

    @property
    def flattest(self) -> float:
        """Greatest squeeze of any of them, as a share of its diameter [-]."""
        rows = self._soft.sections
        return float((rows["squeeze"] / rows["diameter"]).max(initial=0.0))

    @property
    def settled(self) -> bool:
        """Whether all sections are those that their loads make."""
        rows, past = self._soft.sections, self._soft.past
        if not len(rows):
            return True
        if rows["slices"].min() < len(past):
            return False
        long_ago = past[self._soft.slices[0] % len(past)]
        off = np.abs(np.stack((rows["squeeze"], rows["flat"]), axis=1) - long_ago)
        return float(off.max()) <= STILL

    @property
    def grips(self) -> Mapping[int, float]:
        """By how much the walls hold back those on which both press, by index [mN]."""
        return {
            number: grip
            for number, grip in zip(self._bodies, self._soft.sections["grip"].tolist(), strict=True)
            if grip
        }

    @property
    def shapes(self) -> Mapping[int, Body]:
        """Each with its section of now, by index: the flat that has set, rounded for the rest."""
        rows = self._soft.sections
        return {number: _shape(body, row) for (number, body), row in zip(self._bodies.items(), rows, strict=True)}

    def reach_of(self, index: int) -> float:
        """Give how far the outline of one goes from its centre now [mm]."""
        place = int(np.searchsorted(self._numbers, index))
        return _shape(self._bodies[index], self._soft.sections[place]).reach

    def add(self, body: Body) -> None:
        """Take note of a container that has been put in, soft or not."""
        self._placed = False
        if body.wall is None:
            return
        row = np.zeros(1, dtype=SECTION)
        beside = self._section.width - body.height if self._section is not None else math.inf
        row["diameter"], row["own_flat"], row["shown_flat"] = body.height, body.flat, body.flat
        row["width"] = body.height + beside if 0.0 <= beside < SINGLE_FILE else math.inf
        place = int(np.searchsorted(self._numbers, body.index))
        self._bodies = dict(sorted([*self._bodies.items(), (body.index, body)]))
        sections, virials, past, slices = self._soft
        self._soft = GivingWay(
            sections=np.insert(sections, place, row),
            virials=np.insert(virials, place, 0.0, axis=0),
            past=np.insert(past, place, 0.0, axis=1),
            slices=slices,
        )
        self._renew()

    def remove(self, index: int) -> None:
        """Forget a container that has come out, soft or not."""
        self._placed = False
        if index in self._bodies:
            place = list(self._bodies).index(index)
            del self._bodies[index]
            sections, virials, past, slices = self._soft
            self._soft = GivingWay(
                sections=np.delete(sections, place),
                virials=np.delete(virials, place, axis=0),
                past=np.delete(past, place, axis=1),
                slices=slices,
            )
            self._renew()

    def _renew(self) -> None:
        """Work out what depends on which ones are in."""
        self._numbers: IntArray = np.array(list(self._bodies), dtype=np.int64)
        self._walls = [body.wall for body in self._bodies.values() if body.wall is not None]
        self._squeezing = Squeezing([wall.bottle for wall in self._walls])
        self._single_file = np.flatnonzero(np.isfinite(self._soft.sections["width"])).tolist()

    def advance(self, steps: int) -> None:
        """Let time pass, with every section going towards what its load makes."""
        if not self._bodies:
            self._engine.advance(steps)
            return
        if not self._placed:
            self._soft.sections["place"] = np.searchsorted(self._engine.state().index, self._numbers)
            self._placed = True
        self._engine.advance_giving_way(steps, self._soft, self._pace)
        self._follow_loads()

    def _follow_loads(self) -> None:
        """Take up what the loads of now make: squeezes, at least those that have set, and what the walls hold."""
        rows, load, state = self._soft.sections, loads(self._soft.virials), self._engine.state()
        diameter, squeeze, place = rows["diameter"], rows["squeeze"], rows["place"]
        along, across = load.greatest / (diameter - squeeze) / 1000.0, load.across / (diameter + squeeze / 2) / 1000.0
        rows["level"], rows["pressed_along"] = -state.angle[place], load.angle
        known = np.maximum(np.abs(along - rows["along"]), np.abs(across - rows["across"])) <= SAME_LOAD
        if not known.all():
            other = np.flatnonzero(~known)
            rows["along"][other], rows["across"][other] = along[other], across[other]
            rows["free"][other] = self._squeezing.under(other, along[other], across[other])
        rows["wanted"] = np.maximum(rows["free"], 2.0 / math.pi * rows["flat_to_set"])
        for k in self._single_file:
            self._be_held(k, float(along[k]), float(state.position[place[k], 1]))

    def _be_held(self, k: int, along: float, height: float) -> None:
        """Take up what both walls do to one that a force presses on and that stands at a height."""
        row, number, section = self._soft.sections[k], int(self._numbers[k]), self._section
        if section is None:
            return
        diameter, width, wanted = float(row["diameter"]), float(row["width"]), float(row["wanted"])
        # Where the walls end beside its flat sides only what is above the end presses; friction as the mean over them.
        half = max(float(row["side"]), GAP) / 2
        length, friction = section.walls_beside(height - half, height + half, self._bodies[number].surface)
        side_force = 0.0
        if length > 0.0 and diameter + bulge(wanted, diameter) > width:
            least = 2.0 / math.pi * float(row["flat_to_set"])
            squeeze, side_force = bound_section(self._walls[k].bottle, width, along)
            row["wanted"] = max(squeeze, least)
        grip = 1000.0 * (friction / (2 * half)) * side_force
        row["side_force"] = side_force
        if grip != row["grip"]:
            row["grip"] = grip
            self._engine.grip(number, grip)

    def set_flats(self) -> bool:
        """Have the share that sets of every flat come to stay, across what presses now; tell whether any does."""
        rows, state = self._soft.sections, self._engine.state()
        if not len(rows):
            return False
        turned = state.angle[np.searchsorted(state.index, self._numbers)]
        flat = np.array([wall.set_fraction for wall in self._walls]) * math.pi / 2 * rows["squeeze"]
        setting = flat > 0.0
        rows["flat_to_set"][setting] = flat[setting]
        rows["flat_angle"][setting] = (loads(self._soft.virials).angle - turned + math.pi / 2)[setting]
        rows["slices"][setting] = 0
        return bool(setting.any())


def _shape(body: Body, row: np.void) -> Body:
    """Give a body with the section that the engine has."""
    squeeze, flat, side = float(row["shown_squeeze"]), float(row["shown_flat"]), float(row["shown_side"])
    shape = replace(body, height=body.height - squeeze, flat=flat, side=side, flat_angle=float(row["shown_angle"]))
    if side > 0.0:
        return shape
    bulge_angle = float(row["pressed_along"]) + math.pi / 2
    return replace(shape, bulge=max(0.0, math.pi / 2 * squeeze - flat), bulge_angle=bulge_angle)
