"""Draws on several processes or machines: in order, the same bytes whoever works them out."""

from __future__ import annotations

from time import perf_counter
from typing import TYPE_CHECKING, Any

from joblib import Parallel, delayed
from joblib.externals.loky import get_reusable_executor
from joblib.externals.loky.process_executor import BrokenProcessPool
from threadpoolctl import threadpool_limits

from spreadnet.errors import WorkerError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

# The number of threads in the linear algebra changes last bits, and small sums get slower.
one_thread = threadpool_limits.wrap(limits=1, user_api="blas")
WORTH_STARTING_S = 6.0  # work left below which starting other processes takes longer than it saves
CHUNK_S = 1.5  # seconds of work handed out at a time: progress is seen, little is sent about


def in_order(
    work: Callable[[Any, int], Any],
    shared: Any,
    numbers: Sequence[int],
    *,
    workers: int | None,
    threads: bool = False,
) -> Iterator[Any]:
    """
    Results of `work(shared, number)` in the order of the numbers.

    The first is worked out here, which tells how long one takes; the rest go to other processes
    where that is worth it. Each number is worked out by itself, so neither workers nor chunks
    change a bit of the results.

    Parameters
    ----------
    work : callable
        A function of a module, so that other processes can load it.
    shared : object
        What all need; sent along with each chunk.
    numbers : sequence of int
        One a result.
    workers : int or None
        Processes; 1 works everything out here. None takes what `joblib.parallel_config` says
        (`cluster.on_scheduler` sets it to a Dask cluster), else 1.
    threads : bool
        Threads of this process in place of processes, unless `joblib.parallel_config` says
        otherwise: as quick where nearly all the time is spent in compiled code, which lets other
        threads go on, and in half the memory.

    Yields
    ------
    result : object
        One a number.

    Raises
    ------
    WorkerError
        If a process or machine is lost on the way; what `work` raises comes as it is.
    """
    if not numbers:
        return
    began = perf_counter()
    yield from _chunk(work, shared, numbers[:1])
    seconds = max(perf_counter() - began, 1e-6)
    rest = numbers[1:]
    few = seconds * len(rest) < WORTH_STARTING_S
    if workers == 1 or not rest or (workers is not None and few):
        for number in rest:
            yield from _chunk(work, shared, [number])
        return
    share = -(-len(rest) // (workers or 1)) if workers else len(rest)
    size = max(1, min(int(CHUNK_S / seconds), share))
    chunks = (rest[i : i + size] for i in range(0, len(rest), size))
    pool = Parallel(
        n_jobs=workers,
        return_as="generator",
        batch_size=1,
        prefer="threads" if threads else "processes",
    )
    try:
        for results in pool(delayed(_chunk)(work, shared, chunk) for chunk in chunks):
            yield from results
    except (BrokenProcessPool, MemoryError) as error:
        message = (
            "a process working out draws was ended by the system, most likely because memory ran "
            "out\n\nhint: run again with fewer processes, e.g. `--workers 1`"
        )
        raise WorkerError(message) from error
    # All is done: idle processes would hold on to their memory for minutes.
    if workers is not None and not threads:
        get_reusable_executor(reuse=True).shutdown(wait=True)


@one_thread
def _chunk(work: Callable[[Any, int], Any], shared: Any, numbers: Sequence[int]) -> list[Any]:
    """Several results, one after the other."""
    return [work(shared, number) for number in numbers]
