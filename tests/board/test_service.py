"""Service mode and the order of a tick: the app on a board made of attributes, under CPython."""

from __future__ import annotations

from pathlib import Path

import pytest

import store
from app import App
from causes import POWER_ON, WATCHDOG
from changeover.inputs import BUTTON, ENGINE, KEY, READY
from changeover.law import Law
from changeover.memory import Record, choose
from changeover.states import STATES
from host_sim.profile import load_profile
from host_sim.signals import from_physical
from panel import FILTER, PAGES, PRIME, SELF_TEST, SENSORS_1
from pins import OUTPUTS, POWER_HOLD, RUN_ON, SUPPLY_VALVE
from tests.board.rig import SMALL, WARM


class Board:
    """What the app sees of a board; `driven` is what the law commanded last, `shown` what was on top."""

    def __init__(self, cause: int = POWER_ON) -> None:
        self.counts = [from_physical(channel, value) for channel, value in enumerate(WARM)]
        self.wires = [False] * 10
        self.levels = [False] * 10
        self.forced = -1
        self.masked = False
        self.last_state, self.last_tick = 3, 77
        self.remembered = (0, 0)
        self.driven: Law | None = None
        self._cause = cause

    def read(self) -> None:
        self.levels[:] = self.wires

    def write(self, law: Law) -> None:
        self.driven = law

    def cause(self) -> int:
        return self._cause

    def remember(self, state: int, tick: int) -> None:
        self.remembered = (state, tick)

    def serial_read(self, buffer: bytearray) -> int:
        return 0

    def serial_room(self) -> int:
        return 0

    def serial_write(self, data: bytes) -> int:
        return 0

    def show(self, buffer: bytearray) -> None:
        pass


class Bench:
    """The app on that board, purged lines recorded."""

    def __init__(self, folder: Path, cause: int = POWER_ON, oil: bool = False) -> None:
        self.folder = str(folder)
        assert store.save_settings(self.folder, load_profile("full_guard", SMALL))
        record = Record()
        record.oil_in_lines = oil
        for _ in range(2):
            data = record.encode()
            assert store.write_slot(self.folder, record.slot(), data)
        self.board = Board(cause)
        self.app = App(self.board, self.folder)  # pyright: ignore[reportArgumentType]
        self.now_ms = 0

    def run(self, seconds: float) -> None:
        for _ in range(round(10 * seconds)):
            self.app.tick(self.now_ms)
            self.now_ms += 100

    def press(self, seconds: float) -> None:
        self.board.wires[BUTTON] = True
        self.run(seconds)
        self.board.wires[BUTTON] = False
        self.run(0.3)

    def enter(self) -> None:
        """Hold the button, turn the key."""
        self.run(1)
        self.board.wires[BUTTON] = True
        self.run(0.5)
        self.board.wires[KEY] = True
        self.run(3)
        self.board.wires[BUTTON] = False
        self.run(0.5)
        assert self.app.service.active

    def go(self, page: int) -> None:
        """Short presses until this page shows."""
        for _ in range(20):
            if self.app.panel.page == page:
                return
            self.press(0.3)
        raise AssertionError(f"no way to {PAGES[page]}")

    def forced_for(self, seconds: float) -> list[int]:
        """What was held on, tick by tick."""
        seen = []
        for _ in range(round(10 * seconds)):
            self.run(0.1)
            seen.append(self.board.forced)
        return seen


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_the_button_at_key_on_opens_service_and_is_then_hidden_from_the_law(bench: Bench) -> None:
    bench.enter()
    assert bench.app.panel.page == SENSORS_1
    before = bench.app.law.machine.wishes.short_presses
    bench.press(0.3)
    bench.press(3)
    assert bench.app.law.machine.wishes.short_presses == before
    assert not bench.app.law.machine.wishes.stop_held


def test_without_it_at_key_on_the_button_is_the_law_s(bench: Bench) -> None:
    bench.board.wires[KEY] = True
    bench.run(1)
    bench.press(0.3)
    assert not bench.app.service.active
    assert bench.app.law.machine.wishes.short_presses == 1


@pytest.mark.parametrize("how", [ENGINE, KEY])
def test_engine_and_key_end_it_at_once(how: int, bench: Bench) -> None:
    bench.enter()
    bench.go(SELF_TEST)
    bench.board.wires[BUTTON] = True
    bench.run(2.2)
    assert bench.board.forced == SUPPLY_VALVE
    bench.board.wires[how] = how == ENGINE
    bench.run(0.1)
    assert not bench.app.service.active
    if how == ENGINE:
        assert bench.board.forced == -1


