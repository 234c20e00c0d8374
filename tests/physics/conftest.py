"""Every test of this folder runs on both engines: with `make_engine`, and where none is named."""

import pytest
import tests_shared

from colsim.physics import choice
from colsim.sampling import one_fill

OWN_ENGINES = {"test_two_engines", "test_hopper", "test_open_channel"}  # these say themselves which they run


def pytest_generate_tests(metafunc):
    """Have the tests of a module run on one engine after the other."""
    own = metafunc.module.__name__.rpartition(".")[2] in OWN_ENGINES
    engines = [choice.PYMUNK] if own else [choice.PYMUNK, choice.COMPILED]
    metafunc.parametrize("engine_name", engines, indirect=True, scope="module")


@pytest.fixture(scope="module", autouse=True)
def engine_name(request):
    """Have one engine stand for all that do not name theirs."""

    def named(wanted):
        return request.param if wanted == choice.AUTO else wanted

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tests_shared, "engine_name", request.param)
        for module in (choice, one_fill):
            patch.setattr(module, "engine_named", named)
        yield request.param
