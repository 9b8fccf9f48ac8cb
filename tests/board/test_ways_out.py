"""Every way out of the program ends on diesel, is told, and starts anew: a fault in a tick, a host's interrupt, a file that is missing,
a program that stands still. The firmware runs under the Unix port, its failures planted in a copy of its files."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from causes import ASKED, FAULT, INTERRUPTED, NOT_LOADED, TEXTS, WATCHDOG
from changeover.inputs import ENGINE, KEY
from host_sim.unix_port import program
from host_sim.unix_port.program import FIRMWARE
from tests.board.rig import Pico, copy_of_firmware

WATCHDOG_TICKS = 20  # 2 s
Bench = Callable[..., Pico]
TICK = "        link.tick(now_ms)\n"  # of the app, where failures are planted


@pytest.fixture
def pico(micropython: Path, tmp_path: Path) -> Iterator[Bench]:
    """A board alone, with or without a failure planted in a file."""
    made: list[Pico] = []

    def make(**edits: tuple[str, str]) -> Pico:
        firmware = FIRMWARE
        if edits:
            firmware = copy_of_firmware(tmp_path / "firmware", {f"{name}.py": edit for name, edit in edits.items()})
        flash = tmp_path / "flash"
        flash.mkdir()
        made.append(Pico(micropython, flash, firmware))
        return made[-1]

    yield make
    for each in made:
        each.close()


def told(board: Pico, *words: str) -> bool:
    """Does the log say this since it was new? It is kept in short rows, without commas."""
    rows = [line.split(" *")[0].split(",", 2) for line in board.ask("journal")]
    text = "".join(row[2] for row in rows if row[0].endswith("T")).replace(" ", "")
    return all(word.replace(" ", "").replace(",", ";") in text for word in words)


def after_the_reset(board: Pico) -> None:
    """All is off; the next life has oil recorded, says why it began, and keeps off oil until the key was off and on."""
    assert board.reply is not None
    assert board.reply.flags & program.RESET
    assert board.energised == []
    assert board.record().oil_in_lines
    board.boot(program.FORCED)
    board.until(lambda _: board.state == "PURGING", 1)
    assert "BOARD RESTARTED" in " ".join(board.ask("status"))
    board.run(20)
    assert board.state == "ON_DIESEL"
    board.run(10)
    assert not board.on("supply_valve")
    board.contacts[KEY] = board.contacts[ENGINE] = False
    board.run(1)
    board.contacts[KEY] = board.contacts[ENGINE] = True
    board.until(lambda _: board.state == "ON_OIL", 30)


def test_a_fault_in_a_tick_on_oil(pico: Bench) -> None:
    planted = "        if self.ticks == 90 and self.law.machine.supply_on:\n            raise ValueError('planted')\n"
    board = pico(app=(TICK, TICK + planted))
    board.start()
    board.until(lambda reply: reply.flags & program.RESET, 10)
    after_the_reset(board)
    assert told(board, TEXTS[FAULT], "ON_OIL, tick 90", "ValueError: planted")


def test_an_interrupt_on_oil(pico: Bench) -> None:
    board = pico()
    board.start()
    board.terminal.write(b"\x03")
    board.until(lambda reply: reply.flags & program.RESET, 1)
    after_the_reset(board)
    assert told(board, TEXTS[INTERRUPTED])


def test_an_interrupt_in_the_window_leaves_the_board_to_the_host(pico: Bench) -> None:
    board = pico()
    board.boot()
    board.run(5)
    assert board.energised != []
    assert board.program is not None
    board.terminal.write(b"\x03")
    assert board.program.process.wait(timeout=10) == 0, "back at the prompt, or here: at the shell's"


def test_the_window_ends_with_the_key_or_after_its_time(pico: Bench) -> None:
    board = pico()
    board.boot()
    assert not board.run(8).flags & program.WATCHED
    assert board.run(0.2).flags & program.WATCHED
    board.boot()
    board.contacts[KEY] = True
    assert board.tick().flags & program.WATCHED


@pytest.mark.parametrize("name", ["app", "link", "changeover/law"])
def test_a_file_that_is_missing_or_broken(name: str, pico: Bench) -> None:
    board = pico(causes=("POWER_ON, WATCHDOG", "POWER_ON,  WATCHDOG"))  # any edit: a copy
    path = board.firmware / f"{name}.py"
    kept = path.read_text()
    if name == "link":
        path.write_text(kept + "\n)")
    else:
        path.unlink()
    board.boot()
    lamp = [False]
    for _ in range(200):
        if board.tick().flags & program.RESET:
            break
        assert set(board.energised) <= {"red"}
        lamp.append(board.on("red"))
    assert board.reply is not None
    assert board.reply.flags & program.RESET
    blinks = sum(before < after for before, after in pairwise(lamp))
    assert blinks == NOT_LOADED * 9, "five blinks, then the window in which a host may copy what is missing"
    path.write_text(kept)
    board.boot(program.FORCED)
    board.run(1)
    assert told(board, TEXTS[NOT_LOADED])


def test_a_reset_that_was_asked_for_is_no_fault(pico: Bench) -> None:
    board = pico()
    board.boot()
    board.run(1)
    board.boot(program.FORCED)
    board.contacts[KEY] = board.contacts[ENGINE] = True
    board.run(3)
    assert "BOARD RESTARTED" not in " ".join(board.ask("status"))
    assert told(board, TEXTS[ASKED])


def test_the_watchdog_bites_after_two_seconds_and_knows_state_and_tick(pico: Bench) -> None:
    board = pico()
    at = board.start().tick
    for _ in range(WATCHDOG_TICKS - 1):
        assert not board.tick(program.HANG).flags & program.BITTEN
    assert board.tick(program.HANG).flags & program.BITTEN
    board.boot(program.TIMED_OUT)
    board.run(1)
    assert told(board, TEXTS[WATCHDOG], f"ON_OIL, tick {at}")


def test_a_tick_that_never_ends_is_not_fed_through(pico: Bench) -> None:
    """The program sleeps on in the middle of a tick; the clock and the bus work, the watchdog bites all the same."""
    planted = "        while self.ticks > 90:\n            self.board.wait((self.board.ticks_ms() + 10) & 0x3FFFFFFF)\n"
    board = pico(app=(TICK, TICK + planted))
    board.start()
    board.until(lambda reply: reply.tick > 90, 10)
    bitten = [bool(board.tick().flags & program.BITTEN) for _ in range(WATCHDOG_TICKS - 1)]
    assert bitten == [False] * (WATCHDOG_TICKS - 2) + [True]


def test_late_ticks_are_counted_told_and_not_made_up_for(pico: Bench) -> None:
    planted = (
        "        if self.ticks in (90, 91):\n            self.board.wait((self.board.ticks_ms() + 350) & 0x3FFFFFFF)\n"
    )
    board = pico(app=(TICK, TICK + planted))
    board.start()
    board.until(lambda reply: reply.tick == 90, 10)
    ticks = [board.tick().tick for _ in range(12)]
    assert ticks == [90, 90, 90, 91, 91, 91, 91, 92, 93, 94, 95, 96], "one a boundary again, no burst"
    assert board.state == "PURGING"
    assert "BOARD LATE" in " ".join(board.ask("status"))
