"""Resampled years, lived side by side on whatever can work: this process, others of this machine, or a cluster.

Each year draws from a seed of its own, so what comes out does not depend on how many work or who is done first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from scheduler.errors import UsageError
from scheduler.studies.year import PreparedYear, live_prepared
from scheduler.studies.yearsums import YearSums

#: Given each year as it is done.
Keep = Callable[[YearSums], None]


class Executor(Protocol):
    """Whoever lives years."""

    def live(self, prepared: PreparedYear, numbers: Sequence[int]) -> Iterator[YearSums]:
        """Live the years of some numbers and give each as it is done."""
        ...


def live_years(
    prepared: PreparedYear, numbers: Sequence[int], executor: Executor, keep: Keep | None = None
) -> tuple[YearSums, ...]:
    """Live years of some numbers; returned in the order of the numbers.

    Parameters
    ----------
    prepared : PreparedYear
    numbers : sequence of int
    executor : Executor
    keep : callable, optional
        Given each year as it is done.
    """
    lived: dict[int, YearSums] = {}
    for sums in executor.live(prepared, numbers):
        lived[sums.number] = sums
        if keep is not None:
            keep(sums)
    return tuple(lived[number] for number in numbers)


def live_and_sum(prepared: PreparedYear, number: int) -> YearSums:
    """Live one year and keep its sums alone."""
    return YearSums.of(live_prepared(prepared, number), number)


class OneByOne:
    """Lives years in this process."""

    def live(self, prepared: PreparedYear, numbers: Sequence[int]) -> Iterator[YearSums]:
        """Live the years one after the other."""
        return (live_and_sum(prepared, number) for number in numbers)


@dataclass(frozen=True)
class Processes:
    """Lives years in processes of their own, begun anew so that it is the same on every system."""

    workers: int

    def live(self, prepared: PreparedYear, numbers: Sequence[int]) -> Iterator[YearSums]:
        """Live the years, as many at a time as there are workers."""
        import multiprocessing
        from concurrent.futures import ProcessPoolExecutor, as_completed

        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(self.workers, context, initializer=_arrive, initargs=(prepared,))
        try:
            for done in as_completed([pool.submit(_live_prepared_here, number) for number in numbers]):
                yield done.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


_here: list[PreparedYear] = []  # what a worker process was given as it began


def _arrive(prepared: PreparedYear) -> None:
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the first process's to answer
    _here[:] = [prepared]


def _live_prepared_here(number: int) -> YearSums:
    return live_and_sum(_here[0], number)


@dataclass(frozen=True)
class Cluster:
    """Lives years on a Dask cluster; `address` is its scheduler's, such as ``tcp://10.0.0.5:8786``."""

    address: str

    def live(self, prepared: PreparedYear, numbers: Sequence[int]) -> Iterator[YearSums]:
        """Live the years on whatever workers the cluster has.

        Raises
        ------
        UsageError
            If Dask is not installed, or no scheduler answers.
        """
        try:
            from distributed import Client, as_completed
        except ImportError as fault:
            msg = "--scheduler: this needs Dask: pip install 'sunroster[cluster]'"
            raise UsageError(msg) from fault
        try:
            client = Client(self.address, timeout="10s", set_as_default=False)
        except (OSError, ValueError) as fault:
            msg = f"--scheduler {self.address}: no scheduler answers there; is `dask scheduler` running?"
            raise UsageError(msg) from fault
        with client:
            shared = client.scatter(prepared, broadcast=True)
            futures = [client.submit(live_and_sum, shared, number, pure=False) for number in numbers]
            for done in as_completed(futures):
                yield done.result()
