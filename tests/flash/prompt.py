"""A board's raw prompt under MicroPython's Unix port: runs what comes over a pipe, as far as mpremote's transport goes.

    micropython prompt.py FOLDER            its files are the folder's
    micropython prompt.py IMAGE LOG         its files are a littlefs in this image; each operation on flash is logged

A message: four bytes of length, then the command. An answer: one byte, 0 or 1 for an error, length, output.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false, reportArgumentType=false, reportOptionalMemberAccess=false

import io
import os
import struct
import sys

SECTORS = 352  # 1408 KiB, the files of a Pico


class Chip:
    """What MicroPython says of itself on a Pico."""

    platform = "rp2"
    implementation = None
    print_exception = sys.print_exception


class Implementation:
    _machine = "Raspberry Pi Pico with RP2040"
    version = (1, 28, 0, "")
    _mpy = sys.implementation._mpy


class Pin:
    """An input under its pull-up; `closed`: contacts to ground, by pin."""

    IN = PULL_UP = 1
    closed = ()

    def __init__(self, number: int, mode: int, pull: int) -> None:
        self._number = number

    def value(self) -> int:
        return 0 if self._number in Pin.closed else 1


class WDT:
    """Counts how often it was fed."""

    fed = 0

    def __init__(self, timeout: int) -> None:
        pass

    def feed(self) -> None:
        WDT.fed += 1


class Machine:
    Pin = Pin
    WDT = WDT


def mounted(image: str, log: str):
    """A littlefs on the flash stand-in, whose operations are told as they happen: where, how many bytes, the bytes."""
    import vfs

    sys.path.insert(0, __file__[: __file__.rfind("/")] + "/../store")
    from flash import PAGE_BYTES, SECTOR_BYTES, Flash

    told = open(log, "wb")  # noqa: SIM115 - for life

    class Told(list):
        def append(self, operation) -> None:
            at, data, _ = operation
            told.write(struct.pack("<II", at, len(data)) + data)
            told.flush()

    try:
        with open(image, "rb") as file:
            flash = Flash(file.read())
        fresh = False
    except OSError:
        flash = Flash(b"\xff" * (SECTORS * SECTOR_BYTES))
        fresh = True
    flash.log = Told()
    if fresh:
        vfs.VfsLfs2.mkfs(flash, progsize=PAGE_BYTES)
    vfs.mount(vfs.VfsLfs2(flash, progsize=PAGE_BYTES), "/flash")
    os.chdir("/flash")
    return flash


def main() -> None:
    pipe_in, pipe_out = sys.stdin.buffer, sys.stdout.buffer
    image = sys.argv[1] if len(sys.argv) == 3 else None
    flash = mounted(image, sys.argv[2]) if image else os.chdir(sys.argv[1])
    said = []
    Chip.implementation = Implementation
    sys.modules["machine"], sys.modules["sys"] = Machine, Chip
    names = {"print": lambda word, end="\n": said.append(str(word) + end)}
    while True:
        head = pipe_in.read(4)
        if len(head) < 4:
            break
        command = pipe_in.read(struct.unpack("<I", head)[0])
        said.clear()
        wrong = 0
        try:
            exec(command, names)
        except Exception as error:
            wrong = 1
            text = io.StringIO()
            sys.print_exception(error, text)
            said.append(text.getvalue())
        out = "".join(said).encode()
        pipe_out.write(struct.pack("<BI", wrong, len(out)) + out)
    if image:
        os.chdir("/")
        with open(image, "wb") as file:
            file.write(flash.image)


main()
