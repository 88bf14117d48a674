"""The same seed gives the same bytes on any number of workers, in any chunks, restarted."""

import os
import signal
import warnings

import numpy as np
import pytest

from spreadnet.decisions.draws import parallel
from spreadnet.decisions.draws.cluster import on_scheduler
from spreadnet.decisions.draws.run import run_draws, run_model, setting_of
from spreadnet.errors import WorkerError
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of

DRAWS = 9


def quiet(*_):
    pass


@pytest.fixture(scope="module")
def setting(demo_result):
    evidence, movement = demo_result.evidence, demo_result.movement
    place = place_of(demo_result.region, evidence, movement)
    best = run_model(best_estimates(evidence, movement), movement, place=place, seasons=3)
    hours = {"some": np.minimum(best.reach.hours_in_season, 4.0) * (best.reach.boats > 0)}
    return setting_of(evidence, movement, place=place, best=best, hours=hours, seed=5)


@pytest.fixture(scope="module")
def alone(setting):
    return run_draws(setting, range(DRAWS), workers=1, step=quiet)


def same(one, two):
    for name in ("scores", "new_any", "avoided"):
        assert np.array_equal(getattr(one, name), getattr(two, name)), name
    for name, totals in one.totals.items():
        assert np.array_equal(totals, two.totals[name])


@pytest.mark.parametrize("chunk_s", [0.0, pytest.param(1e9, marks=pytest.mark.slow)])
def test_two_processes_give_the_bytes_of_one(setting, alone, monkeypatch, chunk_s):
    monkeypatch.setattr(parallel, "WORTH_STARTING_S", 0.0)
    monkeypatch.setattr(parallel, "CHUNK_S", chunk_s)
    done = []
    both = run_draws(setting, range(DRAWS), workers=2, step=lambda n, of, _: done.append((n, of)))
    same(alone, both)
    assert done == [(n, DRAWS) for n in range(1, DRAWS + 1)]


def test_a_run_taken_up_again_gives_the_rows_that_were_missing(setting, alone):
    rest = run_draws(setting, range(5, DRAWS), workers=1, step=quiet)
    assert np.array_equal(rest.scores, alone.scores[5:])
    assert np.array_equal(rest.avoided, alone.avoided[5:])


@pytest.mark.slow
def test_a_dask_cluster_of_two_workers_gives_the_same_bytes(setting, alone):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the cluster's own making, e.g. a port in use
        from distributed import LocalCluster

        with LocalCluster(
            n_workers=2, threads_per_worker=1, dashboard_address=None, processes=True
        ) as cluster:
            with on_scheduler(cluster.scheduler_address):
                found = run_draws(setting, range(DRAWS), workers=None, step=quiet)
            assert len(cluster.scheduler_info["workers"]) == 2
    same(alone, found)


def test_short_work_stays_in_this_process(setting, alone, monkeypatch):
    def never(*_args, **_kwargs):
        raise AssertionError

    monkeypatch.setattr(parallel, "Parallel", never)
    monkeypatch.setattr(parallel, "WORTH_STARTING_S", 1e9)
    same(alone, run_draws(setting, range(DRAWS), workers=2, step=quiet))


def _dies(_shared, number):
    if number:
        os.kill(os.getpid(), signal.SIGKILL)  # as the system does where memory runs out
    return number


def _wants_too_much(_shared, number):
    if number:
        raise MemoryError
    return number


@pytest.mark.slow
@pytest.mark.parametrize("work", [_dies, _wants_too_much])
def test_a_process_that_runs_out_of_memory_is_said_so(monkeypatch, capfd, work):
    monkeypatch.setattr(parallel, "WORTH_STARTING_S", 0.0)
    with pytest.raises(WorkerError, match=r"memory ran out[\s\S]*`--workers 1`"):
        list(parallel.in_order(work, None, range(4), workers=2))
    assert capfd.readouterr() == ("", "")
