"""The valves' outputs: full on for half a second, then held by pulses, off as a plain low pin, in every path. The driver on a chip made
of attributes, and the whole firmware in the simulated car's wires."""

from __future__ import annotations

import importlib
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from host_sim.unix_port import program
from pins import FILTER_HEATER, RETURN_VALVE, SUPPLY_VALVE, gpio
from tests.board.rig import SMALL, Pico, copy_of_firmware

SUPPLY, RETURN = gpio("supply_valve"), gpio("return_valve")
LOW, HIGH, HALF = ("plain", 0), ("plain", 1), ("pulses", 20_000, 32767)


class Chip(ModuleType):
    """`machine`, as far as outputs go: `pin` says what drives each. A value that is written under pulses shows once they end."""

    def __init__(self) -> None:
        super().__init__("machine")
        chip = self
        self.now_ms = 0
        self.pin: dict[int, tuple[Any, ...]] = {}
        self.at_reset: dict[int, tuple[Any, ...]] | None = None

        class Pin:
            IN, OUT, PULL_UP = 0, 1, 1

            def __init__(self, number: int, mode: int = -1, pull: int = -1, value: int = 0) -> None:
                self.number = number
                if mode == Pin.OUT:
                    self.init(mode, value=value)

            def init(self, mode: int, value: int) -> None:
                assert mode == Pin.OUT
                chip.pin[self.number] = ("plain", value)

            def value(self, level: object = None) -> int:
                if level is not None and chip.pin[self.number][0] == "plain":
                    chip.pin[self.number] = ("plain", int(bool(level)))
                return 1

        class PWM:
            def __init__(self, pin: Pin, freq: int, duty_u16: int) -> None:
                self._number, self._freq = pin.number, freq
                self.duty_u16(duty_u16)

            def duty_u16(self, duty: int) -> None:
                chip.pin[self._number] = ("pulses", self._freq, duty)

        self.Pin, self.PWM = Pin, PWM
        self.ADC = lambda number: number
        self.I2C = lambda number, **_: number
        self.mem32 = dict.fromkeys((0x40058008, 0x4005800C, 0x40058010, 0x40058014), 0)

    def reset(self) -> None:
        self.at_reset = dict(self.pin)


class Driver:
    """The board's driver on that chip, and a law that wants what a test says."""

    def __init__(self, chip: Chip, board: Any) -> None:
        self.chip, self.board = chip, board
        self.law = SimpleNamespace(
            machine=SimpleNamespace(supply_on=False, return_on=False), heater=SimpleNamespace(on=False), power_hold=True, run_on=False,
            inputs=SimpleNamespace(contact=[SimpleNamespace(on=False)] * 10),
            panel=SimpleNamespace(red=0, amber=0, green=0, buzzer=0),
        )  # fmt: skip

    def ticks(self, count: int, pin: int = SUPPLY) -> list[tuple[Any, ...]]:
        """What drives a pin after each tick."""
        seen = []
        for _ in range(count):
            self.board.write(self.law)
            seen.append(self.chip.pin[pin])
            self.chip.now_ms = (self.chip.now_ms + 100) & 0x3FFFFFFF
        return seen


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Iterator[Driver]:
    chip = Chip()
    monkeypatch.setitem(sys.modules, "machine", chip)
    monkeypatch.setattr(time, "ticks_ms", lambda: chip.now_ms, raising=False)
    monkeypatch.setattr(
        time, "ticks_diff", lambda later, earlier: (later - earlier + (1 << 29)) % (1 << 30) - (1 << 29), raising=False
    )
    module = importlib.import_module("board_pico")
    monkeypatch.setattr(module, "Port", SimpleNamespace)
    try:
        yield Driver(chip, module.Board())
    finally:
        del sys.modules["board_pico"]


def test_a_valve_pulls_in_at_full_current_for_half_a_second_and_is_then_held(driver: Driver) -> None:
    driver.board.hold_percent = 50
    driver.chip.now_ms = (1 << 30) - 250  # the clock wraps on the way
    assert driver.ticks(2) == [LOW] * 2
    driver.law.machine.supply_on = True
    assert driver.ticks(8) == [HIGH] * 5 + [HALF] * 3
    assert driver.chip.pin[RETURN] == LOW
    driver.law.machine.return_on = True
    assert driver.ticks(7, RETURN) == [HIGH] * 5 + [HALF] * 2
    driver.law.machine.supply_on = False
    assert driver.ticks(1) == [LOW], "at once"
    assert driver.chip.pin[RETURN] == HALF
    driver.law.machine.supply_on = True
    assert driver.ticks(6) == [HIGH] * 5 + [HALF], "in full again, however short the pause"


