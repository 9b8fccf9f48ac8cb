"""The trip log out of a board: every row arrives once, in the trip that it belongs to, whatever happens to the cable meanwhile."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest

import store
from changeover.memory import Record
from changeover.states import STATES
from host_sim.errors import InputError
from journal import Journal
from journal_ring import ROWS_A_BLOCK
from secondtank import monitor_journal
from secondtank.monitor_journal import run_journal
from secondtank.monitor_trips import COLUMNS, write_trips
from tests.journal.test_journal import Logged, trip
from tests.link.desk import Desk
from tests.monitor.rig import Wire, board, command, end

Row = dict[str, str]
CLOCK = datetime(2026, 11, 25, 6, 40, tzinfo=UTC)
CLOCK_S = 30.0  # of the second start
TRIPS = 4
KINDS = {"sample": "S", "move": "M", "warning": "W", "words": "T"}


class Car:
    """A board that has driven four trips in two starts, was told the time in the second, and is parked."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(exist_ok=True)
        rig = self.rig = Logged(folder)
        for number in range(TRIPS):
            if number == 1:
                rig.boot()
                rig.log = Journal(rig.folder, rig.values)
                rig.run(CLOCK_S)
                assert rig.journal.set_clock(f"{CLOCK:%Y-%m-%d %H:%M:%S}")
            trip(rig, on_oil_s=400.0)
            rig.run(5)
        for number in range(600):
            rig.journal.note(f"words {number}")
            if number % 60 == 0:
                rig.run(1)
        rig.run(5)
        self.desk = Desk(rig, str(folder), rig.journal)  # pyright: ignore[reportArgumentType]

    def kept(self) -> list[list[str]]:
        """All its rows, as it keeps them."""
        return [line.split(",") for line in self.rig.journal.read() if line[0] in "SMWT"]


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Car:
    return Car(tmp_path_factory.mktemp("flash"))


def files(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in sorted(folder.glob("*.csv"))}


def rows(text: str) -> list[Row]:
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def read(car: Car, into: Path, *broken: int) -> list[Wire]:
    """Read it; each port in turn breaks after so many bytes, the last one holds."""
    wires = [Wire(car.desk, after) for after in (*broken, None)]
    coming = iter(wires)
    assert run_journal("desk", into, False, True, lambda _: next(coming)) == 0
    return wires


