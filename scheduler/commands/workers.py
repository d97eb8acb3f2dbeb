"""Processes of their own to live years in: begun whole, and ended at once when the program is stopped."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING, ParamSpec, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

#: What a terminal tells all that run in it: Ctrl-C, and that it is closed, for which Windows has no word.
_BY_TERMINAL = tuple(getattr(signal, name) for name in ("SIGINT", "SIGHUP") if hasattr(signal, name))

P = ParamSpec("P")
T = TypeVar("T")


@contextmanager
def worker_processes(workers: int | None) -> Iterator[Executor]:
    """Open processes of their own, one a core unless told, begun anew so that it is the same on every system.

    Left by an error or Ctrl-C, they are ended in the middle of their work, their solvers and files with them.
    """
    pool = _Workers(workers or os.cpu_count())
    try:
        yield pool
        pool.shutdown()
    except BaseException:
        pool.end_at_once()
        raise


class _Workers(Executor):
    """Worker processes to which a thread beside the first hands their work.

    Ctrl-C reaches the first thread only. There it could come in the middle of a process's start, and a process half
    begun has nobody to end it: it tells of a cut-off pipe, and leaves its semaphores to the system.
    """

    def __init__(self, count: int | None) -> None:
        self._count = count
        self._beside = ThreadPoolExecutor(1)
        self._pool: ProcessPoolExecutor | None = None
        self._ending, self._begun, self._ended = Lock(), Event(), Event()

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Hand work to the processes; the first begins them."""

        def hand_in() -> Future[T]:
            self._pool = self._pool or _begin(self._count)
            return self._pool.submit(_until_told, fn, *args, **kwargs)

        return self._beside.submit(hand_in).result()

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """End when all that was handed in is done, or taken back.

        A thread of its own waits for that: one that Ctrl-C breaks off passes for ended while it goes on.
        """
        Thread(target=self._end, args=(cancel_futures,), daemon=True).start()
        if wait:
            self._ended.wait()

    def _end(self, cancel_futures: bool) -> None:
        with self._ending:
            self._beside.shutdown()
            self._begun.set()
            if self._pool is not None:
                self._pool.shutdown(cancel_futures=cancel_futures)
            self._ended.set()

    def end_at_once(self) -> None:
        """Tell the processes to end until they have.

        They are waited for: whoever goes first leaves the pool's semaphores, solvers and files to the system.
        """
        import multiprocessing

        self.shutdown(wait=False)
        while not self._ended.is_set():
            with suppress(KeyboardInterrupt):  # asked for again: it is being done
                self._begun.wait()  # none is half begun
                for child in multiprocessing.active_children():
                    child.terminate()
                self._ended.wait(1.0)


def _begin(count: int | None) -> ProcessPoolExecutor:
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    _be_deaf_to_terminal()  # for the keeper of the pool's semaphores, which is begun with the first of them
    pool = ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), initializer=_end_in_good_order)
    _be_deaf_to_terminal()  # for the workers: that keeper's start lifts it again for Ctrl-C
    return pool


def _be_deaf_to_terminal() -> None:
    """In this thread and in what it begins: the terminal speaks to the first process alone, also while others load."""
    if hasattr(signal, "pthread_sigmask"):  # Windows has none
        signal.pthread_sigmask(signal.SIG_BLOCK, _BY_TERMINAL)


def _end_in_good_order() -> None:
    """In a worker: the first process asks for an end, and what is at work takes its solver and files with it."""

    def end(number: int, frame: object) -> None:
        sys.exit(1)

    for number in _BY_TERMINAL:
        signal.signal(number, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, end)


def _until_told(fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> T:
    """In a worker: do the work; told to end, end, for the pool would take it for the work's answer and go on."""
    try:
        return fn(*args, **kwargs)
    except SystemExit:
        os._exit(1)
