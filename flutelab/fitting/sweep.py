"""One function over many cases, on all cores of a machine or on many machines."""

from __future__ import annotations

import math
import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial

from flutelab.fitting.progress import Progress

CHUNK, LEAST_CHUNK = 0.1, 0.02  # s of work that is sent as one
_CHUNKS = 4  # a worker, at least, so that none waits long for the last
# A worker takes one core; read by the numerical libraries as they load
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """Results of the first cases, in their order; `asked` for more where it was interrupted."""

    results: tuple
    asked: int


def sweep(
    function: Callable,
    cases: Sequence,
    executor: Executor | None = None,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Sweep:
    """Return a function's result for each case.

    Parameters
    ----------
    function : callable
        Of one case. Workers import it by its name, so it stands at the top of a module; bind
        what is common to all cases with `functools.partial`.
    cases : sequence
    executor : concurrent.futures.Executor, optional
        Anything with that interface; it is left open. Default: a pool of processes.
    workers : int, optional
        Of the pool. 0 = none: one case after the other, here. Default: the cores at hand. In
        a script call it below ``if __name__ == "__main__":``, as each worker reads the script.
    progress : callable, optional
        Called with how many cases are done, and how many there are.

    Returns
    -------
    Sweep
        The same to the last bit whatever the workers, as fits are; a function whose linear
        algebra is large enough for several threads may differ in its last bits from one worker
        to none, where this process uses them. If interrupted (KeyboardInterrupt) the
        leading cases that were done.

    Raises
    ------
    ValueError
        A function that workers cannot import, or fewer than 0 workers.
    Exception
        What the function raises, with the number of the case as a note; no further case is
        begun.

    Notes
    -----
    Cases go out in chunks of 0.02 to 0.1 s, by the time of the first, which is done here. Each
    worker does its linear algebra in one thread.

    dask: ``with distributed.Client() as client: sweep(function, cases,
    client.get_executor(pure=False))``, about 2 ms a chunk. MPI: ``with
    mpi4py.futures.MPIPoolExecutor() as executor: sweep(function, cases, executor)`` in a script
    started by ``mpiexec -n N python -m mpi4py.futures SCRIPT``, about 0.2 ms a chunk. Their
    workers' threads are theirs to set.

    Examples
    --------
    >>> sweep(abs, [-1, 2, -3], workers=0).results
    (1, 2, 3)
    """
    cases = list(cases)
    if workers is not None and workers < 0:
        msg = f"sweep: workers is {workers}; use 0 (none) or more"
        raise ValueError(msg)
    count = _cores() if workers is None else workers
    done = _Done(len(cases), progress)
    try:
        if executor is not None and cases:
            _send(function, cases, executor, count, done)
        elif count == 0 or not cases:
            for number, case in enumerate(cases):
                done.add(number, [_one(function, case, number)])
        else:
            _check(function)
            with _pool(count) as own:
                _send(function, cases, own, count, done)
    except KeyboardInterrupt:
        if not done.leading():
            raise
    return Sweep(results=tuple(done.leading()), asked=len(cases))


class _Done:
    """Results as they come in, by the number of their first case."""

    def __init__(self, count, progress):
        self._count, self._progress = count, progress
        self._found: dict[int, list] = {}

    def add(self, first, results):
        self._found[first] = results
        if self._progress is not None:
            self._progress(sum(map(len, self._found.values())), self._count)

    def leading(self):
        """Results up to the first case that is not done."""
        results = []
        while len(results) in self._found:
            results += self._found[len(results)]
        return results


def _send(function, cases, executor, workers, done):
    """Do the first case here, for its time, and the rest in chunks there."""
    begin = time.perf_counter()
    done.add(0, [_one(function, cases[0], 0)])
    taken = time.perf_counter() - begin
    size = _chunk(len(cases) - 1, workers, taken)
    futures: dict[Future, int] = {}
    try:
        for first in range(1, len(cases), size):
            asked = executor.submit(_several, function, cases[first : first + size], first)
            futures[asked] = first
        for future in as_completed(futures):
            done.add(futures[future], future.result())
    except BaseException:
        for future in futures:
            future.cancel()
        raise


def _chunk(count, workers, seconds):
    """How many cases go out together: shorter chunks where there would be too few of them."""
    longest, shortest = (math.ceil(time / max(seconds, 1e-6)) for time in (CHUNK, LEAST_CHUNK))
    even = count // (_CHUNKS * max(workers, 1))
    return min(max(even, shortest), longest)


def _several(function, cases, first):
    return [_one(function, case, first + number) for number, case in enumerate(cases)]


def _one(function, case, number):
    try:
        return function(case)
    except Exception as error:
        error.add_note(f"in case {number} of the sweep")
        raise


def _cores():
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else os.cpu_count() or 1


def _check(function):
    """Refuse a function that stands in no module."""
    while isinstance(function, partial):
        function = function.func
    name = getattr(function, "__qualname__", "")
    if "<" in name:
        msg = (
            f"sweep: workers cannot import {name}; define the function at the top of a module, or "
            "use workers=0"
        )
        raise ValueError(msg)


@contextmanager
def _pool(count):
    """A pool of processes, each with one thread of linear algebra; an interrupt ends it."""
    before = {name: os.environ.get(name) for name in _THREADS}
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(count, mp_context=context, initializer=_leave_interrupts)
    try:
        os.environ.update(dict.fromkeys(_THREADS, "1"))
        yield pool
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
        pool.shutdown(wait=True, cancel_futures=True)


def _leave_interrupts():
    """Ctrl-C is for whoever asked; workers end with the pool."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
