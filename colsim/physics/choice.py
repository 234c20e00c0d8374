"""Which engine simulates, by name."""

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


def engine_named(wanted: str) -> str:
    """Give the name of the engine that is taken.

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
        If the name is not one of these, or numba does not work here. One engine never stands in for the other.
    """
    if wanted not in ENGINES:
        raise ScenarioError([("engine", f"got {wanted!r}; allowed: {' | '.join(ENGINES)}")])
    named = PYMUNK if wanted == PYMUNK else COMPILED
    if problem := _what_is_wrong_with_numba(named):
        raise ScenarioError([("engine", f'got "{wanted}", but {problem}')])
    return named


def _what_is_wrong_with_numba(named: str) -> str:
    """Say why an engine cannot run here, and what to do; empty if it can."""
    try:
        numba = import_module("numba")
    except Exception as error:  # a broken installation raises what it likes
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
    """Give what makes an engine of a scene; `engine_named` says which and what it refuses."""
    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_engine import PymunkEngine

        return PymunkEngine
    from colsim.physics.compiled_engine import CompiledEngine

    return CompiledEngine


def finer(wanted: str) -> Settings:
    """Give the settings with which an engine takes half of its usual time step.

    Parameters
    ----------
    wanted : str
        As for `engine_named`, which says what is refused.

    Returns
    -------
    Settings
        The usual ones but for the step [s].
    """
    usual = Settings()
    step = usual.step
    if engine_named(wanted) == PYMUNK:
        from colsim.physics.pymunk_engine import LONGEST_STEP

        step = min(step, LONGEST_STEP)  # it cuts longer ones to this
    return replace(usual, step=step / 2)


def compiles_first(wanted: str) -> bool:
    """Tell whether an engine has to be compiled on this machine before it runs, which takes some fifteen seconds."""
    if engine_named(wanted) == PYMUNK:
        return False
    from colsim.physics.kernel.looking import is_compiled

    return not is_compiled()


def make_ready(wanted: str) -> None:
    """Compile an engine, or load what was compiled before, so that processes that are begun after it find it."""
    if engine_named(wanted) == COMPILED:
        from colsim.physics.compiled_engine import compile_now

        compile_now()
