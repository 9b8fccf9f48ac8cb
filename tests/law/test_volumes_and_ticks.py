"""Volumes in the lines and wrapping time, at their limits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from changeover import rows
from changeover.interlocks import Interlocks
from changeover.lines import Lines
from changeover.settings import ROWS, defaults
from changeover.ticks import HALF_MS, MASK_MS, Lateness, ticks_add, ticks_diff
from tests.law.rig import HOT_ENGINE, Rig, fitted_out

PERIOD = 2**30
TICK = st.integers(0, MASK_MS)


@given(TICK, st.integers(0, HALF_MS - 1))
def test_difference_undoes_addition(tick: int, delta: int) -> None:
    later = ticks_add(tick, delta)
    assert later == (tick + delta) % PERIOD
    assert ticks_diff(later, tick) == delta
    assert ticks_diff(tick, later) == -delta


def test_ticks_around_the_wrap() -> None:
    assert ticks_diff(0, MASK_MS) == 1
    assert ticks_diff(MASK_MS, 0) == -1
    assert ticks_diff(HALF_MS, 0) == -HALF_MS
    assert ticks_diff(HALF_MS - 1, 0) == HALF_MS - 1
    assert ticks_add(MASK_MS, 1) == 0
    assert ticks_add(MASK_MS - 1, 1) == MASK_MS
    assert MASK_MS + 1 == PERIOD


def story(now_ms: int) -> tuple[list[tuple[str, str, int]], list[int], int]:
    """A whole trip, with what was moved, when, and the credit at its end."""
    rig = Rig(now_ms=now_ms)
    when: list[int] = []
    rig.watch = lambda _: when.append(len(rig.moves))
    rig.reads(**HOT_ENGINE)
    rig.ready()
    rig.start()
    rig.until(lambda: rig.state == "ON_OIL", 20)
    rig.ready(False)
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    return rig.moves, when, rig.law.machine.lines.credit_ul


@pytest.mark.parametrize("before_wrap_ms", [100, 3000, 5700, 6000, 6900, 8000, 12_000, 18_050])
def test_wrap_of_the_tick_counter_changes_nothing(before_wrap_ms: int) -> None:
    """The wrap falls into start, wait, fill, driving on oil and purge."""
    assert story(PERIOD - before_wrap_ms) == story(0)


def test_wrap_fell_into_fill_and_purge() -> None:
    """Guards the test above: these moments do lie in a fill and in a purge."""
    found = {}
    rig = Rig()
    rig.reads(**HOT_ENGINE)
    rig.ready()
    rig.start()
    rig.until(lambda: rig.state == "FILLING", 20)
    found["fill"] = rig.now_ms
    rig.until(lambda: rig.state == "ON_OIL", 20)
    found["oil"] = rig.now_ms
    rig.ready(False)
    rig.until(lambda: rig.state == "PURGING", 20)
    found["purge"] = rig.now_ms
    rig.until(lambda: rig.state == "ON_DIESEL", 30)
    assert any(found["fill"] < wrap < found["oil"] for wrap in (5700, 6000, 6900))
    assert any(found["purge"] < wrap < rig.now_ms for wrap in (12_000, 18_050))


def test_fill_ends_at_half_a_path_volume_and_errs_high() -> None:
    lines = Lines(fitted_out(path_ul=100_000, flow_max_ul_s=28_000))
    lines.begin_fill()
    assert not lines.fill(1)
    assert lines.fill_ul == 28
    assert not lines.fill(999)  # 28 uL and 27 972 are 28 000
    assert lines.fill_ul == 28_000
    for _ in range(7):
        assert not lines.fill(100)
    assert lines.fill_ul == 47_600
    assert lines.fill(100), "50 400 of 50 000"
    assert lines.fill_ul == 50_000, "saturates"
    assert lines.fill(100)


def test_fill_rounds_up_in_every_tick() -> None:
    lines = Lines(fitted_out(flow_max_ul_s=28_001))
    lines.begin_fill()
    lines.fill(1)
    assert lines.fill_ul == 29


def test_pause_in_a_fill_counts_for_as_long_as_the_watchdog_allows() -> None:
    lines = Lines(fitted_out(path_ul=200_000, flow_max_ul_s=28_000))
    lines.begin_fill()
    lines.fill(1000)
    assert lines.fill_ul == 56_000


def test_purge_is_credited_low_and_needs_its_whole_volume() -> None:
    lines = Lines(fitted_out(path_ul=100_000, flow_measured_ul_s=10_001, purge_factor_permille=1500))
    lines.begin_purge()
    assert lines.purge_target_ul == 150_000
    for _ in range(187):
        assert not lines.purge(100)
    assert lines.credit_ul == 187 * 800, "four fifths of what was measured, cut"
    assert lines.purge(1000)
    assert lines.credit_ul == 150_000
    assert lines.purge(0)
    lines.begin_purge()
    assert not lines.purge(0)


def test_targets_and_rates_at_the_ends_of_their_ranges() -> None:
    low = {row[0]: row[3] for row in ROWS}
    high = {row[0]: row[4] for row in ROWS}
    for path, factor, flow in (
        (low["path_ul"], low["purge_factor_permille"], low["flow_measured_ul_s"]),
        (high["path_ul"], high["purge_factor_permille"], high["flow_measured_ul_s"]),
        (high["path_ul"] - 1, high["purge_factor_permille"], low["flow_measured_ul_s"]),
    ):
        lines = Lines(defaults() | {"path_ul": path, "purge_factor_permille": factor, "flow_measured_ul_s": flow})
        assert lines.purge_target_ul * 1000 >= path * factor, "never less than was asked for"
        assert lines.purge_target_ul < 2**30
        lines.begin_purge()
        lines.purge(100)
        assert lines.credit_ul > 0, "some credit in every tick"


def test_lateness_forgets_slowly_and_saturates() -> None:
    lateness = Lateness()
    assert not lateness.step(251)
    for _ in range(10):
        assert not lateness.step(100)
    assert not lateness.step(251)
    assert lateness.step(251)
    for _ in range(50):
        lateness.step(1000)
    assert sum(lateness.step(100) for _ in range(100)) == 30  # from 50 down to 20


def test_announced_pause_is_excused_once() -> None:
    lateness = Lateness()
    lateness.excused = True
    assert not lateness.step(900)
    assert not lateness.step(900)
    assert lateness.step(900)


@pytest.mark.parametrize(
    ("row", "ticks", "forced"),
    [
        (rows.SUPPLY_LOW, [(False, 100), (True, 100), (True, 250)], True),
        (rows.STARVED, [(False, 100), (True, 1000), (True, 1)], False),
        (rows.STARVED, [(False, 100), (True, 1000), (True, 999), (True, 500)], False),
        (rows.STARVED, [(False, 100), (True, 1000), (True, 999), (True, 501)], True),
        (rows.COOLANT_SENSOR, [(True, 100), (False, 1000), (False, 1000), (False, 1)], True),
    ],
)
def test_hold_times_count_from_the_tick_that_first_shows_it(
    row: int, ticks: list[tuple[bool, int]], forced: bool
) -> None:
    interlocks = Interlocks()
    for up, dt_ms in ticks:
        interlocks.step(up << row, up << row, dt_ms)
    assert interlocks.forced >> row & 1 == forced
