"""The verb `board`: the firmware on a pseudo-terminal, with the simulated car behind its pins, at the pace of a clock."""

from __future__ import annotations

import os
import tempfile
import time
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from host_sim.drive import Drive
from host_sim.errors import InputError
from host_sim.loop import reason_text
from host_sim.profile import load_profile
from host_sim.scenario import load_scenario
from host_sim.unix_port.board import DeskBoard
from host_sim.unix_port.program import interpreter
from host_sim.unix_port.terminal import Bridge

if TYPE_CHECKING:
    from collections.abc import Iterator

    from host_sim.loop import Move

PARKED_SCENARIO = "winter_commute"  # whose car stands there, key off, where no scenario is asked for


@dataclass(frozen=True)
class BoardOrder:
    """What the command line asks for. `speed`: of virtual time, 0: as fast as it goes."""

    scenario: str | None
    settings: str | None
    flash: Path | None
    port: Path | None
    speed: float
    minutes: float | None


class Pace:
    """Holds virtual time to the clock."""

    def __init__(self, speed: float) -> None:
        self._speed = speed
        self._began_s = time.monotonic()
        self._from_s = 0.0

    def tick(self, t_s: float) -> None:
        """Sleep until it is due; after a second behind, the clock is taken anew."""
        if self._speed <= 0.0:
            return
        ahead_s = self._began_s + (t_s - self._from_s) / self._speed - time.monotonic()
        if ahead_s > 0.0:
            time.sleep(ahead_s)
        elif ahead_s < -1.0:
            self._began_s = time.monotonic()
            self._from_s = t_s


def run_board(order: BoardOrder) -> int:
    """Run until interrupted, or for so many minutes of virtual time. Raises InputError."""
    scenario = load_scenario(order.scenario or PARKED_SCENARIO)
    values = load_profile(order.settings or scenario.profile)
    drive = Drive(scenario, values)
    with ExitStack() as stack:
        flash = order.flash
        if flash is None:
            flash = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="flash-")))
        board = DeskBoard.convert(drive.board)
        _plug(board, flash)
        stack.callback(board.unplug)
        bridge = Bridge(board.terminal)
        stack.callback(bridge.close)
        if order.port is not None:
            stack.enter_context(_link(order.port, bridge.name))
        print(f"serial port: {order.port or bridge.name}", flush=True)
        print(f"flash: {flash}, speed {order.speed:g}; Ctrl-C ends it", flush=True)
        _run(order, drive, bridge)
    return 0


def _plug(board: DeskBoard, flash: Path) -> None:
    try:
        flash.mkdir(parents=True, exist_ok=True)
        board.plug(interpreter(), flash)
    except OSError as error:
        raise InputError(str(flash), error.strerror or str(error), "a folder that can be written") from None


@contextmanager
def _link(port: Path, name: str) -> Iterator[None]:
    try:
        if port.is_symlink():
            port.unlink()  # left behind by one that was killed
        port.symlink_to(name)
    except OSError as error:
        raise InputError(str(port), error.strerror, "a name for the port in a folder that can be written") from None
    try:
        yield
    finally:
        if port.is_symlink() and os.readlink(port) == name:
            port.unlink()


def _run(order: BoardOrder, drive: Drive, bridge: Bridge) -> None:
    pace = Pace(order.speed)
    told: list[Move] = []

    def on_tick(t_s: float) -> None:
        moves = drive.totals.moves
        while len(told) < len(moves):
            move = moves[len(told)]
            told.append(move)
            print(f"{move.time_s:9.1f} s  {move.before} -> {move.after}: {reason_text(move.reason)}", flush=True)
        bridge.pass_on()
        pace.tick(t_s)

    drive.on_tick = on_tick
    end_s = None if order.minutes is None else 60.0 * order.minutes
    if order.scenario is not None:
        drive.run(end_s)
    while end_s is None or drive.now_ms < 1000.0 * end_s:
        drive.run_to(drive.now_ms + 1000)
