"""Boards to watch: the link on a desk in this process, and the verb `board` in another."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from link_table import CHANGES, row
from tests.link.desk import Desk

ROOT = Path(__file__).parents[2]


class Wire:
    """A port with a desk at its other end; keeps what was sent. `breaks_in`: bytes until the cable is pulled."""

    def __init__(self, desk: Desk, breaks_in: int | None = None) -> None:
        self.desk = desk
        self.sent: list[str] = []
        self.closed = False
        self._left = breaks_in

    def read(self, size: int, /) -> bytes:
        data = self.desk.read(size)
        if self._left is not None:
            self._left -= len(data)
            if self._left < 0:
                raise OSError(5, "Input/output error")
        return data

    def write(self, data: bytes, /) -> object:
        self.sent += data.decode().split("\n")
        return self.desk.write(data)

    def close(self) -> None:
        self.closed = True

    def changes(self) -> list[str]:
        """The lines that were sent and change something."""
        return [line for line in self.sent if line and row(line.split()[0])[CHANGES]]


def command(*arguments: str | Path) -> subprocess.Popen[str]:
    """The command, running."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT, ROOT / "firmware", ROOT / "tools")))}
    environment["PYTHONIOENCODING"] = "utf-8"
    return subprocess.Popen(
        [sys.executable, "-c", "from secondtank.cli import main; main()", *arguments], env=environment, text=True,
        encoding="utf-8", stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip


@contextmanager
def board(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """The verb `board`, running, its port `folder`/port and its flash `folder`/flash."""
    with command("board", *arguments, "--port", folder / "port", "--flash", folder / "flash") as process:
        assert process.stdout is not None
        try:
            assert process.stdout.readline() == f"serial port: {folder / 'port'}\n"
            yield process
        finally:
            process.send_signal(signal.SIGCONT)
            end(process)


def end(process: subprocess.Popen[str]) -> tuple[str, str]:
    """Ctrl-C; what it still said."""
    if process.poll() is None:
        process.send_signal(signal.SIGINT)
    try:
        return process.communicate(timeout=20)
    finally:
        process.kill()
