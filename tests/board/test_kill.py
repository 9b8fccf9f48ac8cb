"""The firmware is killed at any instant, again and again, on one flash image: never oil without a record of it, never a record lost.

The judge keeps books of its own from the pins: oil was let in when the supply valve's pin was seen high, and is purged once the purge's
volume has passed at the lowest flow. Cuts below the file system are `tests/store`'s.
"""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import pytest

import store
from changeover.inputs import BRAKE, ENGINE, KEY, READY
from changeover.memory import decode
from changeover.settings import flow_low_ul_s, purge_ul
from host_sim.profile import load_profile
from tests.board.rig import Pico

KILLS = 200
CHANGES = ("path_ul=10000", "flow_max_ul_s=10000", "purge_factor_permille=1500", "dwell_diesel_s=10")  # a purge of 2 s


class Books:
    """What must be remembered."""

    def __init__(self) -> None:
        values = load_profile("full_guard", CHANGES)
        self._target_ul = purge_ul(values)
        self._tick_ul = flow_low_ul_s(values) // 10
        self._let_in = False
        self._purged_ul = 0

    def tick(self, board: Pico) -> None:
        """After each tick that was seen to its end."""
        if board.on("supply_valve"):
            self._let_in = True
            self._purged_ul = 0
        elif board.state == "PURGING":
            self._purged_ul += self._tick_ul

    @property
    def oil(self) -> bool:
        """Must the record say so? Two ticks may have gone by that nobody saw: the one that was killed, the one before its valve moved."""
        return self._let_in and self._purged_ul < self._target_ul - 2 * self._tick_ul

    def booted(self, remembered: bool) -> None:
        """A new life begins with what the record says, its credit at nothing."""
        self._let_in = self._let_in and remembered
        self._purged_ul = 0


def slot_times(flash: Path) -> list[int]:
    """When the slots were last touched."""
    return [(flash / f"record.{slot}/slot").stat().st_mtime_ns for slot in (0, 1)]


def life(board: Pico, books: Books, chance: random.Random) -> bool:
    """Boot and drive by chance; killed in a tick, anywhere in it, or as soon as it touches the record: whether it had touched it."""
    in_write = chance.random() < 0.5
    left = chance.randrange(2, 130)
    board.contacts[KEY] = board.contacts[ENGINE] = board.contacts[READY] = True
    board.boot()
    assert board.program is not None
    while True:
        board.tick()
        books.tick(board)
        left -= 1
        if chance.random() < 0.03:
            board.contacts[READY] = not board.contacts[READY]
        elif chance.random() < 0.01:
            board.contacts[KEY] = board.contacts[ENGINE] = board.contacts[BRAKE] = not board.contacts[KEY]
        if left > 0:
            continue
        touched = slot_times(board.flash)
        board.program.send(board.now_ms, board.set_wires())
        if not in_write:
            for _ in range(chance.randrange(1, 300)):
                board.program.answered()  # a few microseconds each
            break
        while slot_times(board.flash) == touched and not board.program.answered():
            pass
        if slot_times(board.flash) != touched or left < -200:
            break
        board.reply = board.program.receive()
        board.now_ms += 100
        books.tick(board)
    board.program.kill()
    return slot_times(board.flash) != touched


@pytest.mark.kills
def test_killed_at_any_instant_it_forgets_nothing(micropython: Path, tmp_path: Path) -> None:
    chance = random.Random(3)
    board = Pico(micropython, tmp_path, changes=CHANGES)
    books = Books()
    states: Counter[str] = Counter()
    written = torn = clean = 0
    trips = 0
    try:
        for number in range(KILLS):
            written += life(board, books, chance)
            states[board.state] += 1
            record = board.record()
            assert record.oil_in_lines or not books.oil, f"kill {number}: oil without record"
            slots = [decode(data) for data in store.read_slots(str(tmp_path))]
            whole = [slot for slot in slots if slot is not None]
            assert whole, f"kill {number}: no record left"
            torn += len(whole) == 1
            clean += not record.oil_in_lines
            assert trips <= record.trips <= trips + 10, f"kill {number}: an older record came back"
            trips = record.trips
            assert store.load_settings(str(tmp_path))[1] == []
            books.booted(record.oil_in_lines)
    finally:
        board.close()
    print(
        f"{KILLS} kills in {dict(states)}; {written} in a tick that wrote, {torn} tore a slot, {clean} found clean lines recorded, {trips} trips"
    )
    assert min(states[name] for name in ("ON_DIESEL", "FILLING", "ON_OIL", "PURGING")) > 1
    assert written > 20
    assert 20 < clean < KILLS - 20
    assert trips > 0
