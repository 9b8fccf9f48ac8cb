"""The trip log over whole trips of the law: what its lines say, when it writes, what it drops, what it does when flash fails."""

from __future__ import annotations

import ast
import builtins
import os
import struct
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

import journal
import journal_rows
from changeover import messages, reasons, rows
from changeover.sensing import COOLANT, OIL, OPEN, SUCTION, SUPPLY
from changeover.settings import flow_low_ul_s, purge_ul
from changeover.states import STATES
from journal import BLOCKS, WAITING_MOST, Journal
from journal_ring import ROWS_A_BLOCK
from tests.drive.rig import LONG, READY, drive_of, road, stop, story
from tests.law.rig import HOT_ENGINE, OPEN_COUNTS, Rig, fitted_out
from tests.needs import command, require

FIRMWARE = Path(journal.__file__).parent
SOURCES = [FIRMWARE / f"{name}.py" for name in ("journal", "journal_ring", "journal_rows", "journal_totals")]
LONGEST_LINE = 113  # the link's 120, less its checksum


class Logged(Rig):
    """The law on its bench with a trip log beside it, written whenever it is due."""

    def __init__(self, folder: Path, ring: int = BLOCKS, writes: bool = True, **settings: int) -> None:
        self.folder, self.ring, self.writes_log = str(folder), ring, writes
        self.log: Journal | None = None
        self.flushed_in: set[str] = set()
        self.made = 0
        super().__init__(**settings)
        self.log = Journal(self.folder, self.values, ring)

    def tick(self, dt_ms: int = 100) -> None:
        super().tick(dt_ms)
        log, machine = self.log, self.law.machine
        assert log is not None
        log.tick(self.law, self.now_ms)
        if log.due(self.law):
            assert (machine.supply_on, machine.return_on, self.law.run_on, machine.write_wanted) == (False,) * 4
            assert self.state in ("PARKED", "ON_DIESEL")
            if self.writes_log:
                self.flushed_in.add(self.state)
                log.flush()

    @property
    def journal(self) -> Journal:
        assert self.log is not None
        return self.log

    def park(self) -> None:
        """Key and engine off, until all is written."""
        self.key(False)
        self.engine(False)
        self.until(lambda: self.state == "PARKED" and self.journal.waiting == 0, 30)

    def lines(self, kind: str) -> list[list[str]]:
        """Lines of a kind, as a restart finds them; each ends where the link needs it to."""
        found = list(Journal(self.folder, self.values, self.ring).read())
        assert all(len(line) <= LONGEST_LINE and line.isascii() and "\n" not in line for line in found)
        return [line.split(",") for line in found if line.startswith(kind + ",")]


def trip(rig: Logged, on_oil_s: float = 60.0) -> None:
    """Warm, on oil, purged, parked."""
    rig.warm_start()
    rig.run(on_oil_s)
    rig.ready(False)
    rig.until(lambda: rig.state == "ON_DIESEL", 60)
    rig.park()