def test_every_row_arrives_once_in_its_trip(car: Car, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (wire,) = read(car, tmp_path)
    assert wire.changes() == []
    told = json.loads(capsys.readouterr().out)
    kept = car.kept()
    assert (told["rows"], told["trips"], told["blocks"]) == (len(kept), TRIPS, car.rig.journal._newest)
    assert told["blocks"] > 2
    assert told["rows_dropped"] == car.rig.journal.dropped == 0
    trips = {name: rows(text) for name, text in files(tmp_path).items() if name != "parked.csv"}
    assert list(trips) == ["start_00001_trip_00000.csv"] + [
        f"start_00002_trip_0000{number}.csv" for number in (1, 2, 3)
    ]
    for trip_rows in trips.values():
        moves = [row for row in trip_rows if row["kind"] == "move"]
        assert [row["state"] for row in moves] == ["ON_DIESEL", "FILLING", "ON_OIL", "PURGING", "ON_DIESEL", "PARKED"]
        assert moves[-1] == trip_rows[-1], "the key-off is a trip's last row"
        assert all(row["state"] not in ("PARKED", "") for row in trip_rows if row["kind"] == "sample")
    everything = [row for name in files(tmp_path) for row in rows((tmp_path / name).read_text())]
    assert sorted((row["start"], row["s"], KINDS[row["kind"]]) for row in everything) == sorted(
        (start, row[1], row[0]) for start, row in zip(starts(kept), kept, strict=True)
    )
    assert tuple(everything[0]) == COLUMNS


def starts(kept: list[list[str]]) -> list[str]:
    """The start of each row, by the board's own words."""
    found, now = [], ""
    for row in kept:
        if row[0] == "T" and row[2].startswith("start "):
            now = row[2].split()[1].rstrip(";")
        found.append(now)
    return found


def test_cells_are_what_the_board_kept_in_people_s_units(car: Car, tmp_path: Path) -> None:
    read(car, tmp_path)
    row = rows(files(tmp_path)["start_00002_trip_00001.csv"])
    samples = [each for each in row if each["kind"] == "sample"]
    theirs = [
        each
        for each, start in zip(car.kept(), starts(car.kept()), strict=True)
        if each[0] == "S" and start == "2" and each[3] == "1"
    ]
    assert len(samples) == len(theirs) > 40
    for ours, kept in zip(samples, theirs, strict=True):
        assert ours["state"] == STATES[int(kept[2])]
        bits = int(kept[4], 16)
        assert [
            int(ours[name]) for name in ("in_key", "in_engine", "in_ready", "out_supply", "out_return", "out_power")
        ] == [bits >> place & 1 for place in (0, 1, 2, 10, 11, 14)]
        assert [float(ours[name]) for name in ("coolant_c", "oil_c", "suction_kpa", "oil_level_pct", "supply_v")] == [
            int(kept[7]) / 100, int(kept[8]) / 100, int(kept[9]) / 1000, int(kept[12]) / 10, int(kept[14]) / 1000,
        ]  # fmt: skip
        assert kept[16] == "!1"
        assert (ours["ambient_kpa"], ours["not_trusted"]) == ("", "")
    (allowed,) = [each for each in row if each["state"] == "FILLING" and each["kind"] == "move"]
    assert allowed["reason"] == "everything allows oil and the driver wants it"
    assert (allowed["limit"], allowed["unit"], allowed["from"]) == (
        str(car.rig.values["oil_entry_cdegc"]),
        "cdegc",
        "ON_DIESEL",
    )


def test_moments_of_a_start_that_was_told_the_time_are_true_and_of_another_unknown(car: Car, tmp_path: Path) -> None:
    read(car, tmp_path)
    texts = files(tmp_path)
    assert {row["utc"] for row in rows(texts["start_00001_trip_00000.csv"])} == {""}
    for row in rows(texts["start_00002_trip_00003.csv"]):
        told = datetime.strptime(row["utc"], "%Y-%m-%d %H:%M:%S").replace(tzinfo=UTC)
        assert abs(told - CLOCK - timedelta(seconds=float(row["s"]) - CLOCK_S)) <= timedelta(seconds=1.1)


def test_broken_off_anywhere_it_goes_on_with_the_block_under_way(
    car: Car, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(monitor_journal, "_AGAIN_S", 0.0)
    read(car, tmp_path / "whole")
    for broken in [(5_000,), (16_000, 14_000), (19_000, 6_000, 32_000, 6_000), (30_000,)]:
        into = tmp_path / str(broken[0] + len(broken))
        wires = [Wire(car.desk, after) for after in (*broken, None)]
        coming, there = iter(wires), []

        def opened(_: str) -> Wire:
            there.append(max([0, *(int(path.stem) for path in (into / "blocks").glob("*.txt"))]))  # noqa: B023
            return next(coming)  # noqa: B023

        assert run_journal("desk", into, False, True, opened) == 0
        assert [f"journal {number}" for number in there] == [
            line for wire in wires for line in wire.sent if line.startswith("journal")
        ]
        assert there == sorted(there)
        assert there[-1] > 0 or broken == (5_000,)
        assert files(into) == files(tmp_path / "whole")
    assert list(tmp_path.rglob("*.part")) == []


def test_a_board_that_answers_no_more_is_told_and_the_next_run_goes_on(
    car: Car, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(monitor_journal, "_AGAIN_S", 0.0)
    with pytest.raises(InputError, match=r"blocks up to [1-9] are kept, run this again to go on"):
        read(car, tmp_path, 25_000, 5_000, 5_000)
    read(car, tmp_path)
    assert sum(len(rows(text)) for text in files(tmp_path).values()) == len(car.kept())


def test_a_later_run_reads_only_what_is_new_and_keeps_what_the_board_gave_up(tmp_path: Path) -> None:
    car = Car(tmp_path / "flash")
    read(car, tmp_path / "out")
    newest = car.rig.journal._newest
    before = car.kept()
    trip(car.rig, on_oil_s=100.0)
    car.rig.run(5)
    (car.folder / "journal" / "000001").unlink()  # as the ring gives up its oldest
    car.rig.journal._oldest = 2
    (wire,) = read(car, tmp_path / "out")
    assert [line for line in wire.sent if line.startswith("journal")] == [f"journal {newest}"]
    texts = files(tmp_path / "out")
    assert len(texts) == TRIPS + 2
    assert sum(len(rows(text)) for text in texts.values()) == len(before) + len(
        [row for row in car.kept() if row not in before]
    )


def test_blocks_that_the_board_gave_up_before_they_were_read_are_told(
    car: Car, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    read(car, tmp_path)
    for path in sorted((tmp_path / "blocks").glob("*.txt"))[1:]:
        path.unlink()
    journal = car.rig.journal
    try:
        journal._oldest = 3
        wire = Wire(car.desk)
        assert run_journal("desk", tmp_path, False, False, lambda _: wire) == 0
    finally:
        journal._oldest = 1
    out = capsys.readouterr().out
    assert "the board had given up blocks 2 to 2 before they were read" in out
    assert "dropped on the board, for want of room: 0 rows" in out


def test_another_boards_log_does_not_go_into_the_same_folder(car: Car, tmp_path: Path) -> None:
    read(car, tmp_path / "out")
    for path in sorted((tmp_path / "out" / "blocks").glob("*.txt"))[1:]:
        path.unlink()
    (tmp_path / "other").mkdir()
    other = Logged(tmp_path / "other")
    other.journal.note("another board")
    other.run(5)
    desk = Desk(other, str(tmp_path / "other"), other.journal)  # pyright: ignore[reportArgumentType]
    with pytest.raises(InputError, match="another block of that number"):
        run_journal("desk", tmp_path / "out", False, True, lambda _: Wire(desk))
    read(car, tmp_path / "longer")
    with pytest.raises(InputError, match="blocks up to 7, of the board's 1"):
        run_journal("desk", tmp_path / "longer", False, True, lambda _: Wire(desk))


def test_damaged_block_and_damaged_line_are_told_and_the_rest_arrives(
    car: Car, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(monitor_journal, "_AGAIN_S", 0.0)
    flash = tmp_path / "flash"
    shutil.copytree(car.folder, flash)
    path = flash / "journal" / "000002"
    path.write_bytes(path.read_bytes()[:-1])
    rig = Logged(flash)
    desk = Desk(rig, str(flash), rig.journal)  # pyright: ignore[reportArgumentType]

    class Noisy(Wire):
        """One letter of the third block's head is another, once."""

        done = False

        def read(self, size: int, /) -> bytes:
            data = super().read(size)
            if b"B,3," in data and not Noisy.done:
                Noisy.done = True
                return data.replace(b"B,3,", b"B,8,")
            return data

    assert run_journal("desk", tmp_path / "out", False, True, lambda _: Noisy(desk)) == 0
    told = json.loads(capsys.readouterr().out)
    assert Noisy.done
    assert told["damaged"] == 1
    assert told["rows"] == len([line for line in rig.journal.read() if line[0] in "SMWT"])
    assert told["rows"] >= len(car.kept()) - ROWS_A_BLOCK


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        (lambda line: line[:-1] + ("0" if line[-1] != "0" else "1"), "wrong checksum"),
        (lambda line: "Q,1,2 *AC25", "wrong checksum"),
    ],
)
def test_file_that_somebody_changed_is_refused(
    car: Car, tmp_path: Path, damage: Callable[[str], str], says: str
) -> None:
    read(car, tmp_path)
    path = tmp_path / "blocks" / "000001.txt"
    lines = path.read_text().splitlines()
    path.write_text("\n".join([*lines[:5], damage(lines[5]), *lines[6:]]) + "\n")
    with pytest.raises(InputError, match=says):
        read(car, tmp_path)


def test_a_row_of_another_form_is_refused_with_its_block(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"block 7: .*rows of the form that this version knows"):
        write_trips(tmp_path, [(7, ["B,7,1,1,0,0,1", "S,1.0,3"])])


def test_a_new_season_numbers_its_trips_anew_in_files_of_their_own(tmp_path: Path) -> None:
    (tmp_path / "flash").mkdir()
    rig = Logged(tmp_path / "flash")
    for _ in range(2):
        trip(rig, on_oil_s=20.0)
        rig.journal.new_season()
        rig.run(5)
    desk = Desk(rig, str(tmp_path), rig.journal)  # pyright: ignore[reportArgumentType]
    assert run_journal("desk", tmp_path / "out", False, True, lambda _: Wire(desk)) == 0
    assert sorted(files(tmp_path / "out")) == [
        "parked.csv",
        "start_00001_trip_00000.csv",
        "start_00001_trip_00000_2.csv",
    ]


def test_restart_in_a_trip_stays_in_that_trip(tmp_path: Path) -> None:
    """Rows of two starts with one number, and the words of the second start between them."""
    moves = ["M,1.0,1,5,4003,23,0,33,0,0,flag,0,0,0", "S,11.0,3,5,4c03,33,34" + ",1" * 10]
    again = ["T,0.0,start 9; 0.1.0", "S,8.0,1,5,4003,12,33" + ",1" * 10, "M,9.0,0,5,0,38,1,32,0,0,flag,0,0,0"]
    block = ["B,1,6,9,0,0,1", "C,0,0,0,0,0,0", "T,0.0,start 8; 0.1.0", *moves, *again]
    assert write_trips(tmp_path, [(1, block)]) == {"rows": 6, "trips": 1, "parked": 0, "damaged": 0}
    found = rows(files(tmp_path)["start_00008_trip_00005.csv"])
    assert [(row["start"], row["kind"]) for row in found] == [
        ("8", "words"), ("8", "move"), ("8", "sample"), ("9", "words"), ("9", "sample"), ("9", "move"),
    ]  # fmt: skip


def test_the_command_reads_a_boards_flash_under_micropython(car: Car, micropython: Path, tmp_path: Path) -> None:
    """At twenty times the pace of a board: its 2300 bytes a second are a fourteenth of what this takes."""
    shutil.copytree(car.folder, tmp_path / "flash")
    record = Record()
    record.oil_in_lines = False
    for _ in range(2):
        data = record.encode()
        assert store.write_slot(str(tmp_path / "flash"), record.slot(), data)
    with board(tmp_path, "--speed", "20"):
        process = command("monitor", "--port", tmp_path / "port", "--journal", tmp_path / "out", "--set-clock")
        process.wait(timeout=60)
        out, error = end(process)
    assert process.returncode == 0, error
    assert f"{TRIPS} trips" in out
    assert "\x1b" not in out
    blocks = [int(line.split()[1].rstrip(":")) for line in out.splitlines() if line.startswith("block")]
    assert all(before < after for before, after in pairwise(blocks))
    ours = sum(len(rows(text)) for text in files(tmp_path / "out").values())
    assert ours >= len(car.kept())
