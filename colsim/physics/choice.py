"""Which engine simulates, by name."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec

from colsim.errors import ScenarioError
from colsim.physics.engines import Engine, Settings
from colsim.physics.scene import Scene

__all__ = [
    "AUTO",
    "COMPILED",
    "ENGINES",
    "PYMUNK",
    "EngineMaker",
    "compiles_first",
    "engine_maker",
    "engine_named",
    "make_ready",
]

AUTO, COMPILED, PYMUNK = "auto", "compiled", "pymunk"
ENGINES = (AUTO, COMPILED, PYMUNK)
EngineMaker = Callable[[Scene, Settings], Engine]


def engine_named(wanted: str) -> str:
    """Give the name of the engine that is taken.

    Parameters
    ----------
    wanted : str
        ``compiled`` (machine code, by numba), ``pymunk`` (the reference), or ``auto``: the compiled one if numba is
        installed.

    Returns
    -------
    str
        ``compiled`` or ``pymunk``.

    Raises
    ------
    ScenarioError
        If the name is not one of these, or the compiled engine is wanted without numba.
    """
    if wanted not in ENGINES:
        raise ScenarioError([("engine", f"got {wanted!r}; allowed: {' | '.join(ENGINES)}")])
    there = find_spec("numba") is not None
    if wanted == COMPILED and not there:
        text = 'got "compiled", but numba is not installed; install colsim[fast], or take "pymunk", which is slower'
        raise ScenarioError([("engine", text)])
    return PYMUNK if wanted == PYMUNK or not there else COMPILED


def engine_maker(wanted: str) -> EngineMaker:
    """Give what makes an engine of a scene; `engine_named` says which and what it refuses."""
    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_engine import PymunkEngine

        return PymunkEngine
    from colsim.physics.compiled_engine import CompiledEngine

    return CompiledEngine


def compiles_first(wanted: str) -> bool:
    """Tell whether an engine has to be compiled on this machine before it runs, which takes some fifteen seconds."""
    if engine_named(wanted) == PYMUNK:
        return False
    from colsim.physics.kernel import is_compiled

    return not is_compiled()


def make_ready(wanted: str) -> None:
    """Compile an engine, or load what was compiled before, so that processes that are begun after it find it."""
    if engine_named(wanted) == COMPILED:
        from colsim.physics.compiled_engine import compile_now

        compile_now()
