"""Tests here run on both engines, closed forms on a third: with `make_engine`, and where none is named."""

import math
from dataclasses import replace

import pytest
import tests_shared

from colsim.physics import choice
from colsim.physics.compiled_engine import CompiledEngine
from colsim.sampling import one_fill

# These say themselves which engines they run.
OWN_ENGINES = {"test_two_engines", "test_mujoco_witness", "test_hopper", "test_open_channel", "test_pymunk_engine"}
EXPLICIT = "explicit"
CLOSED_FORMS = {"test_closed_forms", "test_joints", "test_springs", "test_soft_bottles", "test_single_file"}
FINE = 1e-4  # [s], short enough for explicit forces


class Explicit(CompiledEngine):
    """The compiled engine with its explicit solver; each step is cut into equal ones that are short enough."""

    def __init__(self, scene, settings):
        self._parts_of_a_step = max(1, math.ceil(settings.step / FINE - 1e-9))
        super().__init__(scene, replace(settings, step=settings.step / self._parts_of_a_step, iterations=0))

    def advance(self, steps):
        super().advance(steps * self._parts_of_a_step)


def pytest_generate_tests(metafunc):
    """Have the tests of a module run on one engine after the other."""
    module = metafunc.module.__name__.rpartition(".")[2]
    engines = [choice.PYMUNK, *([] if module in OWN_ENGINES else [choice.COMPILED])]
    engines += [EXPLICIT] if module in CLOSED_FORMS else []
    if metafunc.function.__name__ in getattr(metafunc.module, "WHOLE_FILLS", ()):
        engines = [
            choice.COMPILED
        ]  # the reference takes a hundred times as long; test_pymunk_engine has some fills of it
    metafunc.parametrize("engine_name", engines, indirect=True, scope="module")


@pytest.fixture(scope="module", autouse=True)
def engine_name(request):
    """Have one engine stand for all that do not name theirs."""

    def named(wanted):
        return request.param if wanted == choice.AUTO else wanted

    with pytest.MonkeyPatch.context() as patch:
        if request.param == EXPLICIT:
            patch.setattr(tests_shared, "engine_maker", lambda wanted: Explicit)
        patch.setattr(tests_shared, "engine_name", request.param)
        for module in (choice, one_fill):
            patch.setattr(module, "engine_named", named)
        yield request.param
