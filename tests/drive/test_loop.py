"""The loop of car, board and judges: repeatable, run in pieces, forked, blind to the age of the board's clock."""

from __future__ import annotations

import json
from functools import lru_cache
from typing import Any

import pytest

from changeover.states import STATES
from changeover.ticks import MASK_MS
from host_sim import loop as loop_module
from host_sim.drive import Drive
from host_sim.faults import Fault
from host_sim.loop import Loop
from host_sim.virtual_board import TICK_MS, VirtualBoard
from secondtank.drive import summarise
from tests.drive.rig import LONG, READY, coast, drive_of, idle, on_oil, road, stop, story

# To oil, a stop without a purge, a purge at the next start, a purge before the last stop.
TWO_TRIPS = story(READY, road(4.0), stop(21.3), road(5.0), idle(0.5), stop(3.7, "idle"))


@lru_cache(maxsize=1)
def _whole() -> Drive:
    """TWO_TRIPS, run at once."""
    drive = drive_of(TWO_TRIPS, warm=True)
    drive.run()
    return drive


def _summary(drive: Drive) -> str:
    return json.dumps(summarise(drive, drive.scenario.title, drive.scenario.about, drive.seed, []))


def _everything(drive: Loop) -> dict[str, Any]:
    """What a later tick depends on, or a report shows."""
    car, law = drive.car, drive.board.law
    return {
        "heat": list(car.net.heat),
        "volumes": (car.oil_ul, car.diesel_ul, car.path.inside_ul, car.oil_burnt, car.suction_pa, car.supply_v),
        "raw": list(drive.signals.raw),
        "machine": {name: value for name, value in vars(law.machine).items() if isinstance(value, int)},
        "trust": [(channel.value, channel.reason, channel.bad) for channel in law.inputs.channel],
        "panel": vars(law.panel)["message"],
        "slots": list(drive.board.slots),
        "found": [vars(found) for found in drive.monitors.found],
        "margins": dict(drive.monitors.margins),
        "moves": [vars(move) for move in drive.totals.moves],
        "on_oil": (drive.totals.time_on_oil_s, drive.ideal.on_oil_s),
        "now": drive.now_ms,
    }


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not() -> None:
    runs = [_whole()]
    for seed in (TWO_TRIPS.seed, TWO_TRIPS.seed + 1):
        runs.append(drive_of(TWO_TRIPS, warm=True, seed=seed))
        runs[-1].run()
    bytes_of = [_summary(drive).encode() for drive in runs]
    assert bytes_of[0] == bytes_of[1]
    assert _everything(runs[0]) == _everything(runs[1])
    assert bytes_of[0].replace(b'"seed": 7', b'"seed": 8') != bytes_of[2]


@pytest.mark.parametrize("piece_s", [60.0, 240.0])
def test_a_run_in_pieces_is_the_run_at_once(piece_s: float) -> None:
    whole = _whole()
    pieces = drive_of(TWO_TRIPS, warm=True)
    until_s = 0.0
    while not pieces.finished:
        until_s += piece_s
        pieces.run(until_s)
        assert pieces.now_ms <= until_s * 1000.0
    assert ("ON_OIL", "PARKED") in [(move.before, move.after) for move in whole.totals.moves]
    assert _everything(pieces) == _everything(whole)
    assert _summary(pieces) == _summary(whole)


def test_pieces_of_any_number_of_ticks_change_nothing_while_the_board_is_awake() -> None:
    whole = drive_of(story(READY, road(3.0)), warm=True)
    whole.run()
    pieces = drive_of(story(READY, road(3.0)), warm=True)
    for ticks in (1, 3, 70, 111, 640, 2000):
        pieces.run((pieces.now_ms + ticks * TICK_MS) / 1000.0)
    assert pieces.finished
    assert _everything(pieces) == _everything(whole)


