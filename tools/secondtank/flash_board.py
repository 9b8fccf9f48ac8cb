"""The board's file system by way of mpremote's transport: looked at, written, read back.

MicroPython's raw prompt does what is asked here. No program of ours runs meanwhile, so nothing is energised.
"""

from __future__ import annotations

import hashlib
import posixpath
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from secondtank.flash_set import BLOCK_BYTES

CHUNK = 1024  # bytes a command
GUARD_MS = 8000  # close to the watchdog's longest time (RP2040: 8388 ms); a file takes a fraction of it
_HELP = """
import hashlib, os, sys
guard = None
def digest(path):
    if guard:
        guard.feed()
    made, part = hashlib.sha256(), bytearray(256)
    with open(path, "rb") as file:
        while count := file.readinto(part):
            made.update(memoryview(part)[:count])
    return made.digest()
"""
_FOLDER = 0x4000  # of a directory entry's type


class Transport(Protocol):
    """What of mpremote's `Transport` is used. Raises its TransportError, or OSError."""

    def exec(self, command: str) -> bytes: ...

    def eval(self, expression: str) -> Any: ...

    def fs_listdir(self, src: str) -> list[Any]: ...

    def fs_readfile(self, src: str) -> bytes | bytearray: ...

    def fs_writefile(
        self, dest: str, data: bytes, chunk_size: int, progress_callback: Callable[[int, int], None]
    ) -> None: ...

    def fs_mkdir(self, path: str) -> None: ...

    def fs_rmdir(self, path: str) -> None: ...

    def fs_rmfile(self, path: str) -> None: ...


@dataclass(frozen=True)
class About:
    """What the board says of itself. `mpy`: version of compiled files that it loads; `free`: blocks."""

    platform: str
    machine: str
    version: tuple[int, ...]
    mpy: int
    free: int


class WrittenWrong(OSError):
    """A file does not read back as it was written."""


class BoardFiles:
    """Paths are relative to the file system's root. `on_bytes` hears how many more bytes were written; `doing` says what is
    being done, for the words of an error."""

    def __init__(self, transport: Transport, on_bytes: Callable[[int], None] = lambda count: None) -> None:
        self._transport = transport
        self.on_bytes = on_bytes
        self.doing = "looking"
        self._guarded = False

    def about(self) -> About:
        """Chip, version, room. First of all: the board learns what `same` needs."""
        self._transport.exec(_HELP)
        platform, machine, version, mpy = self._transport.eval(
            "(sys.platform, sys.implementation._machine, sys.implementation.version[:3], sys.implementation._mpy & 255)"
        )
        room = self._transport.eval("os.statvfs('.')")
        return About(platform, machine, tuple(version), mpy, room[0] * room[3] // BLOCK_BYTES)

    def contacts(self, gpios: tuple[int, ...]) -> list[bool]:
        """Contacts to ground under a pull-up: closed?"""
        self._transport.exec("from machine import Pin")
        levels = self._transport.eval(f"[Pin(n, Pin.IN, Pin.PULL_UP).value() for n in {gpios!r}]")
        return [not level for level in levels]

    def guard(self) -> None:
        """From now on the board restarts by itself when it hears nothing more: after a pulled cable its program comes back."""
        self._transport.exec(f"import machine\nguard = machine.WDT(timeout={GUARD_MS})")
        self._guarded = True

    def _feed(self) -> None:
        if self._guarded:
            self._transport.exec("guard.feed()")

    def files(self, folder: str = "") -> dict[str, int]:
        """Every file below the folder, by path: its size."""
        found: dict[str, int] = {}
        for name, kind, _, size in self._transport.fs_listdir(folder):
            path = posixpath.join(folder, name)
            found.update(self.files(path) if kind & _FOLDER else {path: size})
        return found

    def read(self, path: str) -> bytes:
        """The file's bytes."""
        return bytes(self._transport.fs_readfile(path))

    def same(self, path: str, data: bytes) -> bool:
        """Does the file hold these bytes? By its SHA-256, made on the board."""
        return self._transport.eval(f"digest({path!r})") == hashlib.sha256(data).digest()

    def folder(self, path: str) -> None:
        """Make it and those above it, where they are not there."""
        parts = path.split("/")
        for end in range(1, len(parts) + 1):
            part = "/".join(parts[:end])
            parent = posixpath.dirname(part)
            if posixpath.basename(part) not in [entry[0] for entry in self._transport.fs_listdir(parent)]:
                self._transport.fs_mkdir(part)

    def put(self, path: str, data: bytes) -> None:
        """Write the file where it is, and read it back. Raises WrittenWrong."""
        self.doing = f"writing {path}"
        written = 0

        def on_chunk(so_far: int, total: int) -> None:
            nonlocal written
            self.on_bytes(so_far - written)
            written = so_far

        self._transport.fs_writefile(path, data, CHUNK, on_chunk)
        if not self.same(path, data):
            raise WrittenWrong(f"{path} does not read back as it was written")

    def put_at_once(self, path: str, data: bytes) -> None:
        """Write it beside the old one and rename it: old or new, never half (littlefs renames in one step, its DESIGN.md)."""
        self.put(path + ".new", data)
        self.doing = f"replacing {path}"
        self._transport.exec(f"os.rename({path + '.new'!r}, {path!r})")

    def remove_tree(self, folder: str) -> None:
        """Remove the folder and all below it, where it is there."""
        self.doing = f"removing {folder}"
        if folder not in [entry[0] for entry in self._transport.fs_listdir("")]:
            return
        self._remove(folder)

    def _remove(self, folder: str) -> None:
        for name, kind, _, _ in self._transport.fs_listdir(folder):
            path = posixpath.join(folder, name)
            if kind & _FOLDER:
                self._remove(path)
            else:
                self._feed()
                self._transport.fs_rmfile(path)
        self._transport.fs_rmdir(folder)

    def remove(self, path: str) -> None:
        """Remove the file."""
        self.doing = f"removing {path}"
        self._transport.fs_rmfile(path)