def test_a_valve_that_a_dip_let_go_is_pulled_in_again_within_half_a_minute(driver: Driver) -> None:
    """Half of what an unnoticed valve without a contact may take to be told: 60 s."""
    driver.board.hold_percent = 50
    driver.law.machine.supply_on = True
    seen = driver.ticks(900)
    fulls = [tick for tick in range(900) if seen[tick] == HIGH]
    assert fulls == [first + tick for first in (0, 300, 600) for tick in range(5)]
    assert set(seen) == {HIGH, HALF}, "never off in between"


@pytest.mark.parametrize(("percent", "duty"), [(40, 26214), (99, 64879)])
def test_duty_is_the_setting_s(percent: int, duty: int, driver: Driver) -> None:
    driver.board.hold_percent = percent
    driver.law.machine.supply_on = True
    assert driver.ticks(6)[-1] == ("pulses", 20_000, duty)


def test_at_a_hundred_percent_and_from_the_start_it_is_a_plain_pin(driver: Driver) -> None:
    driver.law.machine.supply_on = driver.law.machine.return_on = True
    assert driver.ticks(50) == [HIGH] * 50
    assert driver.chip.pin[RETURN] == HIGH


@pytest.mark.parametrize("held_for", [1, 20], ids=["while it pulls in", "while it is held"])
@pytest.mark.parametrize("way", ["off", "restart", "no_self_test"])
def test_every_way_out_leaves_a_plain_low_pin(way: str, held_for: int, driver: Driver) -> None:
    driver.board.hold_percent = 50
    driver.law.machine.return_on = True
    driver.board.forced = SUPPLY_VALVE
    assert driver.ticks(held_for)[-1] == driver.chip.pin[RETURN] == (HIGH if held_for == 1 else HALF)
    if way == "no_self_test":
        driver.board.forced = FILTER_HEATER
        assert driver.ticks(1) == [LOW]
        driver.board.forced = RETURN_VALVE
        driver.law.machine.return_on = False
        assert driver.ticks(1, RETURN) == [HIGH if held_for == 1 else HALF]
        driver.board.forced = -1
        assert driver.ticks(1, RETURN) == [LOW]
        return
    getattr(driver.board, way)(*([2] if way == "restart" else []))
    assert {driver.chip.pin[pin] for pin in (SUPPLY, RETURN)} == {LOW}
    if way == "restart":
        assert driver.chip.at_reset is not None
        assert {driver.chip.at_reset[pin] for pin in (SUPPLY, RETURN)} == {LOW}


def held(micropython: Path, flash: Path, *firmware: Path) -> Pico:
    """A board whose valves are held at the lowest duty, three seconds on oil."""
    board = Pico(micropython, flash, *firmware, changes=(*SMALL, "valve_hold_percent=40"))
    board.start()
    board.run(3)
    assert {"supply_valve", "return_valve"} <= set(board.energised)
    return board


def test_held_valves_stay_on_oil_and_fall_with_a_sensor_and_with_the_program(micropython: Path, tmp_path: Path) -> None:
    board = held(micropython, tmp_path)
    try:
        warm = board.wires.sums
        board.wires.sums = [warm[0], 65535, warm[2]]
        board.until(lambda _: board.state == "PURGING", 1)
        assert not board.on("supply_valve")
        assert board.on("return_valve")
        board.wires.sums = warm
        board.until(lambda _: board.state == "ON_OIL", 60)
        board.run(2)
        board.terminal.write(b"\x03")
        board.until(lambda reply: reply.flags & program.DOWN, 1)
        assert not {"supply_valve", "return_valve"} & set(board.energised)
    finally:
        board.close()


def test_a_pin_that_is_only_set_low_under_its_pulses_is_found_out(micropython: Path, tmp_path: Path) -> None:
    """Guards the test above and the wires: pulses that nobody ends keep a valve on oil."""
    firmware = copy_of_firmware(
        tmp_path / "firmware",
        {"board_pico.py": ("self._pin.init(machine.Pin.OUT, value=level)", "self._pin.value(level)")},
    )
    flash = tmp_path / "flash"
    flash.mkdir()
    board = held(micropython, flash, firmware)
    try:
        board.wires.sums = [board.wires.sums[0], 65535, board.wires.sums[2]]
        board.until(lambda _: board.state == "PURGING", 1)
        assert board.on("supply_valve")
    finally:
        board.close()
