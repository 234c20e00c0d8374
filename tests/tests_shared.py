"""Scenes and paths that several test folders use."""

from concurrent.futures import Executor, Future
from dataclasses import replace
from pathlib import Path
from typing import Literal, get_args, get_origin

from colsim import Column, Container, Liner, Loading, Rotor, Scenario, Target
from colsim.model.conditions import Conditions, OnHand
from colsim.model.loading import Layer
from colsim.model.squeeze_test import SqueezeReading
from colsim.physics.choice import AUTO, engine_maker
from colsim.physics.engines import Settings
from colsim.physics.mechanism import Mechanism
from colsim.sampling import Outcome, Vend

ROOT = Path(__file__).parents[1]
ROTOR = {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80}
LEAST = {
    Container: {"diameter": 66, "mass": 0.54},
    SqueezeReading: {"bottles": 6, "height": 60},
    Liner: {"friction": 0.2},
    Layer: {"container": "can", "count": 3},
    Column: {"width": 90, "height": 900, "wall_friction": 0.2},
    Rotor: ROTOR,
    Loading: {"count": 10},
    Conditions: {},
    OnHand: {},
    Target: {},
}
FIELDS = [(part, name) for part in LEAST for name in part.model_fields]


engine_name = AUTO  # of those that tests make; tests/physics sets it to one after the other


def make_engine(scene, settings=None):
    """Make the engine that the test is about."""
    return engine_maker(engine_name)(scene, settings or Settings())


def least(part, **changes):
    """Give a part with the least that must be said, and some changes."""
    return part(**{**LEAST[part], **changes})


def choices(part, name):
    """Give the words that a field allows, or none if it is not a choice."""
    annotation = part.model_fields[name].annotation
    options = [option for option in (annotation, *get_args(annotation)) if get_origin(option) is Literal]
    return get_args(options[0]) if options else ()


def small_scenario(count=2, *, stiffness=70, **changes):
    """Give a quick column: 66 mm in 90 mm vends clean without a spacer, three of 58 mm stall."""
    return Scenario(
        title="small",
        container={"diameter": 66, "mass": 0.54} | ({} if stiffness is None else {"stiffness": stiffness}),
        column={"width": 90, "height": 900, "wall_friction": 0.25},
        rotor=ROTOR,
        loading={"count": count},
    ).changed(**changes)


def undescribed_scenario(count=2, **changes):
    """Give the quick column with nothing said of how its containers give way."""
    return small_scenario(count, stiffness=None, **changes)


def measured(scenario):
    """Have everything measured that nobody measured, and come out typical."""
    return scenario.changed(**{path: spread.typical for path, spread in scenario.unknowns().items()})


class AtOnce(Executor):
    """An executor without processes or threads: it does its work when it gets it."""

    def submit(self, function, /, *arguments):
        future = Future()
        future.set_result(function(*arguments))
        return future


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
        plain, number=number, vends=tuple(vends), loaded=count, dispensed=count - left, left=left, invalid=invalid
    )
