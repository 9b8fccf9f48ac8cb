"""Tables and drivers of the board that need no board: pins, the bus's converters, the display, the serial port's limits."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from changeover.sensing import NO_ANSWER
from converters import REFERENCE, Converters, counts
from display import PAGES, WIDTH, Display
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES, PICO_CHANNELS
from host_sim.unix_port.board import REFERENCE_CODE, as_read, code_of
from pins import ANALOG, BUS, DIMMED, HIGH, IN, LOW, OUT, OUTPUTS, PINS, PULL_DOWN, PULL_UP, gpio, gpios
from tests.needs import command, require

FIRMWARE = Path(__file__).parents[2] / "firmware"
# Raspberry Pi Pico datasheet: GP0 to GP22 and GP26 to GP28 are on its edge, the last three reach the converter.
ON_THE_EDGE, ANALOG_PINS = {*range(23), 26, 27, 28}, [26, 27, 28]


def test_each_pin_is_on_the_edge_of_the_board_and_used_once() -> None:
    numbers = [row[0] for row in PINS]
    assert len(set(numbers)) == len(numbers)
    assert set(numbers) <= ON_THE_EDGE
    assert gpios(ANALOG) == ANALOG_PINS


def test_inputs_stand_in_the_order_of_the_law_and_a_broken_wire_is_off() -> None:
    assert tuple(row[1] for row in PINS if row[2] == IN) == DIGITAL_NAMES
    assert {(row[3], row[4]) for row in PINS if row[2] == IN} == {(LOW, PULL_UP)}
    assert tuple(row[1] for row in PINS if row[2] == ANALOG) == tuple(ANALOG_NAMES[index] for index in PICO_CHANNELS)


def test_every_output_is_off_by_its_pull_down() -> None:
    outputs = [row for row in PINS if row[2] in (OUT, DIMMED)]
    assert {(row[3], row[4]) for row in outputs} == {(HIGH, PULL_DOWN)}
    assert [row[1] for row in outputs] == OUTPUTS


def test_each_bus_is_on_pins_of_its_own_controller() -> None:
    """RP2040 datasheet, 1.4.3: I2C 0 has data on GP0, 4, 8 ... and its clock on the next pin, I2C 1 on GP2, 6, 10 ..."""
    assert [row[1] for row in PINS if row[2] == BUS] == ["converter_sda", "converter_scl", "display_sda", "display_scl"]
    for name, first in (("converter", 0), ("display", 2)):
        assert gpio(name + "_sda") % 4 == first
        assert gpio(name + "_scl") == gpio(name + "_sda") + 1


def test_ratios_to_the_reference_lose_two_counts_at_most() -> None:
    raw = [0, 0, 0, *([0] * 7)]
    worst = 0
    for value in range(0, 65536, 7):
        raw[3] = value
        worst = max(worst, abs(as_read(raw)[3] - value))
    assert worst <= 2
    assert as_read([NO_ANSWER] * 10) == [NO_ANSWER] * 10


@pytest.mark.parametrize("reference", [24000, 26400, 28800])
def test_ratios_are_within_a_step_of_exact_ones(reference: int) -> None:
    for code in (-1, 0, 1, reference // 3, reference // 2, reference - 1, reference, 32767):
        exact = min(65535.0, max(0, code) / reference * 65534)
        assert abs(counts(code, reference) - exact) <= 2
    assert counts(32767, 24000) <= 65535


class Chips:
    """A bus with two converters that are ready at once; what is broken on it is set from outside."""

    def __init__(self) -> None:
        self.codes = [[100 * chip + turn for turn in range(4)] for chip in (1, 2)]
        self.codes[1][3] = REFERENCE_CODE
        self.silent: set[int] = set()
        self.busy = False
        self.stays_on = -1  # input that a converter goes on measuring, whatever it is told
        self.asked = 0
        self._config = [bytearray(2), bytearray(2)]

    def writeto_mem(self, address: int, register: int, data: bytearray) -> None:
        self.asked += 1
        if address - 0x48 in self.silent:
            raise OSError(5)
        assert register == 1
        self._config[address - 0x48][:] = data

    def readfrom_mem_into(self, address: int, register: int, data: bytearray) -> None:
        self.asked += 1
        config = bytearray(self._config[address - 0x48])
        if self.stays_on >= 0:
            config[0] = 0xC3 + (self.stays_on << 4)
        if register == 1:
            data[:] = config
            data[0] &= 0x7F if self.busy else 0xFF
        else:
            code = self.codes[address - 0x48][(config[0] >> 4) - 12 & 3]
            data[:] = code.to_bytes(2, "big", signed=True)


def read(chips: Chips) -> list[int]:
    """One tick's counts of the seven inputs on the bus."""
    converters = Converters(chips)
    into = [0] * 10
    for turn in range(4):
        if converters.start(turn):
            converters.finish(turn)
    converters.take(into, 3)
    return into[3:]


