"""Selection of an engine by name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib import import_module

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
    "finer",
    "make_ready",
]

AUTO, COMPILED, PYMUNK = "auto", "compiled", "pymunk"
ENGINES = (AUTO, COMPILED, PYMUNK)
EngineMaker = Callable[[Scene, Settings], Engine]
_MODULES = {COMPILED: "colsim.physics.compiled_engine", PYMUNK: "colsim.physics.pymunk_engine"}


def engine_named(wanted: str) -> str:
    """Resolve the name of an engine.

    Parameters
    ----------
    wanted : str
        ``compiled`` (machine code, by numba), ``pymunk`` (the slow reference), or ``auto``, which is the compiled one.

    Returns
    -------
    str
        ``compiled`` or ``pymunk``.

    Raises
    ------
    ScenarioError
        If the name is not one of these, or numba does not work here. There is no fallback to another engine.
    """
    if wanted not in ENGINES:
        raise ScenarioError([("engine", f"got {wanted!r}; allowed: {' | '.join(ENGINES)}")])
    named = PYMUNK if wanted == PYMUNK else COMPILED
    if problem := _numba_problem(named):
        raise ScenarioError([("engine", f'got "{wanted}", but {problem}')])
    return named


def _numba_problem(named: str) -> str:
    """Give the reason why an engine cannot run here, and what to do; empty if it can."""
    try:
        numba = import_module("numba")
    except Exception as error:  # a broken installation can raise anything
        return (
            f"numba, which both engines need, cannot be imported ({type(error).__name__}: {error}); install it again: "
            "pip install --force-reinstall numba llvmlite"
        )
    if named == COMPILED and numba.config.DISABLE_JIT:
        return (
            "numba compiles nothing, because NUMBA_DISABLE_JIT is set; unset it, or take the reference "
            f'(--engine {PYMUNK}, engine="{PYMUNK}"), which is far slower'
        )
    return ""


def engine_maker(wanted: str) -> EngineMaker:
    """Give the class of an engine, which makes one from a scene and settings.

    Parameters
    ----------
    wanted : str
        As for `engine_named`.

    Returns
    -------
    callable
        `CompiledEngine` or `PymunkEngine`.

    Raises
    ------
    ScenarioError
        As `engine_named`: if there is no such engine, or numba does not work here.
    """
    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_engine import PymunkEngine

        return PymunkEngine
    from colsim.physics.compiled_engine import CompiledEngine

    return CompiledEngine


def finer(wanted: str) -> Settings:
    """Give the settings of an engine with half of its default time step.

    Parameters
    ----------
    wanted : str
        As for `engine_named`.

    Returns
    -------
    Settings
        The default ones but for the step [s].

    Raises
    ------
    ScenarioError
        As `engine_named`: if there is no such engine, or numba does not work here.
    """
    default = Settings()
    step = default.step
    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_engine import LONGEST_STEP

        step = min(step, LONGEST_STEP)  # longer ones are divided
    return replace(default, step=step / 2)


def compiles_first(wanted: str) -> bool:
    """Tell whether an engine must be compiled before it runs, which takes some fifteen seconds.

    Parameters
    ----------
    wanted : str
        As for `engine_named`.

    Returns
    -------
    bool

    Raises
    ------
    ScenarioError
        As `engine_named`: if there is no such engine, or numba does not work here.
    """
    from colsim.physics.kernel.compiling import is_compiled

    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_forces import APPLY_FORCES

        return not is_compiled(APPLY_FORCES)
    from colsim.physics.kernel.stepping import ENTRY_POINTS

    return not is_compiled(ENTRY_POINTS.run)


def make_ready(wanted: str) -> None:
    """Compile an engine, or load it from the disk cache, where processes started later find it.

    Parameters
    ----------
    wanted : str
        As for `engine_named`.

    Raises
    ------
    ScenarioError
        As `engine_named`: if there is no such engine, or numba does not work here.
    """
    compile_now = import_module(_MODULES[engine_named(wanted)]).compile_now
    compile_now()
