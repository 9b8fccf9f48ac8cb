"""What a board tells, kept: the CSV of `host_sim.board_log`, each line on the disk before the next one is made."""

from __future__ import annotations

import os
from io import TextIOWrapper
from pathlib import Path

from changeover.states import STATES
from host_sim import board_log
from host_sim.errors import InputError
from secondtank.monitor_board import Board, Row

_OUT = ("supply", "return", "heater", "run_on", "power", "buzzer", "red", "amber", "green")  # as in COLUMNS


class Log:
    """`begin` with a board, then rows. Another program or other settings begin another file beside the first, `name.2.csv`."""

    def __init__(self, path: Path) -> None:
        """Raises InputError where the file is there already: a log is never written over."""
        self._first = path
        self._number = 0
        self._file: TextIOWrapper | None = None
        self._made_from: tuple[object, ...] = ()
        self._boot = 0
        self.path = path
        self.lines = 0
        self._open()

    def begin(self, board: Board) -> None:
        """What the rows from now on are made from. Raises InputError."""
        self._boot = board.start
        made_from = (board.version, board.law, board.settings_hash)
        if made_from == self._made_from:
            return
        if self._made_from:
            self._open()
        self._made_from = made_from
        self._write(_head(board))

    def row(self, row: Row) -> None:
        """One line, on the disk when this returns. Raises InputError where the disk does not take it."""
        told = row.told
        fields = (
            row.t_ms, self._boot, told.tick_ms, *told.counts, *map(int, told.levels), *(told.out[name] for name in _OUT),
            STATES.index(told.state), told.reason, told.blocked, told.forced, told.message, told.fill_ul, told.credit_ul,
        )  # fmt: skip
        self._write(",".join(map(str, fields)) + "\n")
        self.lines += 1

    def close(self) -> None:
        """The end."""
        if self._file is not None:
            self._file.close()

    def _open(self) -> None:
        self.close()
        self._number += 1
        first = self._first
        self.path = first if self._number == 1 else first.with_name(f"{first.stem}.{self._number}{first.suffix}")
        try:
            self._file = self.path.open("x", encoding="ascii", newline="\n")
        except FileExistsError:
            raise InputError(
                "--log", str(self.path), "a file that is not there yet: a log is never written over"
            ) from None
        except OSError as error:
            raise InputError("--log", str(self.path), f"a file that can be written ({error.strerror})") from None

    def _write(self, text: str) -> None:
        assert self._file is not None
        try:
            self._file.write(text)
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise InputError(
                str(self.path), error.strerror, "a disk that takes the log; what was written stays"
            ) from None


def _head(board: Board) -> str:
    """As the simulated board's, with what this board says of itself in place of what this tree is."""
    own = {"# version=": board.version, "# firmware_hash=": board.law, "# settings_hash=": board.settings_hash}
    lines = board_log.head(board.values).split("\n")
    for number, line in enumerate(lines):
        for name, value in own.items():
            if line.startswith(name):
                lines[number] = name + value
    return "\n".join(lines)