def test_all_seven_inputs_are_read_in_the_law_s_order() -> None:
    chips = Chips()
    assert read(chips) == [counts(code, REFERENCE_CODE) for code in (*chips.codes[0], *chips.codes[1][:3])]


def test_a_silent_converter_takes_its_inputs_along_and_is_asked_once_a_tick() -> None:
    chips = Chips()
    whole = read(chips)
    chips.silent = {0}
    assert read(chips) == [NO_ANSWER] * 4 + whole[4:]
    chips.silent = {0, 1}
    chips.asked = 0
    assert read(chips) == [NO_ANSWER] * 7
    assert chips.asked == 2
    chips.silent = {1}
    assert read(chips) == [NO_ANSWER] * 7, "without the reference no ratio is known"


def test_what_is_not_ready_or_of_another_input_is_no_answer() -> None:
    chips = Chips()
    chips.busy = True
    assert read(chips) == [NO_ANSWER] * 7
    chips.busy = False
    chips.stays_on = 2
    assert read(chips) == [NO_ANSWER] * 7


def test_below_ground_is_zero_and_above_the_reference_full_scale() -> None:
    chips = Chips()
    chips.codes[0][:2] = [-5, 32000]
    assert read(chips)[:2] == [0, 65535]


class Panel:
    """A display, as its data sheet has it: commands after 0x00, data after 0x40 into a window, left to right, top to bottom."""

    def __init__(self) -> None:
        self.memory = bytearray(WIDTH * PAGES)
        self.on = False
        self.there = True
        self.sent = 0
        self.contrast = 0
        self._at = 0

    def writeto(self, address: int, data: bytes) -> None:
        if not self.there:
            raise OSError(5)
        assert address == 0x3C
        self.sent += len(data) + 1
        if data[0] == 0x40:
            self.memory[self._at : self._at + len(data) - 1] = data[1:]
        elif data[1] == 0x21:
            assert tuple(data[1:5]) == (0x21, 0, WIDTH - 1, 0x22)
            assert data[5] == data[6]
            self._at = WIDTH * data[5]
        elif data[1] == 0x81:
            self.contrast = data[2]
        else:
            assert data[1] == 0xAE
            self.on = data[-1] == 0xAF

    def lose_power(self) -> None:
        self.on = False
        self.memory[:] = bytes(range(256)) * 4


def test_the_picture_arrives_a_page_a_tick_and_only_what_changed() -> None:
    panel, picture = Panel(), bytearray(index * 7 & 0xFF for index in range(WIDTH * PAGES))
    display = Display(panel)
    for _ in range(1 + PAGES):
        before = panel.sent
        display.show(picture, False)
        assert panel.sent - before <= 150, "3.4 ms at 400 kHz"
    assert panel.on
    assert panel.memory == picture
    sent = panel.sent
    display.show(picture, False)
    assert panel.sent == sent
    picture[300] ^= 0xFF
    display.show(picture, False)
    assert panel.memory == picture
    display.show(picture, True)
    assert panel.contrast < 16


def test_a_display_that_was_away_is_set_up_and_painted_anew() -> None:
    panel, picture = Panel(), bytearray([0x55]) * (WIDTH * PAGES)
    display = Display(panel)
    for _ in range(20):
        display.show(picture, False)
    assert panel.memory == picture
    panel.there = False
    picture[5] ^= 1
    display.show(picture, False)
    panel.there = True
    panel.lose_power()
    for _ in range(60):
        display.show(picture, False)
    assert panel.on
    assert panel.memory == picture


@pytest.mark.parametrize("path", sorted(FIRMWARE.glob("*.py")), ids=lambda path: path.name)
def test_every_file_compiles_for_the_board(path: Path, tmp_path: Path) -> None:
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    subprocess.run([compiler, "-march=armv6m", path, "-o", tmp_path / "out.mpy"], check=True, capture_output=True)
    assert (tmp_path / "out.mpy").stat().st_size > 0


def test_only_the_driver_knows_the_hardware() -> None:
    users = {path.name for path in FIRMWARE.rglob("*.py") if "\nimport machine" in path.read_text()}
    assert users == {"board_pico.py"}
    assert code_of(65534) == REFERENCE_CODE
    assert REFERENCE == 7
