"""Numbered work on several processes, given back in order; a process that dies takes nothing with it but its own task."""

from __future__ import annotations

import multiprocessing
import signal
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any

AHEAD = 2  # tasks begun or waiting for each process: all that is in memory at a time
_LOOK_S = 0.2  # how often an interrupt is looked for


def _pool(jobs: int) -> ProcessPoolExecutor:
    # An interrupt is the parent's business: it lets the workers end what they are at.
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(jobs, context, signal.signal, (signal.SIGINT, signal.SIG_IGN))


def in_order(
    work: Callable[[int], Any], first: int, end: int, jobs: int, stop: Callable[[], bool]
) -> Iterator[tuple[int, Any]]:
    """(number, `work(number)`) for the numbers from `first` up to `end`, in order; None where its process died twice.

    Once `stop` says so nothing more begins; what has begun still comes. An error of `work` is raised here. When a process
    dies, what was under way is done again, one at a time, so that a second death tells whose it was. A generator that is
    closed early ends its processes.
    """
    under_way: deque[tuple[int, Future[Any]]] = deque()
    pool = _pool(jobs)
    try:
        while True:
            try:
                while first < end and len(under_way) < AHEAD * jobs and not stop():
                    under_way.append((first, pool.submit(work, first)))
                    first += 1
            except BrokenProcessPool:
                if not under_way:  # a process died with nothing to do
                    pool = _pool(jobs)
                    continue
            while under_way and stop() and under_way[-1][1].cancel():
                under_way.pop()
            if not under_way:
                return
            number, future = under_way[0]
            try:
                result = future.result(_LOOK_S)
            except TimeoutError:
                if not future.done():
                    continue
                raise
            except BrokenProcessPool:
                pool.shutdown()
                pool = _pool(1)
                broken, under_way = under_way, deque()
                for number, future in broken:
                    if future.exception() is None:
                        yield number, future.result()
                        continue
                    if stop():
                        return
                    try:
                        yield number, pool.submit(work, number).result()
                    except BrokenProcessPool:
                        yield number, None
                        pool = _pool(1)
                pool.shutdown()
                pool = _pool(jobs)
                continue
            under_way.popleft()
            yield number, result
    except BaseException:
        for process in multiprocessing.active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)
