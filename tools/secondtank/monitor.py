"""The verb `monitor`: a board's telemetry to a terminal, a pipe or a file; or its trip log into a folder. Changes nothing on it."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.live import Live

from secondtank.monitor_board import Board, Item, Monitored, Row
from secondtank.monitor_journal import run_journal
from secondtank.monitor_log import Log
from secondtank.monitor_view import Lines, Screen, Seen, as_json

_DRAW_S = 0.2


@dataclass(frozen=True)
class MonitorOrder:
    """What the command line asks for. `journal`: folder for the trip log; then nothing is watched."""

    port: str | None
    log: Path | None
    as_json: bool
    journal: Path | None
    set_clock: bool


def run_monitor(order: MonitorOrder) -> int:
    """Watch until interrupted, or read the trip log. Raises InputError."""
    if order.journal is not None:
        return run_journal(order.port, order.journal, order.set_clock, order.as_json)
    log = None if order.log is None else Log(order.log)
    monitored = Monitored(order.port, order.set_clock)
    try:
        with _closed_pipe_ends_it():
            if not order.as_json and sys.stdout.isatty():
                _live(monitored, log)
            else:
                _stream(monitored, log, order.as_json)
    finally:
        with contextlib.suppress(KeyboardInterrupt):
            monitored.close()
        if log is not None:
            log.close()
        if monitored.board is not None:
            print(_summary(monitored.counts, log), file=sys.stderr)
    return 0


def _summary(counts: Counter[str], log: Log | None) -> str:
    text = f"{counts['rows']} rows, {counts['missed']} missed, {counts['damaged']} damaged lines; "
    text += f"cable lost {counts['cable']} times, silent {counts['silence']}, restarted {counts['reset']}"
    return text if log is None else f"{text}; {log.lines} rows written, last to {log.path}"


@contextlib.contextmanager
def _closed_pipe_ends_it() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the interpreter complains at its end


def _keep(log: Log | None, item: Item) -> None:
    if log is not None and isinstance(item, Board):
        log.begin(item)
    elif log is not None and isinstance(item, Row):
        log.row(item)


def _stream(monitored: Monitored, log: Log | None, json_lines: bool) -> None:
    seen, lines = Seen(), Lines()
    for item in monitored.follow():
        seen.take(item)
        _keep(log, item)
        text = as_json(item, seen) if json_lines else "\n".join(lines.told(item, seen))
        if text:
            print(text, flush=True)


def _live(monitored: Monitored, log: Log | None) -> None:
    console = Console()
    seen, screen = Seen(), Screen(console)
    drawn_s = 0.0
    with Live(console=console, auto_refresh=False) as live:
        for item in monitored.follow():
            seen.take(item)
            _keep(log, item)
            if isinstance(item, Row):
                screen.add(seen)
            now_s = time.monotonic()
            if now_s - drawn_s >= _DRAW_S:
                drawn_s = now_s
                written = "" if log is None else f"; {log.lines} rows in {log.path}"
                live.update(screen.drawn(seen, monitored.counts, written), refresh=True)
