"""Decorators that compile the kernel with numba, and the key of its disk cache."""

from __future__ import annotations

import inspect
import zlib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any, TypeVar, cast

import numba
from numba.extending import register_jitable

__all__ = ["compiled", "entry_point", "inlined", "is_compiled", "jitable", "source_checksum"]

Function = TypeVar("Function", bound=Callable[..., object])


def compiled(function: Function) -> Function:
    """Compile a function that only compiled functions call.

    Parameters
    ----------
    function : callable
        Of numbers and arrays.

    Returns
    -------
    callable
        The same, compiled at its first call.
    """
    return cast(Function, numba.njit(error_model="numpy")(function))


def inlined(function: Function) -> Function:
    """Compile a small function and inline it into its callers.

    Parameters
    ----------
    function : callable
        Of numbers and arrays.

    Returns
    -------
    callable
        The same, compiled at its first call.
    """
    return cast(Function, numba.njit(error_model="numpy", forceinline=True)(function))


def jitable(*functions: Callable[..., object]) -> None:
    """Allow compiled functions to call these plain Python functions, which stay plain for everyone else.

    Parameters
    ----------
    *functions : callable
        Of numbers and arrays.
    """
    for function in functions:
        register_jitable(error_model="numpy")(function)


def entry_point(function: Function) -> Function:
    """Compile a function that Python calls: releases the GIL, and is cached on disk.

    Parameters
    ----------
    function : callable
        It must hold the `source_checksum` of all code that it compiles in as a closure variable: numba's cache key
        has only the file of the entry point and its closure.

    Returns
    -------
    callable
        The same, compiled at its first call; without a cache where no folder for it can be written to.
    """
    try:
        return cast(Function, numba.njit(cache=True, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # no writable folder for the cache
        return cast(Function, numba.njit(nogil=True, error_model="numpy")(function))


def source_checksum(*modules: ModuleType) -> int:
    """Give a number that changes with the source text of any of these modules.

    Parameters
    ----------
    *modules : module
        With their source files.

    Returns
    -------
    int
        Above 0.
    """
    return 1 + zlib.crc32("".join(inspect.getsource(module) for module in modules).encode())


def is_compiled(function: Callable[..., object]) -> bool:
    """Tell whether machine code of an entry point exists, in this process or in the disk cache.

    Parameters
    ----------
    function : callable
        As `entry_point` gives it.

    Returns
    -------
    bool
    """
    dispatcher = cast(Any, function)
    if dispatcher.signatures:
        return True
    folder, module = dispatcher.stats.cache_path, dispatcher.__module__.rpartition(".")[2]
    return folder is not None and any(Path(folder).glob(f"{module}.*{dispatcher.__name__}-*.nbc"))
