"""The project's own scenarios from the first key to the last: what each is about did happen, and nothing else did."""

from __future__ import annotations

from functools import lru_cache

import pytest

from changeover import messages, reasons, rows
from host_sim.drive import Drive
from host_sim.loop import Move
from host_sim.profile import load_profile
from host_sim.recorder import Bar, Recorder
from host_sim.scenario import SCENARIOS, load_scenario, names_in
from tests.drive.rig import READY, drive_of, road, story

USE = 0.9  # of the ideal's time on oil


@lru_cache(maxsize=4)
def _run(name: str) -> tuple[Drive, list[Bar], dict[str, float]]:
    """The drive, run to its end; what stood on the display when; hose and filter when oil was first let in."""
    scenario = load_scenario(name)
    drive = Drive(scenario, load_profile(scenario.profile))
    recorder = Recorder(drive)
    seen: dict[str, float] = {}

    def watch(t_s: float) -> None:
        recorder.tick(t_s)
        if drive.car.command_supply_oil and not seen:
            seen.update(hose_c=drive.car.hose_c, filter_c=drive.car.filter_c)

    drive.on_tick = watch
    drive.run()
    return drive, recorder.close()["messages"], seen


def _noted(drive: Drive, text: str) -> list[float]:
    """Times in s at which the driver did this."""
    return [ms / 1000.0 for ms, what in drive.driver.notes if what == text]


def _trips(drive: Drive) -> list[list[Move]]:
    """The moves of each trip, key on to key off."""
    keys = _noted(drive, "key on")
    return [
        [move for move in drive.totals.moves if start <= move.time_s < end and not move.refused]
        for start, end in zip(keys, [*keys[1:], float("inf")], strict=True)
    ]


def _shown(bars: list[Bar], t_s: float) -> str:
    """What stood on the display at that time."""
    return next((name for start, end, name, _, _ in bars if start <= t_s < end), "dark")


@pytest.mark.parametrize("name", names_in(SCENARIOS))
def test_each_story_closes_its_balances_and_meets_no_hazard_that_nobody_warned_of(name: str) -> None:
    drive, bars, _ = _run(name)
    assert drive.finished
    assert drive.car.volume_balance_error < 1e-9
    assert drive.car.energy_balance_error < 1e-6
    assert drive.ideal.on_oil_s > 600.0
    assert drive.totals.time_on_oil_s >= USE * drive.ideal.on_oil_s
    assert drive.totals.false_forced_exits == 0
    assert drive.totals.trips == len(_noted(drive, "key on")) == len(_trips(drive))
    assert drive.board.boots == drive.totals.trips
    assert drive.car.oil_burnt > 500.0
    assert _shown(bars, drive.now_ms / 1000.0 - 60.0) == "dark", "the board never let its power go"
    untold = [(found.id, found.text, found.time_s) for found in drive.monitors.found if not found.told]
    assert untold == []


def test_winter_commute_is_on_oil_in_each_trip_and_purged_before_each_stop() -> None:
    drive, bars, _ = _run("winter_commute")
    trips = _trips(drive)
    assert len(trips) == 3
    for trip in trips:
        assert ("FILLING", "ON_OIL") in [(move.before, move.after) for move in trip]
        *_, last, parked = trip
        assert (last.before, last.after, last.reason) == ("PURGING", "ON_DIESEL", reasons.PURGED)
        assert last.measured >= last.limit > 0
        assert (parked.after, parked.reason) == ("PARKED", reasons.KEY_OFF)
    assert len(_noted(drive, "was told that the purge is complete")) == 3
    for t_s in _noted(drive, "key off"):
        assert _shown(bars, t_s + 1.0) == messages.ENGLISH[messages.PARKED_CLEAN][0]
    assert drive.monitors.found == []
    assert not drive.board.remembers_oil()


def test_forgotten_purge_is_told_at_key_off_and_made_good_at_the_next_start() -> None:
    drive, bars, _ = _run("forgotten_purge")
    forgotten_s, end_s = _noted(drive, "key off")
    assert _shown(bars, forgotten_s + 1.0) == messages.ENGLISH[messages.OIL_LEFT][0]
    stop = [found for found in drive.monitors.found if found.id == "H2"]
    assert [found.told for found in stop] == [True]
    assert forgotten_s < stop[0].time_s < end_s
    first, second = _trips(drive)
    assert (first[-2].after, first[-1].before, first[-1].after) == ("ON_OIL", "ON_OIL", "PARKED")
    assert (second[0].before, second[0].after) == ("PARKED", "PURGING")
    assert (second[1].after, second[1].reason) == ("ON_DIESEL", reasons.PURGED)
    assert not drive.board.remembers_oil()


def test_summer_commute_asks_how_long_it_may_stand_and_starts_again_on_a_warm_pump() -> None:
    drive, bars, _ = _run("summer_commute")
    asked_s = _noted(drive, "short press")[0]
    assert _shown(bars, asked_s + 1.0) == messages.ENGLISH[messages.STANDING][0]
    trips = _trips(drive)
    assert len(trips) == 4
    assert trips[1][-1].before == "ON_OIL"
    assert trips[2][0].after == "PURGING"
    assert "H2" not in {found.id for found in drive.monitors.found}


def test_mountain_drive_lets_warm_oil_in_through_a_cold_line_and_starves_nothing() -> None:
    drive, _, seen = _run("mountain_cold_line")
    assert seen["filter_c"] > 60.0
    assert seen["hose_c"] < 45.0
    forced = {move.reason for move in drive.totals.moves if move.forced}
    assert forced <= {rows.OIL_COLD, rows.COOLANT_COLD, rows.RESTRICTED, rows.STARVED}
    assert drive.monitors.margins["H4"] < 1.0


def test_the_cold_front_through_a_worn_filter_starves_no_pump() -> None:
    """At -10 degC and 105 km/h the oil's front in the cold feed line takes 10 kPa beside what the filter's sensor sees."""
    drive = drive_of(story(READY, road(9.0, 105.0), ambient_c=-10.0, filter_litres=1350.0))
    drive.run()
    assert drive.totals.time_on_oil_s > 0.0
    assert drive.monitors.found == []
