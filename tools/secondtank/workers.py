"""Where many runs are done: in this process, on the cores of this machine, or on a cluster, all as `concurrent.futures`."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

from host_sim.errors import InputError

_CONNECT_S = 10
_LOOK_S = 0.2  # how often an interrupt is looked for while the workers are busy


class Here(Executor):
    """Does the work at once in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """The finished future of `fn`."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def workers(jobs: int | None, cluster: str | None) -> Iterator[tuple[Executor, int]]:
    """An executor and how many jobs it does at a time; `jobs` None is one for each core, 1 needs no other process.

    `cluster`: address of a running Dask scheduler. Raises InputError where nothing answers there.
    """
    if cluster is not None:
        if jobs is not None:
            raise InputError("--jobs", jobs, "left out: with --cluster the scheduler's workers are counted")
        with _cluster(cluster) as found:
            yield found
        return
    jobs = cores() if jobs is None else jobs
    if jobs == 1:
        yield Here(), 1
        return
    # An interrupt is the parent's business: it lets the workers end what they are at.
    with ProcessPoolExecutor(jobs, get_context("spawn"), signal.signal, (signal.SIGINT, signal.SIG_IGN)) as pool:
        yield pool, jobs


@contextmanager
def _cluster(address: str) -> Iterator[tuple[Executor, int]]:
    try:
        from distributed import Client
    except ImportError:
        raise InputError("--cluster", address, "the extra `cluster`: pip install 'secondtank[cluster]'") from None
    try:
        client = Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, ValueError):
        raise InputError("--cluster", address, "a scheduler that answers, as tcp://host:8786") from None
    with client:
        threads = sum(client.ncores().values())  # pyright: ignore[reportAttributeAccessIssue]
        if not threads:
            raise InputError("--cluster", address, "a scheduler with at least one worker")
        with client.get_executor() as pool:
            yield pool, threads


def answers(
    pool: Executor, at_a_time: int, do: Callable[[Any], Any], tasks: Iterable[Any], stop: Callable[[], bool]
) -> Iterator[Any]:
    """What `do` gives for each task, as it comes. Once `stop` says so no further task begins; begun ones still come."""
    waiting = iter(tasks)
    begun: set[Future[Any]] = set()
    while True:
        # one more than can be done at a time, so that no worker waits for this loop
        while len(begun) <= at_a_time and not stop():
            task = next(waiting, None)
            if task is None:
                break
            begun.add(pool.submit(do, task))
        if not begun:
            return
        done, begun = wait(begun, _LOOK_S, FIRST_COMPLETED)
        # what came well is given before an error is raised
        for future in sorted(done, key=lambda future: future.exception() is not None):
            yield future.result()