def test_self_test_goes_through_the_outputs_one_at_a_time_and_never_the_held_feed(bench: Bench) -> None:
    bench.enter()
    bench.go(SELF_TEST)
    tried = []
    for _ in range(len(OUTPUTS) - 1):
        bench.board.wires[BUTTON] = True
        bench.run(2.1)
        bench.board.wires[BUTTON] = False
        held = bench.forced_for(2.5)
        assert set(held) - {-1} == {held[0]}
        assert held.count(held[0]) <= 15, "at most 1.5 s of the 2 s that are allowed"
        tried.append(held[0])
    assert tried == [place for place in range(len(OUTPUTS)) if place != POWER_HOLD]


def test_no_output_is_tried_with_oil_in_the_lines(tmp_path: Path) -> None:
    bench = Bench(tmp_path, oil=True)
    bench.enter()
    bench.go(SELF_TEST)
    bench.press(2.5)
    assert set(bench.forced_for(1)) == {-1}
    assert bench.app.panel.note == "there may be oil in the lines"
    assert bench.app.service.ask_test("green") == "there may be oil in the lines"


def test_a_test_that_the_host_asked_for_waits_for_the_button_and_not_for_ever(bench: Bench) -> None:
    bench.run(1)
    assert "no output" in bench.app.service.ask_test("power_hold")
    assert bench.app.service.ask_test("run_on") == ""
    assert bench.app.service.ask_test("green") == "another test is going on"
    assert set(bench.forced_for(2)) == {-1}
    bench.board.wires[BUTTON] = True
    assert bench.forced_for(1) == [RUN_ON] * 10
    bench.board.wires[BUTTON] = False
    assert bench.forced_for(2)[-1] == -1
    assert bench.app.service.ask_test("green") == ""
    bench.run(31)
    assert not bench.app.service.busy
    bench.press(1)
    assert bench.board.forced == -1


def test_prime_records_oil_before_it_opens_the_valve_and_holds_it_while_pressed(bench: Bench) -> None:
    bench.enter()
    bench.go(PRIME)
    bench.press(2.5)
    assert "READY" in bench.app.panel.note
    assert not choose(store.read_slots(bench.folder)).oil_in_lines
    bench.board.wires[READY] = True
    bench.board.wires[BUTTON] = True
    for _ in range(60):
        bench.run(0.1)
        if bench.board.forced == SUPPLY_VALVE:
            break
        assert bench.board.forced == -1
    assert bench.board.forced == SUPPLY_VALVE
    assert choose(store.read_slots(bench.folder)).oil_in_lines
    assert bench.forced_for(3) == [SUPPLY_VALVE] * 30
    bench.board.wires[BUTTON] = False
    bench.run(0.1)
    assert bench.board.forced == -1
    bench.board.wires[KEY] = False
    bench.run(3)
    bench.board.wires[KEY] = True
    bench.run(1)
    bench.board.wires[ENGINE] = True
    bench.run(2)
    assert STATES[bench.app.law.machine.state] == "PURGING"


def test_prime_is_not_begun_where_flash_refuses(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    bench.enter()
    bench.go(PRIME)
    bench.board.wires[READY] = True
    monkeypatch.setattr(store, "write_slot", lambda *_: False)
    bench.board.wires[BUTTON] = True
    assert set(bench.forced_for(5)) == {-1}


def test_a_new_filter_forgets_the_old_one_in_flash_too(bench: Bench) -> None:
    bench.app.law.restriction.mean_pa = 20000
    bench.app.law.restriction.low_pa = 9000
    bench.enter()
    bench.go(FILTER)
    bench.press(2.5)
    record = choose(store.read_slots(bench.folder))
    assert (record.suction_mean_pa, record.suction_low_pa) == (0, 0)
    assert bench.app.panel.page == PRIME


def test_a_restart_by_the_watchdog_is_kept_in_words_with_state_and_tick(tmp_path: Path) -> None:
    bench = Bench(tmp_path, cause=WATCHDOG)
    bench.run(1)
    said = "".join(line.split(",", 2)[2] for line in bench.app.journal.read(0) if line.startswith("T"))
    assert "watchdog" in said
    assert said.endswith("ON_OIL; tick 77")
    assert bench.app.law.conditions.restarted


@pytest.mark.parametrize("text", [None, b"authority=2\ncrc=00000000\n", b"\xff" * 9000])
def test_settings_that_are_missing_or_damaged_leave_defaults_and_no_movement(
    text: bytes | None, tmp_path: Path
) -> None:
    if text is not None:
        (tmp_path / "settings").mkdir()
        (tmp_path / "settings/saved").write_bytes(text)
    board = Board()
    app = App(board, str(tmp_path))  # pyright: ignore[reportArgumentType]
    assert not app.valid
    board.wires[KEY] = board.wires[ENGINE] = board.wires[READY] = True
    for tick in range(100):
        app.tick(100 * tick)
        assert not app.law.machine.supply_on
        assert not app.law.machine.return_on
    assert STATES[app.law.machine.state] == "ON_DIESEL"
