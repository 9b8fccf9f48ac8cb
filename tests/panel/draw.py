"""Plays recorded scenes through the law, the log and the panel, and reads the pictures back by MicroPython's `framebuf`.

    micropython draw.py FIRMWARE SCENES FOLDER

A line of SCENES is a scene, a JSON list of what `tools/panel_pictures.py` recorded. For each the picture is printed as
hexadecimal digits, eight dots of a line a byte; then an hour of lamps and buzzer runs with the heap locked; last, the most
bytes that drawing a page took.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false

import gc
import json
import os
import sys
from binascii import hexlify

import framebuf
import micropython

sys.path.insert(0, sys.argv[1])
import panel_service  # noqa: F401 - else the first drawing that needs it would count its loading
from changeover.law import Law
from changeover.memory import Record
from journal import Journal
from lamp_patterns import LampPatterns
from panel import Panel

WIDTH, HEIGHT = 128, 64


def lines(buffer: bytearray) -> bytes:
    """The dots as `framebuf` sees them, line by line."""
    picture = framebuf.FrameBuffer(buffer, WIDTH, HEIGHT, framebuf.MONO_VLSB)
    packed = bytearray(WIDTH * HEIGHT // 8)
    for y in range(HEIGHT):
        for x in range(WIDTH):
            packed[(y * WIDTH + x) // 8] |= picture.pixel(x, y) << 7 - x % 8
    return bytes(packed)


class Player:
    """One scene."""

    def __init__(self, values: dict[str, int], folder: str) -> None:
        os.mkdir(folder)
        record = Record()
        record.oil_in_lines = False
        self.law = Law(values, record)
        self.journal = Journal(folder, values)
        self.panel = Panel(values, self.journal)
        self.now_ms = 0
        self.took = 0

    def tick(self, counts: list[int], levels: list[bool]) -> None:
        self.now_ms += 100
        self.law.step(self.now_ms, counts, levels)
        self.journal.tick(self.law, self.now_ms)
        if self.law.machine.write_wanted:
            self.law.write_record()
            self.law.written(True)

    def draw(self, page: int, note: str) -> None:
        self.panel.note = note
        gc.collect()
        before = gc.mem_alloc()
        self.panel.draw(self.law, page)
        self.took = gc.mem_alloc() - before
        print(hexlify(lines(self.panel.buffer)).decode())


def main() -> None:
    most = number = 0
    player = None
    with open(sys.argv[2]) as file:
        for scene in file:
            number += 1
            rows = json.loads(scene)
            player = Player(rows[0][1], f"{sys.argv[3]}/{number}")
            for row in rows[1:]:
                if row[0] == "tick":
                    player.tick(row[1], row[2])
                else:
                    player.draw(row[1], row[2])
            most = max(most, player.took)
    lamps = LampPatterns()
    micropython.heap_lock()
    left = 36000
    while left:
        lamps.step(left // 9 % 3, left // 27 % 3, left // 81 % 3, left // 100 % 4)
        left -= 1
    micropython.heap_unlock()
    print(most)


main()
