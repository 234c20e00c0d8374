"""How the kernel is compiled, and what is kept of it."""

from __future__ import annotations

import inspect
import zlib
from collections.abc import Callable
from types import ModuleType
from typing import TypeVar, cast

import numba
from numba.extending import register_jitable

__all__ = ["also_compiled", "compiled", "entry", "inlined", "stamp_of"]

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """Compile a function with what calls it."""
    return cast(Function, numba.njit(error_model="numpy")(function))


def inlined(function: Function) -> Function:
    """Compile a small function into those that call it."""
    return cast(Function, numba.njit(error_model="numpy", forceinline=True)(function))


def also_compiled(*functions: Callable[..., object]) -> None:
    """Let plain functions of other rooms be called from compiled ones."""
    for function in functions:
        register_jitable(error_model="numpy")(function)


def entry(function: Function) -> Function:
    """Compile what is called from Python: nogil, and kept on disk for the next process.

    It must hold a stamp of all it calls in a closure: numba keeps by the file of the entry alone, and by what it holds.
    """
    try:
        return cast(Function, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # there is no folder that it could be kept in
        return cast(Function, numba.njit(nogil=True, error_model="numpy")(function))


def stamp_of(*modules: ModuleType) -> int:
    """Give a number above 0 that differs as soon as the text of any of these modules does."""
    return 1 + zlib.crc32("".join(inspect.getsource(module) for module in modules).encode())
