"""What pages ask the session's thread to do, one after the other, each answered by a future."""

from __future__ import annotations

import queue
from collections.abc import Callable
from concurrent.futures import Future
from typing import TypeVar

from host_sim.errors import InputError
from host_sim.link_client import LinkSilent

T = TypeVar("T")


def refused(why: str) -> InputError:
    """A job that no board can do now."""
    return InputError("the board", why, "a board that is connected")


class Jobs:
    """A queue that any thread fills and one empties."""

    def __init__(self) -> None:
        self._queue: queue.SimpleQueue[tuple[Callable[[], object], Future]] = queue.SimpleQueue()

    def put(self, job: Callable[[], T], may: bool, why: str) -> Future[T]:
        """Let it be done, where it `may`; else its future has an InputError that says `why`."""
        future: Future[T] = Future()
        if may:
            self._queue.put((job, future))
        else:
            future.set_exception(refused(why))
        return future

    def run(self) -> bool:
        """Do all that wait; were there any? Raises OSError or LinkSilent where the board is lost meanwhile."""
        some = False
        while not self._queue.empty():
            job, future = self._queue.get()
            if not future.set_running_or_notify_cancel():
                continue
            some = True
            try:
                future.set_result(job())
            except (OSError, LinkSilent) as error:
                future.set_exception(error)
                raise
            except Exception as error:  # whatever it is, whoever asked must hear of it, and the thread goes on
                future.set_exception(error)
        return some

    def refuse(self) -> None:
        """Nothing that was asked before is done after: who asked may be gone, and the board may stand otherwise."""
        while not self._queue.empty():
            future = self._queue.get()[1]
            if future.set_running_or_notify_cancel():
                future.set_exception(refused("no answer"))
