"""Whole trips: the firmware under the Unix port makes the same moves as the law in this process, on the same tick.

Beside the moves, each tick's state, valves, heater, run-on relay, power hold and lamps, and each record in flash, are compared on the
way (`host_sim.unix_port.board.UnixBoard`); what differs ends the drive.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from changeover.states import STATES
from host_sim.drive import Drive
from host_sim.profile import load_profile
from host_sim.scenario import load_scenario
from host_sim.unix_port.board import Diverged, UnixBoard
from tests.board.rig import SMALL, by_firmware, copy_of_firmware, in_process
from tests.drive.rig import DIESEL, LONG, READY, SHORT, drive_of, idle, road, stop, story

Maker = Callable[[], Drive]
TRIP = [READY, road(0.6), stop(1.0)]


def summer_morning() -> Drive:
    """To work on a summer's day, from the cold start to the purge and the key: the scenario's first trip."""
    scenario = load_scenario("summer_commute")
    last = next(place for place, step in enumerate(scenario.trip) if step.do == "stop")
    return Drive(scenario.model_copy(update={"trip": scenario.trip[: last + 1]}), load_profile(scenario.profile))


def hands() -> Drive:
    """A warm car: a forgotten purge, its end on the next start, short and long presses, run-on to the end of its purge."""
    run_on = {"do": "stop", "minutes": 2.0, "purge": "none"}
    trip = [*TRIP, DIESEL, idle(0.6), READY, idle(0.4), SHORT, idle(0.2), LONG, idle(0.4), LONG, idle(0.8), run_on]
    return drive_of(story(*trip), *SMALL, "run_on_s=60", warm=True)


def faults(*rows: dict[str, object]) -> Maker:
    """A warm car, four short trips, and faults on the way."""
    return lambda: drive_of(story(*(4 * TRIP), faults=rows), *SMALL, warm=True)


BOARD_BREAKS = faults(
    {"kind": "hang", "size": 10.0, "onset_s": 30.0, "duration_s": 5.0},
    {"kind": "stalls", "size": 0.4, "onset_s": 125.0, "duration_s": 6.0},
    {"kind": "resets", "size": 3.0, "onset_s": 220.0, "duration_s": 4.0},
    {"kind": "write_cut", "size": 20.0, "onset_s": 290.0, "duration_s": 60.0},
)
PARTS_BREAK = faults(
    {"kind": "silent", "onset_s": 30.0, "duration_s": 3.0},
    {"kind": "open", "channel": "coolant", "onset_s": 125.0, "duration_s": 5.0},
    {"kind": "brown_out", "onset_s": 225.0, "duration_s": 1.0},
    {"kind": "flash_refuses", "onset_s": 290.0, "duration_s": 60.0},
)


@pytest.mark.parametrize(
    ("make", "states", "before_wrap_ms"),
    [
        (summer_morning, "ON_DIESEL FILLING ON_OIL PURGING ON_DIESEL PARKED", 0),
        (hands, "ON_OIL PARKED PURGING RUN_ON", 30_000),
        (BOARD_BREAKS, "ON_OIL PURGING", 20_000),
        (PARTS_BREAK, "ON_OIL PURGING", 0),
    ],
    ids=["a commute", "hands", "a board that breaks", "parts that break"],
)
def test_the_firmware_makes_the_same_moves_on_the_same_ticks(
    make: Maker, states: str, before_wrap_ms: int, micropython: Path, tmp_path: Path
) -> None:
    here, there = make(), make()
    expected = in_process(here)
    moves = by_firmware(there, micropython, tmp_path, before_wrap_ms)
    assert moves == expected
    assert [name for name in states.split() if name not in {move.after for move in moves}] == []
    assert (there.board.ticks, there.board.boots) == (here.board.ticks, here.board.boots)
    assert there.board.watchdog_resets == here.board.watchdog_resets
    assert there.monitors.found == here.monitors.found
    if make is BOARD_BREAKS:
        assert here.board.watchdog_resets == 1
        assert here.board.boots > 6, "resets and a write that was cut"


def test_a_law_that_thinks_otherwise_by_one_tick_is_found_out(micropython: Path, tmp_path: Path) -> None:
    """Guards the comparison: the planted firmware fills a little less."""
    firmware = copy_of_firmware(
        tmp_path / "firmware", {"changeover/lines.py": ('values["path_ul"] // 2', 'values["path_ul"] // 2 - 3000')}
    )
    drive = drive_of(story(*TRIP), *SMALL, warm=True)
    board = UnixBoard.convert(drive.board)
    board.plug(micropython, tmp_path, firmware=firmware)
    try:
        with pytest.raises(Diverged, match="FILLING: state is 3 by the firmware, 2 here"):
            drive.run()
    finally:
        board.unplug()
    assert STATES[2:4] == ("FILLING", "ON_OIL")
