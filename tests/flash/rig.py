"""A board at the end of a cable that breaks where a test says: mpremote's own file operations, done by MicroPython's Unix port."""

from __future__ import annotations

import ast
import os
import shutil
import struct
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
from mpremote.transport import Transport, TransportExecError

from host_sim.link_client import LinkClient, LinkSilent
from secondtank import flash
from secondtank.flash import FlashOrder
from secondtank.flash_set import ProgramSet
from tests.board.rig import Pico, copy_of_firmware

HERE = Path(__file__).parent
_MARKS = 'sorted(set(each._SET for each in sys.modules.values() if hasattr(each, "_SET")))'
_VERSION = '        yield "protocol %d" % PROTOCOL\n'
OLD_ROW = '    ("old_flag", "flag", 0, 0, 1),\n'
GONE = "Input/output error"


class Cable(Transport):
    """Each command is an operation. The one with number `breaks_at` is the last: `torn` does half of it, where it writes."""

    def __init__(
        self, micropython: Path, *board: Path, breaks_at: int = -1, torn: bool = False, closed: tuple[int, ...] = ()
    ) -> None:
        self.operations: list[str] = []
        self.after = 0  # operations that were asked of a cable that is gone
        self.breaks_at = breaks_at
        self._torn = torn
        self._process = subprocess.Popen(
            [micropython, "-X", "heapsize=16m", HERE / "prompt.py", *board],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self._ask(f"from machine import Pin\nPin.closed = {closed!r}")

    def exec(self, command: str, data_consumer: Callable[[bytes], None] | None = None) -> bytes:
        if not self._process.stdin:
            self.after += 1
            raise OSError(5, GONE)
        number = len(self.operations)
        self.operations.append(command)
        if number == self.breaks_at:
            if self._torn and command.startswith("w("):
                data = ast.literal_eval(command[2:-1])
                self._ask(f"w({data[: len(data) // 2]!r})")
            self.cut()
            raise OSError(5, GONE)
        said = self._ask(command)
        if data_consumer:
            data_consumer(said)
        return said

    def _ask(self, command: str) -> bytes:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        data = command.encode()
        self._process.stdin.write(struct.pack("<I", len(data)) + data)
        self._process.stdin.flush()
        wrong, count = struct.unpack("<BI", self._process.stdout.read(5))
        said = self._process.stdout.read(count)
        if wrong:
            raise TransportExecError(said, said.decode())
        return said

    def eval(self, expression: str, parse: bool = True) -> Any:
        said = self.exec(f"print(repr({expression}))" if parse else f"print({expression})").strip()
        return ast.literal_eval(said.decode()) if parse else said

    def cut(self) -> None:
        """Its feed ends, now."""
        self._process.kill()
        self._close()

    def close(self) -> None:
        """Unplug it when it is done; a littlefs is put into its image."""
        if self._process.stdin:
            self._process.stdin.close()
            self._process.wait(timeout=20)
            self._close()

    def _close(self) -> None:
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            pipe.close()
        self._process.stdin = self._process.stdout = None


class NoProgram:
    """A link that nobody answers."""

    def sync(self) -> None:
        raise LinkSilent("echo", "no answer")


class Attached:
    """In place of `flash_port.Session`; `program`: the link of a program that runs."""

    def __init__(self, transport: Cable, program: LinkClient | NoProgram | None = None) -> None:
        self.port = "/dev/board"
        self.transport = transport
        self._program = program or NoProgram()
        self.starts = 0

    def client(self) -> LinkClient | NoProgram:
        return self._program

    def stop(self) -> None:
        pass

    def start(self) -> None:
        self.starts += 1

    def greet(self) -> list[str]:
        return ["greeted"]

    def close(self) -> None:
        pass


def flash_it(monkeypatch: pytest.MonkeyPatch, attached: Attached, program: ProgramSet, out: Path, **asked: Any) -> int:
    """The verb, on this board with this program; its exit status."""
    order = FlashOrder(
        **{
            **dict.fromkeys(("port", "settings", "uf2")),
            "dry_run": False,
            "verify": False,
            "repair": False,
            "out": out,
            **asked,
        }
    )
    monkeypatch.setattr(flash, "Session", lambda port: attached)
    monkeypatch.setattr(flash, "find_port", lambda port, choose: "/dev/board")
    monkeypatch.setattr(flash, "build", lambda firmware: program)
    try:
        return flash.run_flash(order)
    finally:
        attached.transport.close()


def marked(folder: Path, mark: str, old_row: bool = False) -> Path:
    """A copy of the firmware, every file of which carries this mark; `version` tells the marks of all that is loaded."""
    edits = {"link_commands.py": (_VERSION, _VERSION + f'        yield "sets " + " ".join({_MARKS})\n')}
    if old_row:
        edits["changeover/settings.py"] = ("ROWS = [\n", "ROWS = [\n" + OLD_ROW)
    copy_of_firmware(folder, edits)
    for path in folder.rglob("*.py"):
        path.write_text(path.read_text() + f'\n_SET = "{mark}"\n')
    return folder


def tree(folder: Path, known: Mapping[int, bytes] | None = None) -> dict[str, bytes]:
    """Every file below, by path; not read anew where its inode is known."""
    found = {}
    for path in folder.rglob("*"):
        if path.is_file():
            data = (known or {}).get(path.stat().st_ino)
            found[path.relative_to(folder).as_posix()] = path.read_bytes() if data is None else data
    return found


def copied(board: Path, to: Path, linked: bool = False) -> Path:
    """Another board with the same files. `linked`: the very same, where nothing may write into one that is there."""
    shutil.rmtree(to, ignore_errors=True)
    return shutil.copytree(board, to, copy_function=os.link if linked else shutil.copy2)


def restore(board: Path, like: Path) -> None:
    """A linked copy as it was when it was made."""
    wanted = {path.relative_to(like): path for path in like.rglob("*")}
    for path in sorted(board.rglob("*"), reverse=True):
        origin = wanted.get(path.relative_to(board))
        if path.is_dir():
            if origin is None:
                path.rmdir()
        elif origin is None or not path.samefile(origin):
            path.unlink()
    for name, origin in sorted(wanted.items()):
        path = board / name
        if not path.exists():
            path.mkdir() if origin.is_dir() else os.link(origin, path)


def started(micropython: Path, board: Path) -> Pico:
    """The board after a second, with what is on it and no more: `Pico` alone gives settings and a record to one that has none."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("tests.board.rig.store.load_settings", lambda folder: ({}, []))
        pico = Pico(micropython, board, board)
    pico.boot()
    return pico
