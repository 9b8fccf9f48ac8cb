"""A message stands on the display, dots and all, within a second of the tick in which it is due: app, panel, driver and a chip's memory."""

from __future__ import annotations

from pathlib import Path

import pytest

from changeover import messages
from changeover.inputs import BUTTON, ENGINE, KEY, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.sensing import OIL
from changeover.states import ON_OIL
from display import Display
from host_sim.signals import from_physical
from panel import DRIVING, Panel
from panel_canvas import COLUMNS, ROWS
from tests.board.rig import WARM
from tests.board.test_drivers import Panel as Chip
from tests.board.test_service import Bench

SECOND = 10  # ticks
WORDS = 4 * COLUMNS  # the lower half, where the driving page has its message


class Shown(Bench):
    """On oil, with a display."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.chip = Chip()
        display = Display(self.chip)
        self.painted: list[int] = []
        before = bytearray(COLUMNS * ROWS)

        def show(buffer: bytearray) -> None:
            starts = range(0, COLUMNS * ROWS, COLUMNS)
            self.painted.append(sum(buffer[at : at + COLUMNS] != before[at : at + COLUMNS] for at in starts))
            before[:] = buffer
            display.show(buffer, False)

        self.board.show = show
        self.board.wires[KEY] = self.board.wires[ENGINE] = self.board.wires[READY] = True
        for _ in range(60):
            self.run(1)
            if self.app.law.machine.state == ON_OIL:
                break
        self.run(1)
        assert self.app.law.panel.message == messages.ON_OIL

    def run(self, seconds: float) -> None:
        for _ in range(round(10 * seconds)):
            machine = self.app.law.machine
            self.board.wires[SUPPLY_CONTACT], self.board.wires[RETURN_CONTACT] = machine.supply_on, machine.return_on
            super().run(0.1)

    def ticks_until_read(self, message: int, whole: bool) -> int:
        """From the tick in which the message is due to the one in which its rows stand on the display."""
        law = self.app.law
        for _ in range(50):
            self.run(0.1)
            if law.panel.message == message:
                break
        assert law.panel.message == message
        fresh = Panel(self.app.values)
        for ticks in range(30):
            fresh.draw(law, DRIVING)
            first = 0 if whole else WORDS
            if self.chip.memory[first:] == fresh.buffer[first:]:
                return ticks
            self.run(0.1)
        raise AssertionError("never")


@pytest.fixture
def shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shown:
    monkeypatch.setattr("gc.collect", lambda: 0)  # the board's habit, and this process has far more to go through
    return Shown(tmp_path)


def test_a_lost_sensor_is_read_within_a_second_whenever_it_comes(shown: Shown) -> None:
    for phase in range(10):
        shown.app.law.machine.reverts = 0  # else the law locks oil out
        shown.run(60 + phase / 10)
        assert shown.app.law.machine.state == ON_OIL
        shown.board.counts[OIL] = 65535
        assert shown.ticks_until_read(messages.rows.OIL_SENSOR, whole=False) < SECOND
        shown.board.counts[OIL] = from_physical(OIL, WARM[OIL])


def test_advice_that_takes_the_whole_display_is_read_within_a_second(shown: Shown) -> None:
    worst = 0
    for phase in range(10):
        shown.run(9 + phase / 10)
        shown.board.wires[BUTTON] = True
        shown.run(0.3)
        shown.board.wires[BUTTON] = False
        worst = max(worst, shown.ticks_until_read(messages.STANDING, whole=True))
    assert ROWS - 1 <= worst < SECOND, "a row a tick, nine at most"


def test_no_tick_draws_more_than_a_row(shown: Shown) -> None:
    shown.board.wires[BUTTON] = True
    shown.run(0.3)
    shown.board.wires[BUTTON] = False
    shown.run(10)
    assert max(shown.painted) == 1
    assert shown.painted.count(0) > len(shown.painted) / 2, "most ticks nothing changes"
