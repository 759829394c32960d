"""The same batch through workers of others: equal to the serial run, threads not multiplied."""

import contextlib
import multiprocessing
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import catoptric as ct
import cloudpickle
import pytest
from samples import diagonals

linux = pytest.mark.skipif(sys.platform != "linux", reason="counts threads by their names in /proc")
PARTS = 3

# Workers of joblib and dask need not find this file.
cloudpickle.register_pickle_by_value(sys.modules[__name__])


def run_part(batch, k, of):
    """Compute one part; return it with the number of the library's threads in this process."""
    comparison = batch.part(k, of=of).run()
    return comparison, sum(name.startswith("catoptric-") for name in thread_names())


def runs():
    """Return the parts' own methods: what a script sends to its workers as it is."""
    return [diagonals().part(k, of=PARTS).run for k in range(PARTS)]


def thread_names():
    for task in os.listdir("/proc/self/task"):
        # A thread may end between the list and the look at it.
        with contextlib.suppress(FileNotFoundError, ProcessLookupError):
            yield Path(f"/proc/self/task/{task}/comm").read_text()


def one_thread():
    os.environ["CATOPTRIC_NUM_THREADS"] = "1"


def two_threads():
    os.environ["CATOPTRIC_NUM_THREADS"] = "2"


def holds(answers, serial, most_threads):
    assert ct.DiagonalComparison.join([part for part, _ in answers]) == serial
    assert max(threads for _, threads in answers) <= most_threads


@pytest.fixture(scope="module")
def serial():
    return diagonals().run()


@linux
@pytest.mark.parametrize("start", ["spawn", "fork"])
@pytest.mark.parametrize(("limit", "most"), [(one_thread, 0), (two_threads, 2)])
def test_processes_of_the_standard_library(serial, start, limit, most):
    # The parent's pool exists already (the serial run made it): a forked child makes its own.
    context = multiprocessing.get_context(start)
    with ProcessPoolExecutor(2, mp_context=context, initializer=limit) as workers:
        asked = [workers.submit(run_part, diagonals(), k, PARTS) for k in range(PARTS)]
        answers = [future.result(timeout=120) for future in asked]
        bare = [workers.submit(run) for run in runs()]
        bare = [future.result(timeout=120) for future in bare]
    holds(answers, serial, most)
    assert ct.DiagonalComparison.join(bare) == serial


@linux
def test_joblib(serial):
    from joblib import Parallel, delayed, parallel_config

    with parallel_config(backend="loky", inner_max_num_threads=1):
        answers = Parallel(n_jobs=2)(delayed(run_part)(diagonals(), k, PARTS) for k in range(PARTS))
        bare = Parallel(n_jobs=2)(delayed(run)() for run in runs())
    # One inner thread: no pool at all.
    holds(answers, serial, 0)
    assert ct.DiagonalComparison.join(bare) == serial


@linux
def test_dask_on_this_machine(serial, tmp_path):
    import dask
    from dask.distributed import Client, LocalCluster

    with (
        dask.config.set({"temporary-directory": str(tmp_path)}),
        LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
        ) as cluster,
        Client(cluster) as client,
    ):
        futures = [client.submit(run_part, diagonals(), k, PARTS) for k in range(PARTS)]
        answers = client.gather(futures)
        bare = client.gather([client.submit(run) for run in runs()])
    # Dask sets OMP_NUM_THREADS to 1 in its workers, and the library heeds it.
    holds(answers, serial, 0)
    assert ct.DiagonalComparison.join(bare) == serial
