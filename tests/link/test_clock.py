"""Date and time of day over the link, and the season's totals: what the trip log gets of the one and gives of the other."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from host_sim.link_client import LinkClient, LinkRefused, stamped
from journal import Journal
from link_clock import date_and_time
from link_lines import Refused
from tests.journal.test_journal import Logged, trip
from tests.link.desk import Desk, on_oil, parked
from tests.link.siege import decided

FIELDS = st.tuples(
    st.sampled_from([1970, 2000, 2024, 2025, 2026, 2028, 2099, 2100]) | st.integers(2024, 2100),
    st.integers(0, 13), st.integers(0, 32), st.integers(0, 25), st.integers(0, 61), st.integers(0, 61),
)  # fmt: skip


@given(FIELDS)
@example((2028, 2, 29, 0, 0, 0))
@example((2027, 2, 29, 0, 0, 0))
@example((2096, 2, 29, 23, 59, 59))
@example((2025, 12, 31, 24, 0, 0))
def test_moments_are_those_of_the_calendar(fields: tuple[int, int, int, int, int, int]) -> None:
    """Against Python's calendar, the proleptic Gregorian one; years as the page says."""
    try:
        datetime(*fields)
        wanted = 2025 <= fields[0] <= 2099
    except ValueError:
        wanted = False
    year, month, day, hour, minute, second = fields
    date, time = f"{year:04d}-{month:02d}-{day:02d}", f"{hour:02d}:{minute:02d}:{second:02d}"
    try:
        taken = date_and_time(date, time) == f"{date} {time}"
    except Refused:
        taken = False
    assert taken == wanted


@pytest.mark.parametrize(
    "words",
    ["2026-11-25", "2026-11-25T06:40:00", "26-11-25 06:40:00", "2026-11-25 6:40:00", "2026-11-25 06:40", "2026-1a-25 06:40:00",
     "2026-11-25 06:-1:00", "2026--1-25 06:40:00", "2026-11-25 06:40:00 7"],
)  # fmt: skip
def test_nonsense_is_refused_and_leaves_no_row(words: str) -> None:
    desk = parked()
    assert desk.say(stamped(f"clock {words}") + "\n")[-1].startswith("error clock: ")
    assert desk.journal.clocks == []


class Drives(Desk):
    """A desk whose trip log is the board's own."""

    def __init__(self, folder: Path) -> None:
        rig = Logged(folder)
        super().__init__(rig, str(folder), rig.journal)  # pyright: ignore[reportArgumentType]
        self.logged = rig


def test_row_ties_the_moment_to_the_boards_own_seconds_once_a_minute(tmp_path: Path) -> None:
    desk = Drives(tmp_path)
    began_ms = desk.rig.now_ms
    desk.run(12.3)
    host = LinkClient(desk, clock=desk.clock)
    zone = timezone(timedelta(hours=1))
    now = datetime(2026, 11, 25, 0, 30, 7, tzinfo=zone)
    host.set_clock(now)
    set_s = (desk.rig.now_ms - began_ms) / 1000
    with pytest.raises(LinkRefused, match="it was set less than a minute ago"):
        host.set_clock(now)
    desk.run(61)
    host.set_clock(now + timedelta(seconds=61))
    desk.run(5)
    rows = [row for row in desk.logged.lines("T") if row[2].startswith("time ")]
    assert [row[2] for row in rows] == ["time 2026-11-24 23:30:07", "time 2026-11-24 23:31:08"], "UTC, whole in one row"
    assert float(rows[0][1]) == pytest.approx(set_s, abs=0.15)
    with pytest.raises(ValueError, match="without a time zone"):
        host.set_clock(datetime(2026, 11, 25))


def test_nothing_but_the_log_hears_of_it_on_oil_either() -> None:
    desk, twin = on_oil(), on_oil()
    desk.say(stamped("clock 2026-11-25 06:40:00") + "\n")
    twin.say("echo x\n")
    assert desk.journal.clocks == ["2026-11-25 06:40:00"]
    for _ in range(100):
        desk.tick()
        twin.tick()
        assert decided(desk.law) == decided(twin.law)
    assert decided(desk.law)[0] == 3


def test_credited_tells_what_the_log_keeps(tmp_path: Path) -> None:
    desk = Drives(tmp_path)
    trip(desk.logged, on_oil_s=120.0)
    host = LinkClient(desk, clock=desk.clock)
    totals = host.credited()
    kept = desk.logged.lines("C")[-1][1:]
    assert [str(value) for value in totals.values()] == kept
    assert list(totals) == ["oil_s", "diesel_s", "oil_ml", "purge_ml", "purges", "trips"]
    assert (totals["purges"], totals["trips"]) == (1, 1)
    assert 120 < totals["oil_s"] < 130
    assert Journal(str(tmp_path), desk.values).totals.values() == tuple(totals.values())


def test_start_of_the_version_counts_starts_and_a_flashed_board_tells_its_hashes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = Drives(tmp_path)
    assert "start 1" in desk.say("version\n")
    desk.run(5)
    desk.logged.log = Journal(str(tmp_path), desk.values)
    again = Desk(desk.logged, str(tmp_path), desk.logged.journal)  # pyright: ignore[reportArgumentType]
    assert "start 2" in again.say("version\n")
    (tmp_path / "manifest").write_text("sources 0123456789abcdef\nlaw fedcba9876543210\ncompiler x 1\n")
    monkeypatch.syspath_prepend(tmp_path)
    assert "law fedcba9876543210" in again.say("version\n")