def test_a_fork_goes_on_as_the_original_would_and_leaves_it_alone() -> None:
    drive = on_oil()
    drive.injector.start(Fault("intermittent", "oil_tank", 3.0))
    drive.injector.start(Fault("slow", "suction", 5.0))
    coast(drive, 3.0)
    before = _everything(drive)
    twin = drive.fork()
    assert _everything(twin) == before
    coast(twin, 120.0)
    assert _everything(drive) == before
    coast(drive, 120.0)
    assert _everything(twin) == _everything(drive)
    assert _everything(twin) != before
    assert drive.board.law.machine.state == STATES.index("PURGING"), "the fault that the fork carries on did nothing"


def test_a_fork_taken_while_a_write_is_under_way_is_answered_too() -> None:
    drive = drive_of(story(READY, road(3.0)), warm=True)
    while not drive.board.law.machine.write_wanted:
        drive.run((drive.now_ms + TICK_MS) / 1000.0)
    twin = drive.fork()
    coast(drive, 20.0)
    coast(twin, 20.0)
    assert _everything(twin) == _everything(drive)
    assert twin.car.command_supply_oil


@pytest.mark.parametrize("left_ms", [300, 41_000])
def test_transitions_do_not_depend_on_the_age_of_the_boards_clock(
    left_ms: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    class OldBoard(VirtualBoard):
        """Its tick counter wraps `left_ms` after each boot."""

        def power_up(self, restarted: bool = False) -> None:
            super().power_up(restarted)
            self.tick_ms = (MASK_MS + 1 - left_ms) & MASK_MS

    young = _whole()
    monkeypatch.setattr(loop_module, "VirtualBoard", OldBoard)
    old = drive_of(TWO_TRIPS, warm=True)
    old.run()
    assert old.board.last_tick_ms < MASK_MS // 2, "the counter did not wrap"
    assert old.totals.moves == young.totals.moves
    assert len(young.totals.moves) >= 9
    assert _everything(old) == _everything(young)


def test_key_on_in_the_tick_after_the_power_went_makes_no_move_of_its_own() -> None:
    probe = drive_of(story(idle(0.5), stop(5.0)))
    gone: list[float] = []
    probe.on_tick = lambda t_s: gone.append(t_s) if not probe.board.powered else None
    probe.run()
    key_off_s = next(ms for ms, text in probe.driver.notes if text == "key off") / 1000.0
    for ticks_later in (0, 1, 2):
        minutes = (gone[0] - key_off_s) / 60.0 + ticks_later * TICK_MS / 60_000.0
        drive = drive_of(story(idle(0.5), stop(minutes), idle(0.5)))
        drive.run()
        assert drive.board.boots == 2
        assert [(move.before, move.after) for move in drive.totals.moves] == [
            ("PARKED", "ON_DIESEL"),
            ("ON_DIESEL", "PARKED"),
        ] * 2


def test_a_refusal_is_a_move_that_moves_nothing_and_carries_its_numbers() -> None:
    drive = drive_of(story(idle(0.5), READY, idle(0.2), profile="three_sensors"))
    drive.run()
    refused = [move for move in drive.totals.moves if move.refused]
    assert len(refused) == 1
    assert (refused[0].before, refused[0].forced, refused[0].unit) == ("ON_DIESEL", False, "cdegc")
    assert refused[0].measured == pytest.approx(2000, abs=100)  # the soaked car's 20 degC
    assert refused[0].measured < refused[0].limit == drive.board.values["oil_entry_cdegc"]


def test_a_long_press_takes_the_car_off_oil_and_the_next_one_gives_it_back() -> None:
    drive = drive_of(story(READY, road(3.0), LONG, road(4.0), LONG, road(4.0)), warm=True)
    drive.run()
    after_s = {text: ms / 1000.0 for ms, text in drive.driver.notes}["long press"]
    firsts = [move.after for move in drive.totals.moves]
    assert firsts == ["ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "ON_DIESEL", "FILLING", "ON_OIL", "PARKED"]
    assert next(move.time_s for move in drive.totals.moves[5:] if move.after == "FILLING") > after_s