def test_every_move_of_a_trip_is_kept_with_the_numbers_that_decided(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    trip(rig)
    kept = [(STATES[int(line[6])], STATES[int(line[2])], int(line[7])) for line in rig.lines("M")]
    assert kept == rig.moves
    assert [move[1] for move in kept] == ["ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "ON_DIESEL", "PARKED"]
    by_reason = {int(line[7]): line for line in rig.lines("M")}
    oil, entry, unit = by_reason[reasons.ALLOWED][8:11]
    assert (int(entry), unit) == (rig.values["oil_entry_cdegc"], "cdegc")
    assert int(oil) == pytest.approx(8000, abs=2)
    assert by_reason[reasons.PURGED][8:11] == [str(purge_ul(rig.values)), str(purge_ul(rig.values)), "uL"]
    assert rig.flushed_in == {"PARKED"}


def test_samples_hold_what_the_law_read_and_never_a_number_for_a_broken_sensor(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    rig.warm_start()
    rig.run(25)
    shown = [channel.value for channel in rig.law.inputs.channel]
    rig.counts[OIL] = OPEN_COUNTS
    rig.run(15)
    rig.until(lambda: rig.state == "ON_DIESEL", 60)
    rig.park()
    samples = rig.lines("S")
    sound, broken = [line[7:] for line in samples if line[2] == "3"][-1], samples[-1][7:]
    assert len(samples) >= 4
    for index in (COOLANT, OIL, SUCTION, SUPPLY):
        assert int(sound[index]) == pytest.approx(shown[index], abs=10), "kept to 10 Pa, 10 mV"
    assert sound[9] == "!1", "no second pressure sensor"
    assert broken[OIL] == f"!{OPEN}"
    times = [float(line[1]) for line in samples]
    assert [round(after - before) for before, after in pairwise(times)] == [10] * (len(times) - 1)


def test_warning_is_kept_with_its_numbers_and_so_are_words(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    rig.warm_start()
    rig.journal.note("nobody, was\nhere " + "x" * 100)
    rig.reads(oil_level=0.06)
    rig.run(8)
    assert rig.message == rows.OIL_LOW
    rig.ready(False)
    rig.until(lambda: rig.state == "ON_DIESEL", 60)
    rig.park()
    warnings = [line for line in rig.lines("W") if line[5] == str(rows.OIL_LOW)]
    assert [line[10] for line in warnings] == ["permille"] * len(warnings)
    assert abs(int(warnings[0][8]) - 60) <= 1
    assert warnings[0][9] == str(rig.values["oil_low_block_permille"])
    words = [line[2] for line in rig.lines("T")]
    assert words[0].startswith("start 1; ")
    assert words[1] == "nobody; was?here " + "x" * 7
    assert len(words) == 5, "96 letters at most"


def test_parked_on_oil_is_kept(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    rig.warm_start()
    rig.park()
    assert [line[5] for line in rig.lines("W")] + [rig.lines("M")[-1][5]] == [str(messages.OIL_LEFT)]


def test_long_trip_on_oil_thins_its_samples_and_counts_them(tmp_path: Path) -> None:
    """Three hours in which nothing may be written: no more RAM than at the start, every move kept, the gaps even."""
    rig = Logged(tmp_path)
    rig.warm_start()
    size = len(rig.journal._rows)
    for _ in range(3 * 60):
        rig.run(60)
        assert rig.journal.waiting <= WAITING_MOST
    assert len(rig.journal._rows) == size
    assert rig.journal.dropped > 200
    rig.ready(False)
    rig.until(lambda: rig.state == "ON_DIESEL", 60)
    rig.park()
    samples = [float(line[1]) for line in rig.lines("S")]
    gaps = [after - before for before, after in pairwise(samples)]
    assert len(samples) > 90
    assert max(gaps) < 2.1 * 160, "no hole in three hours"
    assert len(rig.lines("M")) == len(rig.moves)
    assert int(rig.lines("B")[-1][5]) == rig.journal.dropped


def test_events_without_end_are_bounded_and_leave_room_for_moves(tmp_path: Path) -> None:
    rig = Logged(tmp_path, writes=False)
    rig.warm_start()
    produced = rig.journal.waiting
    for number in range(400):
        rig.journal.note(str(number))
    produced += 400
    assert rig.journal.waiting == WAITING_MOST
    assert rig.journal.dropped == produced - WAITING_MOST


def test_writes_on_diesel_once_half_of_its_room_is_full(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    rig.reads(**{**HOT_ENGINE, "oil_c": 20.0, "oil_tank_c": 20.0})
    rig.start()
    rig.flushed_in.clear()
    rig.run(WAITING_MOST // 2 * 10 + 60)
    assert rig.flushed_in == {"ON_DIESEL"}
    assert rig.journal.waiting < WAITING_MOST // 2
    assert len(rig.lines("S")) > WAITING_MOST // 2 - 10


def test_ring_keeps_the_newest_blocks_and_reads_from_any(tmp_path: Path) -> None:
    rig = Logged(tmp_path, ring=4)
    for _ in range(30):
        for _ in range(40):
            rig.journal.note(f"{rig.made}")
            rig.made += 1
        rig.run(1)
        assert len(os.listdir(tmp_path / "journal")) <= 4
    blocks = [int(line[1]) for line in rig.lines("B")]
    assert blocks == list(range(blocks[0], blocks[0] + 4))
    numbers = [int(line[2]) for line in rig.lines("T") if line[2].isdigit()]
    assert numbers == list(range(numbers[0], rig.made)), "none lost, in order"
    assert len(numbers) > 3 * ROWS_A_BLOCK
    some = [line for line in rig.journal.read(blocks[2]) if line.startswith("B,")]
    assert [int(line.split(",")[1]) for line in some] == blocks[2:]
    assert not [line for line in rig.journal.read(blocks[-1] + 1) if line.startswith("B,")]


def test_longest_lines_leave_room_for_a_checksum(tmp_path: Path) -> None:
    most = 0x3FFFFFFF
    rows_of = (
        struct.pack("<BBHIBB10hH", journal_rows.SAMPLE, 5, 0x7FFF, most, 45, 40, *(-4000, 13000) * 5, 0xFFFF),
        struct.pack(
            "<BBHIBBBBiiIIHH", journal_rows.MOVE, 5, 0x7FFF, most, 45, 40, 5, 3, -most, most, most, most, 18000, 65535
        ),
    )
    longest = [journal_rows.line(row, 0) for row in rows_of]
    log = Journal(str(tmp_path), fitted_out())
    log.boots = log.dropped = log.wear = most
    log.totals.take((most,) * 6)
    assert log.flush() == 1
    longest += log.read()
    assert max(map(len, longest)) <= LONGEST_LINE
    assert max(map(len, longest)) > 95, "a tried line is long"
    assert any(line.startswith(f"B,1,1,{most}") for line in longest)


def test_starts_and_totals_go_on_after_a_restart(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    trip(rig)
    before = rig.journal.totals.values()
    for boots in (2, 3, 4):
        rig.boot()
        rig.log = Journal(rig.folder, rig.values)
        assert rig.journal.boots == boots
        assert rig.journal.totals.values() == before
        rig.run(1)
    assert [line[2].split(";")[0] for line in rig.lines("T")] == [f"start {boots}" for boots in (1, 2, 3, 4)]
    assert len(rig.lines("B")) == 1, "one block grows"
    rig.boot()
    rig.log = Journal(rig.folder, {**rig.values, "dwell_diesel_s": 25})
    rig.run(1)
    first, second = rig.lines("B")
    assert first[4] != second[4], "other settings, another block"


def test_damage_anywhere_in_a_block_is_said_and_the_others_stay(tmp_path: Path) -> None:
    rig = Logged(tmp_path, ring=4)
    for number in range(2 * ROWS_A_BLOCK + 60):
        rig.journal.note(str(number))
        if number % 60 == 0:
            rig.run(1)
    rig.run(1)
    rig.journal.totals.trips = 77
    rig.journal.note("last")
    rig.run(1)
    path = tmp_path / "journal" / "000003"
    data = path.read_bytes()
    sound = len(rig.lines("T"))
    tried = 0
    for at in [*range(0, 70), *range(70, len(data), 97)]:
        for damaged in (data[:at], data[:at] + bytes([data[at] ^ 1 << at % 8]) + data[at + 1 :], data + b"x"):
            path.write_bytes(damaged)
            again = Journal(rig.folder, rig.values, 4)
            lines = list(again.read())
            assert [line for line in lines if line.startswith("X")] == ["X,3,damaged"]
            assert 2 * ROWS_A_BLOCK - 1 <= sum(line.startswith("T") for line in lines) < sound
            assert again.totals.trips == 0, "those of the block before"
            tried += 1
    assert tried > 200
    again.note("after")
    assert again.flush() == 2
    assert list(again.read())[-1].endswith("after"), "a new block behind the damaged one"


@pytest.mark.parametrize("error", [OSError(28), OSError(5), MemoryError()], ids=repr)
def test_refused_write_loses_nothing_and_is_tried_again_a_minute_later(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = Logged(tmp_path)
    rig.run(1)
    opened = builtins.open

    def refusing(path: str, mode: str):
        if mode == "wb":
            raise error
        return opened(path, mode)

    with monkeypatch.context() as patched:
        patched.setattr(builtins, "open", refusing)
        rig.journal.note("kept in RAM")
        rig.run(30)
        assert rig.journal.refused == 1
        assert rig.journal.waiting == 1
        rig.run(40)
        assert rig.journal.refused == 2
    rig.run(61)
    assert rig.journal.waiting == 0
    assert rig.lines("T")[-1][2] == "kept in RAM"


def test_bytes_that_do_not_read_back_replace_nothing(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    rig.run(1)
    (tmp_path / "journal" / "unproved").symlink_to("/dev/null")
    rig.journal.note("into nothing")
    assert rig.journal.flush() == 0
    assert [line[2][:5] for line in rig.lines("T")] == ["start"]


def test_strange_files_in_its_folder_do_no_harm(tmp_path: Path) -> None:
    (tmp_path / "journal").mkdir()
    for name in ("notes.txt", "-3", "000007"):
        (tmp_path / "journal" / name).write_bytes(b"none of ours")
    rig = Logged(tmp_path)
    assert (rig.journal.boots, rig.journal.totals.trips) == (1, 0)
    rig.run(1)
    assert [line[1] for line in rig.lines("X")] == ["7"]
    assert [line[1] for line in rig.lines("B")] == ["8"]


def test_totals_count_times_and_credit_volumes(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    trip(rig, on_oil_s=600)
    season = rig.journal.totals
    assert season.oil_s == pytest.approx(600 + 3 + 2, abs=2), "with the fill, and what `warm_start` adds"
    assert season.oil_ml == pytest.approx(season.oil_s * flow_low_ul_s(rig.values) / 1000, rel=0.01)
    assert season.purge_ml == purge_ul(rig.values) // 1000
    assert (season.purges, season.trips) == (1, 1)
    rig.journal.new_season()
    trip(rig, on_oil_s=100)
    assert rig.journal.totals.trips == 1
    assert rig.journal.totals.oil_s < 110
    kept = [line[1:] for line in rig.lines("C")]
    assert kept[-1] == [str(value) for value in rig.journal.totals.values()]
    assert "new season" in [line[2] for line in rig.lines("T")]


def test_totals_saturate(tmp_path: Path) -> None:
    rig = Logged(tmp_path)
    most = 0x3FFFFFFF
    rig.journal.totals.take((most,) * 6)
    trip(rig)
    assert rig.journal.totals.values() == (most,) * 6
    assert rig.lines("C")[-1][1:] == [str(most)] * 6


def test_credit_stays_below_what_truly_flowed_in_the_simulated_car(tmp_path: Path) -> None:
    """Two trips of the default car: the volumes that the log credits are lower bounds, and not empty ones."""
    drive = drive_of(story(READY, road(12), LONG, stop(5, "idle"), road(8), stop(1, "idle")), warm=True)
    log = Journal(str(tmp_path), drive.board.values)
    drawn_ul = purged_ul = running_s = 0.0

    def seen(_: float) -> None:
        nonlocal drawn_ul, purged_ul, running_s
        board, car = drive.board, drive.car
        log.tick(board.law, board.last_tick_ms)
        if board.law.machine.supply_on:
            drawn_ul += car.feed_ul_s / 10
        elif STATES[board.law.machine.state] == "PURGING":
            purged_ul += car.feed_ul_s / 10
        running_s += car.engine_running / 10

    drive.on_tick = seen
    drive.run()
    season = log.totals
    assert season.purges >= 1
    assert season.oil_s > 300
    assert 0.3 * drawn_ul < 1000 * season.oil_ml < drawn_ul
    assert 0.3 * purged_ul < 1000 * season.purge_ml < purged_ul
    assert season.oil_s + season.diesel_s == pytest.approx(running_s, abs=5)


@pytest.mark.parametrize("path", SOURCES, ids=[path.name for path in SOURCES])
def test_source_is_what_the_board_can_run(path: Path, tmp_path: Path) -> None:
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float))
        assert not (isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div))
    compiler = require(command("mpy-cross"), "MicroPython's compiler (mpy-cross)")
    out = tmp_path / "out.mpy"
    subprocess.run([compiler, "-march=armv6m", path, "-o", out], check=True, capture_output=True)
    assert out.stat().st_size > 0
