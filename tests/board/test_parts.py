"""Parts that are dead, stuck or noisy cost no tick, and a host that does not read costs nothing. Under the Unix port, by virtual time:
what buses and time-outs take; the program's own time is counted elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host_sim.unix_port import program
from tests.board.rig import Pico

TICK_MOST_US = 20_000  # a fifth of the tick
CONVERTED_US = 4 * 1400  # four turns of the bus's converters
PAGE_US = (130 + 9) * 9 * 1_000_000 // 400_000  # one page of the display at 400 kHz


@pytest.fixture
def board(micropython: Path, tmp_path: Path) -> Iterator[Pico]:
    """On oil."""
    pico = Pico(micropython, tmp_path)
    pico.start()
    yield pico
    pico.close()


@pytest.mark.parametrize(
    ("broken", "most_us", "trusted"),
    [
        (0, CONVERTED_US + 4000 + PAGE_US, True),
        (program.CHIP_0, CONVERTED_US + 4000 + PAGE_US, False),
        (program.CHIP_0 | program.CHIP_1, 1000 + PAGE_US, False),
        (program.CONVERTERS_STUCK, 2000 + PAGE_US, False),
        (program.NO_DISPLAY, CONVERTED_US + 4000, True),
        (program.DISPLAY_STUCK, CONVERTED_US + 4000 + 5000, True),
    ],
)
def test_a_dead_part_costs_no_tick(broken: int, most_us: int, trusted: bool, board: Pico) -> None:
    board.wires.broken = broken
    worst = max(board.tick().busy_us for _ in range(60))
    assert worst <= most_us + 1000 < TICK_MOST_US, "a tick begins up to 1 ms late: the clock counts whole ones"
    assert board.state == ("ON_OIL" if trusted else "PURGING" if board.on("return_valve") else "ON_DIESEL")
    board.wires.broken = 0
    board.until(lambda _: board.state == "ON_OIL", 60)


def test_a_dead_display_is_asked_again_every_three_seconds(board: Pico) -> None:
    board.wires.broken = program.DISPLAY_STUCK
    board.run(5)
    busy = [board.tick().busy_us > CONVERTED_US + 4000 + 2000 for _ in range(93)]
    assert busy.count(True) == 3


def test_a_reference_that_is_none_is_no_reading(board: Pico) -> None:
    """3.3 V that has sunk to 2.9 V: every ratio would be wrong."""
    board.wires.codes = [*board.wires.codes[:7], 23200]
    board.until(lambda _: board.state != "ON_OIL", 1)
    assert "no answer" in " ".join(board.ask("status"))


def test_a_host_that_does_not_read_delays_nothing(board: Pico) -> None:
    board.terminal.write(b"watch 1\n")
    board.run(1)
    first = board.reply
    assert first is not None
    last = board.run(60)
    assert last.tick - first.tick == 600
    assert last.busy_us < TICK_MOST_US
    assert board.state == "ON_OIL"
    board.terminal.write(b"watch 0\n")
    for _ in range(50):
        board.tick()
        board.terminal.read()
    assert board.ask("echo again")[-1] == "ok echo again"
    assert int(board.ask("status")[-2].split(", ")[1].split()[0]) > 100, "lines that went unread were counted"


def test_noise_on_the_line_and_a_flood_are_survived(board: Pico) -> None:
    flood = bytes(byte for byte in range(256) if byte != 3) * 8
    for _ in range(20):
        board.terminal.write(flood)
        assert board.tick().busy_us < TICK_MOST_US
    board.run(60)
    board.terminal.read()
    assert board.state == "ON_OIL"
    board.terminal.write(b"\n")
    for _ in range(50):
        board.tick()
        board.terminal.read()
    assert board.ask("echo here")[-1] == "ok echo here"
