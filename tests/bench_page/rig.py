"""A board in this process with its session: time is the machine's, so every wait is for a condition."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from host_sim.profile import load_profile
from secondtank.bench.page import Bench
from secondtank.bench.records import Book
from secondtank.bench.session import Session
from secondtank.bench.stand import WARM
from secondtank.bench.view import TALKING
from secondtank.bench.virtual import TICK_S, VirtualBoard

FASTER = 2
PAGE = "page of the test"


def until(ready: Callable[[], object], within_s: float = 20.0) -> float:
    """Wait until `ready`; how long that took in s."""
    began_s = time.monotonic()
    while not ready():
        assert time.monotonic() < began_s + within_s, "it does not come"
        time.sleep(0.02)
    return time.monotonic() - began_s


@contextmanager
def desk(**changes: int) -> Iterator[tuple[VirtualBoard, Session]]:
    """Everything fitted, automatic, quick volumes; `changes` by setting. Board and feeds run faster than the clock, alike."""
    values = (
        load_profile("full_guard") | {"path_ul": 40000, "purge_factor_permille": 1500, "dwell_diesel_s": 10} | changes
    )
    board = VirtualBoard(values, TICK_S / FASTER)
    session = Session(board)
    session.feed_s /= FASTER
    session.start()
    try:
        until(lambda: session.view.link == TALKING and session.view.row is not None)
        yield board, session
    finally:
        session.close()
        board.close()


def bench_of(session: Session, folder: Path) -> Bench:
    """What a page is given."""
    return Bench(session, Book(folder, "0123456789abcdef"))


def to_oil(session: Session) -> None:
    """Bench input of a warm engine, until it is on oil."""
    for index, value in WARM.items():
        session.stand.wanted[index] = value  # before it begins: nothing has to creep
    session.do(lambda: session.begin(PAGE)).result(5)
    session.stand.levels[0] = session.stand.levels[1] = True
    until(lambda: session.view.row and session.view.row.levels[1])
    session.stand.levels[2] = True
    until(lambda: state(session) == "ON_OIL", 30)


def state(session: Session) -> str:
    """The board's word."""
    return session.view.row.state if session.view.row else ""


def told(session: Session) -> list[str]:
    """What happened, in words."""
    return [event.text for event in session.events]
