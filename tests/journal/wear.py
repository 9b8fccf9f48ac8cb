"""A year of the trip log on the flash stand-in, as large as the board's. MicroPython only.

    micropython wear.py FIRMWARE STORE_TESTS FLUSHES ROWS

writes FLUSHES times ROWS rows each and prints as JSON: how often each sector was erased, blocks that were written, files that
there are, the most bytes of heap in use after a flush, of either half of them.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false

import gc
import json
import os
import sys

import vfs

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, sys.argv[2])
from flash import ERASED, PAGE_BYTES, SECTOR_BYTES, Flash

from journal import Journal

SECTORS = 352  # 1408 KB: what MicroPython leaves of a Pico's 2 MB (ports/rp2, MICROPY_HW_FLASH_STORAGE_BYTES)
FOLDER = "/flash"
FLUSHES, ROWS = int(sys.argv[3]), int(sys.argv[4])


def main() -> None:
    flash = Flash(ERASED * SECTORS)
    vfs.VfsLfs2.mkfs(flash, progsize=PAGE_BYTES)
    vfs.mount(vfs.VfsLfs2(flash, progsize=PAGE_BYTES), FOLDER)
    os.mkdir(FOLDER + "/programs")
    for number in range(40):  # 160 KB that stay
        with open(f"{FOLDER}/programs/{number}", "wb") as file:
            file.write(bytes(4096))
    journal = Journal(FOLDER, {"flow_measured_ul_s": 8000})
    erased = [0] * SECTORS
    heap = [0, 0]
    flash.log = []
    for number in range(FLUSHES):
        for _ in range(ROWS):
            journal.note("a line of the trip log")
        while journal.waiting:
            if not journal.flush():
                raise SystemExit("refused")
        for at, data, _ in flash.log:
            if not data:
                erased[at // SECTOR_BYTES] += 1
        flash.log = []
        gc.collect()
        heap[2 * number // FLUSHES] = max(heap[2 * number // FLUSHES], gc.mem_alloc())
    files = os.listdir(FOLDER + "/journal")
    again = Journal(FOLDER, {"flow_measured_ul_s": 8000})
    kept = sum(1 for line in again.read() if line[0] == "T")
    print(json.dumps({
        "erased": erased, "wear": journal.wear, "files": len(files), "heap": heap, "kept": kept, "found": again.wear,
    }))  # fmt: skip


main()
