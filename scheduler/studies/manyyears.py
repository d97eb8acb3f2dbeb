"""Resampled years, lived side by side by whoever can work: processes of this machine, or a Dask cluster.

Both are executors as the standard library has them. Each year draws from a seed of its own, so what comes out does
not depend on how many work or who is done first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, as_completed
from contextlib import contextmanager

from scheduler.errors import UsageError
from scheduler.studies.year import PreparedYear, live_prepared
from scheduler.studies.yearsums import YearSums

#: Given each year as it is done.
Keep = Callable[[YearSums], None]


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
    for done in as_completed([executor.submit(live_and_sum, prepared, number) for number in numbers]):
        sums = done.result()
        lived[sums.number] = sums
        if keep is not None:
            keep(sums)
    return tuple(lived[number] for number in numbers)


def live_and_sum(prepared: PreparedYear, number: int) -> YearSums:
    """Live one year and keep its sums alone."""
    return YearSums.of(live_prepared(prepared, number), number)


@contextmanager
def dask_cluster(address: str) -> Iterator[Executor]:
    """Reach a Dask cluster; `address` is its scheduler's, such as ``tcp://10.0.0.5:8786``.

    Raises
    ------
    UsageError
        If Dask is not installed, or no scheduler answers.
    """
    try:
        from distributed import Client
    except ImportError as fault:
        msg = "--scheduler wants Dask: pip install 'sunroster[cluster]'"
        raise UsageError(msg) from fault
    try:
        client = Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as fault:
        msg = f"--scheduler {address}: no scheduler answers there; start one with `dask scheduler`"
        raise UsageError(msg) from fault
    with client:
        yield client.get_executor(pure=False)
