"""Worker processes: they end with their parent, leave Ctrl-C to it, and are begun anew if one dies."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any

from colsim.sampling.checks import require_whole

__all__ = ["WorkerPool", "process_pool"]


def process_pool(workers: int | None = None) -> WorkerPool:
    """Make a pool of worker processes; none is begun before it is given work.

    Parameters
    ----------
    workers : int, optional
        How many; one for each core if not given.

    Returns
    -------
    WorkerPool

    Raises
    ------
    ScenarioError
        If the number is not a whole one of 1 or more.
    """
    return WorkerPool(os.cpu_count() or 1 if workers is None else require_whole("workers", workers, least=1))


class WorkerPool(Executor):
    """Processes that do what is submitted.

    They never see a Ctrl-C, and end as soon as their parent has ended, by whatever. Where one dies, what the pool had
    not done fails with BrokenExecutor; after `renew` it can be given work again.

    Parameters
    ----------
    workers : int
        How many processes, 1 or more.
    """

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self._many, self._one = _processes(workers), _processes(1)

    @property
    def process_ids(self) -> tuple[int, ...]:
        """Ids of the processes that have been begun and not been replaced."""
        return tuple(process.pid for pool in (self._many, self._one) for process in _begun(pool))

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Submit work for any of the processes.

        Parameters
        ----------
        fn : callable
            What to call.
        *args, **kwargs
            With what.

        Returns
        -------
        concurrent.futures.Future
        """
        with _interrupts_blocked():
            return self._many.submit(fn, *args, **kwargs)

    def call_alone(self, fn: Callable[..., Any], /, *args: Any) -> Any:
        """Call a function in a process that does nothing else, and wait for what it gives.

        Parameters
        ----------
        fn : callable
            What to call.
        *args
            With what.

        Returns
        -------
        object
            What it gives. If its process dies, BrokenExecutor is raised.
        """
        try:
            with _interrupts_blocked():
                future = self._one.submit(fn, *args)
            return future.result()
        except BrokenExecutor:
            self._one = _processes(1)
            raise

    def renew(self) -> None:
        """Begin anew after a process has died; what was submitted before is lost."""
        broken, self._many = self._many, _processes(self.workers)
        broken.shutdown(wait=False, cancel_futures=True)

    def kill(self) -> None:
        """End all processes at once, whatever they do."""
        for pool in (self._many, self._one):
            for process in _begun(pool):
                process.kill()

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End the processes when they have done what they hold; a Ctrl-C meanwhile ends them at once.

        Parameters
        ----------
        wait : bool
            Whether to wait for that.
        cancel_futures : bool
            Whether to drop what no process has begun.
        """
        try:
            for pool in (self._many, self._one):
                pool.shutdown(wait, cancel_futures=cancel_futures)
        except KeyboardInterrupt:
            self.kill()
            raise


def _processes(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, initializer=_begin)


def _begun(pool: ProcessPoolExecutor) -> list[Any]:
    """Give the processes of a pool; a pool that was shut down has none."""
    return list((pool._processes or {}).values())


def _begin() -> None:
    """Do what a worker does first: ignore Ctrl-C, and watch its parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent,), daemon=True).start()


def _end_after(parent: Any) -> None:
    parent.join()
    os._exit(1)  # the thread that works may be deep in machine code


@contextmanager
def _interrupts_blocked() -> Iterator[None]:
    """Block SIGINT, which processes that are begun meanwhile inherit; it reaches the parent afterwards."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
