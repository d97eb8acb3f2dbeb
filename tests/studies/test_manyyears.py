"""Many years at once are the same years, whoever lives them."""

from __future__ import annotations

import pytest

from scheduler.commands.workers import worker_processes
from scheduler.errors import UsageError
from scheduler.studies.manyyears import dask_cluster, live_and_sum, live_years
from scheduler.studies.year import PreparedYear, live_prepared, prepare_year
from tests.studies.small_year import Here, days_from, greensboro, machine, plot


def three_days() -> PreparedYear:
    yard = plot(machines=(machine("cart"), machine("mower", priority="could")))
    return prepare_year(yard, greensboro(), days_from(11, 3, 3))


def test_each_year_has_days_and_forecasts_of_its_own_and_the_same_ones_again() -> None:
    prepared = three_days()
    one, two = live_prepared(prepared, 1), live_prepared(prepared, 2)
    assert [day.typical_day for day in one.days] != [day.typical_day for day in two.days]
    assert [day.likely_wh for day in one.days] != [day.likely_wh for day in two.days]
    assert live_prepared(prepared, 1) == one
    typical = live_prepared(prepared, 0)
    assert [day.typical_day for day in typical.days] == [306, 307, 308]


def test_years_come_back_in_their_order_and_each_is_kept_as_it_is_done() -> None:
    prepared, kept = three_days(), []
    years = live_years(prepared, (3, 1), Here(), kept.append)
    assert [sums.number for sums in years] == [3, 1]
    assert sorted(kept, key=lambda sums: sums.number) == [years[1], years[0]]


@pytest.mark.slow
def test_one_and_two_processes_and_this_one_live_the_same_years() -> None:
    prepared, numbers = three_days(), (1, 2, 3)
    here = tuple(live_and_sum(prepared, number) for number in numbers)
    for workers in (1, 2):
        with worker_processes(workers) as processes:
            assert live_years(prepared, numbers, processes) == here


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")
def test_a_dask_cluster_lives_the_same_years() -> None:
    from distributed import LocalCluster

    prepared, numbers = three_days(), (1, 2, 3)
    here = tuple(live_and_sum(prepared, number) for number in numbers)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        dask_cluster(cluster.scheduler_address) as workers,
    ):
        assert live_years(prepared, numbers, workers) == here


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::DeprecationWarning")
def test_an_address_without_a_scheduler_is_told() -> None:
    with pytest.raises(UsageError, match="no scheduler answers"), dask_cluster("tcp://127.0.0.1:9"):
        pass
    with pytest.raises(UsageError, match="no scheduler answers"), dask_cluster("nowhere at all"):
        pass
