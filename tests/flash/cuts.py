"""Power cuts while a board is written, on littlefs: after each operation on flash, and in the midst of the last ones, what would start?

    micropython cuts.py IMAGE LOG EXPECTED

IMAGE: the flash before; LOG: the operations (see `prompt.py`); EXPECTED: a folder with every file of both programs, and `old` and
`new`, what `main.py` is before and after. Prints what was found, as JSON.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false, reportCallIssue=false

import json
import os
import struct
import sys

import vfs

sys.path.insert(0, __file__[: __file__.rfind("/")] + "/../store")
from flash import ERASED, PAGE_BYTES, SECTOR_BYTES, Dice, Flash, cuts, programmed

IMAGE, LOG, EXPECTED = sys.argv[1:]
LAST = 60  # operations that are cut in their midst, and after which every file is compared
EVERY = 25  # before them, every file is compared so often
FOLDERS = {"old": "program_a", "new": "program_b"}


def read(path: str) -> bytes:
    with open(path, "rb") as file:
        return file.read()


def whole(folder: str) -> bool:
    """Is each file of this program there, byte by byte?"""
    for entry in os.ilistdir(EXPECTED + "/" + folder):
        name = folder + "/" + entry[0]
        if entry[1] & 0x4000:
            if not whole(name):
                return False
        elif read(EXPECTED + "/" + name) != read("/flash/" + name):
            return False
    return True


def starts(now: Flash, thorough: bool) -> str:
    """Which program would start now."""
    try:
        vfs.mount(vfs.VfsLfs2(now, progsize=PAGE_BYTES), "/flash")
    except OSError:
        return "no file system"
    try:
        start = read("/flash/main.py")
        for name, folder in FOLDERS.items():
            if start == read(EXPECTED + "/" + name):
                return name if not thorough or whole(folder) else name + ", mixed"
        return "something else"
    except OSError:
        return "a file is missing"
    finally:
        vfs.umount("/flash")


def main() -> None:
    now = Flash(read(IMAGE))
    operations = []
    log = read(LOG)
    at = 0
    while at < len(log):
        where, count = struct.unpack_from("<II", log, at)
        operations.append((where, log[at + 8 : at + 8 + count]))
        at += 8 + count
    found = {}
    compared = 0
    dice = Dice(11)
    for number, (where, data) in enumerate(operations):
        thorough = number >= len(operations) - LAST
        if thorough:
            for how, first, state in cuts(now.image, where, data, False, dice):
                if how == "spoilt":
                    continue  # the sector around it as well: `tests/store` says what the record does then
                kept = bytes(now.image[first : first + len(state)])
                now.image[first : first + len(state)] = state
                tally(found, starts(now, True))
                compared += 1
                now.image[first : first + len(state)] = kept
        end = where + (len(data) or SECTOR_BYTES)
        now.image[where:end] = programmed(bytes(now.image[where:end]), data) if data else ERASED
        thorough = thorough or number % EVERY == 0
        tally(found, starts(now, thorough))
        compared += thorough
    assert not now.log, "looking wrote to flash"
    print(json.dumps({"operations": len(operations), "compared": compared, "found": found}))


def tally(counts: dict[str, int], name: str) -> None:
    counts[name] = counts.get(name, 0) + 1


main()
