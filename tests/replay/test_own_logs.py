"""A board's log holds all that the law was given: the same law gives every output again, or the first difference is shown."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from changeover import messages
from changeover.ticks import MASK_MS
from host_sim.board_log import COLUMNS
from host_sim.errors import InputError
from tests.replay.conftest import replayed

TICK_AT, RAW_OIL, MESSAGE = (COLUMNS.index(name) for name in ("tick_ms", "raw_oil", "message"))


def parts(path: Path) -> tuple[list[str], list[list[str]]]:
    """The head's lines, and the cells of each row."""
    lines = path.read_text(encoding="utf-8").splitlines()
    begin = next(number for number, line in enumerate(lines) if not line.startswith("#")) + 1
    return lines[:begin], [line.split(",") for line in lines[begin:]]


def put(path: Path, head: list[str], rows: list[list[str]]) -> Path:
    path.write_text("\n".join([*head, *map(",".join, rows)]) + "\n", encoding="utf-8")
    return path


def test_every_tick_of_a_trip_with_faults_is_reproduced_bit_for_bit(trip: Path) -> None:
    result = replayed(trip)
    head, rows = parts(trip)
    starts = {row[1] for row in rows}
    assert len(starts) >= 3
    assert result["compared"] == {
        "exact": len(rows), "exact_same": len(rows), "joined": 0, "joined_same": 0, "first": None, "first_joined": None,
    }  # fmt: skip
    assert (result["counters"]["starts"], result["counters"]["gaps"], result["repairs"]) == (len(starts), 0, {})
    assert result["diverged"] is None
    assert {fault["reason"] for fault in result["sensor_faults"]} == {"no answer"}  # the silent part of the story
    assert {"ON_OIL", "PURGING", "PARKED"} <= {move["to"] for move in result["moves"]}
    assert any("restarted by the watchdog" in line for line in head)


def test_counters_are_those_of_the_columns(trip: Path) -> None:
    result = replayed(trip)["counters"]
    head, _ = parts(trip)
    with trip.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file.readlines()[len(head) - 1 :]))
    on_oil = [row for row in rows if row["out_supply"] == "1"]
    assert len(on_oil) > 1000
    assert result["logged_on_oil_ms"] == 100 * len(on_oil)
    assert result["on_oil_ms"] == 100 * sum(row["state"] in "23" for row in on_oil)
    waiting = [
        row for row in rows if row["state"] in "145" and row["blocked"] == row["forced"] == row["out_supply"] == "0"
    ]
    assert result["allowed_not_on_oil_ms"] == 100 * len(waiting) > 0


def test_one_changed_output_is_found_with_its_line_tick_and_field(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    at = next(number for number, row in enumerate(rows) if row[MESSAGE] == str(messages.ON_OIL)) + 50
    rows[at][MESSAGE] = str(messages.FILLING)
    first = replayed(put(tmp_path / "log.csv", head, rows))["compared"]["first"]
    assert first["line"] == len(head) + at + 1
    assert (first["tick_ms"], first["field"]) == (int(rows[at][TICK_AT]), "message")
    assert (first["logged"], first["replayed"]) == ("CHANGING OVER", "ON OIL")


def test_one_changed_reading_that_matters_is_found(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    at = next(number for number, row in enumerate(rows) if row[MESSAGE] == str(messages.ON_OIL)) + 50
    for row in rows[at : at + 3]:  # three samples end trust
        row[RAW_OIL] = "65500"
    result = replayed(put(tmp_path / "log.csv", head, rows))
    assert result["compared"]["first"]["line"] == len(head) + at + 3
    assert result["compared"]["first"]["replayed"] != result["compared"]["first"]["logged"]
    assert result["diverged"]["line"] == len(head) + at + 3
    found = [(fault["line"], fault["sensor"], fault["reason"]) for fault in result["sensor_faults"]]
    assert (len(head) + at + 3, "oil", "open") in found
    after = [move for move in result["moves"] if move["line"] > result["diverged"]["line"]]
    assert {move["side"] for move in after} <= {"comparable", "not comparable"}


def test_a_gap_is_counted_apart_and_is_no_fault_of_a_sensor(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    faults = len(replayed(trip)["sensor_faults"])
    at = next(number for number, row in enumerate(rows) if row[MESSAGE] == str(messages.ON_OIL)) + 50
    gap = int(rows[at + 399][0]) - int(rows[at - 1][0])
    result = replayed(put(tmp_path / "log.csv", head, rows[:at] + rows[at + 399 :]))
    counters, compared = result["counters"], result["compared"]
    assert (counters["gaps"], counters["gap_ms"], counters["joins"]) == (1, gap, 1)
    assert compared["first"] is None
    assert compared["exact"] + compared["joined"] == len(rows) - 399
    # read off the first row behind the gap; for how long the message stood is not in it, so the buzzer sounds its 5 s anew
    assert compared["first_joined"]["field"] == "out_buzzer"
    assert compared["joined"] - compared["joined_same"] <= 50 < compared["joined"]
    assert len(result["sensor_faults"]) == faults
    assert result["gaps"] == [(int(rows[at - 1][0]), int(rows[at + 399][0]))]


def test_a_clock_that_wraps_in_the_middle_is_neither_gap_nor_start(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    first = [row for row in rows if row[1] == rows[0][1]]
    wrapped = [
        [*row[:TICK_AT], str((int(row[TICK_AT]) + MASK_MS - 300_000) & MASK_MS), *row[TICK_AT + 1 :]] for row in first
    ]
    assert int(wrapped[0][TICK_AT]) > int(wrapped[-1][TICK_AT])
    result = replayed(put(tmp_path / "log.csv", head, wrapped))
    assert (result["counters"]["gaps"], result["counters"]["joins"], result["counters"]["starts"]) == (0, 1, 0)
    assert result["compared"]["joined_same"] >= 0.999 * result["compared"]["joined"] > 5000


def test_other_ids_are_understood_by_their_texts(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    head = [line.replace("# message 33=", "# message 77=").replace("# reason 34=", "# reason 79=") for line in head]
    for row in rows:
        row[MESSAGE] = {"33": "77"}.get(row[MESSAGE], row[MESSAGE])
        row[COLUMNS.index("reason")] = {"34": "79"}.get(row[COLUMNS.index("reason")], row[COLUMNS.index("reason")])
    assert any(row[MESSAGE] == "77" for row in rows)
    compared = replayed(put(tmp_path / "log.csv", head, rows))["compared"]
    assert compared["exact_same"] == compared["exact"] == len(rows)


def test_an_id_that_the_head_does_not_name_is_refused_with_its_line(trip: Path, tmp_path: Path) -> None:
    head, rows = parts(trip)
    rows[700][MESSAGE] = "99"
    with pytest.raises(
        InputError, match=rf"line {len(head) + 701}, id of a message: found 99; wanted one that the log's head"
    ):
        replayed(put(tmp_path / "log.csv", head, rows))


def test_other_settings_are_replayed_open_loop(trip: Path) -> None:
    result = replayed(trip, oil_entry_cdegc=7600)
    assert not result["own"]
    assert result["compared"]["exact_same"] < result["compared"]["exact"]
    assert result["diverged"]["why"] == "the law sends a valve elsewhere than the log says"
    later = [move for move in result["moves"] if (move["from"], move["to"]) == ("ON_DIESEL", "FILLING")]
    assert later[0]["t_ms"] > result["diverged"]["time_s"] * 1000
    assert later[0]["side"] == "not comparable"
    # a contact that contradicts the law's own command is the log's, not a valve that did not follow
    assert not any("not followed" in move["text"] for move in result["moves"])


REPAIRS = {
    "repeated rows left out": lambda lines: [*lines[:400], lines[399], *lines[400:]],
    "rows put in order": lambda lines: [*lines[:400], lines[401], lines[400], *lines[402:]],
    "rows out of order left out": lambda lines: [*lines[:400], lines[250], *lines[400:]],
    "lines with NUL bytes left out": lambda lines: [*lines[:400], "\0\0\0\0", *lines[400:]],
    "broken lines left out": lambda lines: [*lines[:400], lines[399][:-20], *lines[400:]],
}


@pytest.mark.parametrize("what", REPAIRS)
def test_what_can_be_repaired_is_counted_and_every_tick_still_reproduced(trip: Path, tmp_path: Path, what: str) -> None:
    lines = REPAIRS[what](trip.read_text(encoding="utf-8").splitlines()[:3000])
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    result = replayed(path)
    number, line = result["repairs"].pop(what)
    assert (number, result["repairs"]) == (1, {})
    assert 400 <= line <= 402
    assert result["compared"]["exact_same"] == result["compared"]["exact"] == result["counters"]["ticks"]
    assert result["counters"]["joins"] == 0
    with pytest.raises(InputError, match=rf"line {line}: found"):
        replayed(path, strict=True)


def test_a_truncated_last_line_windows_ends_and_a_byte_order_mark(trip: Path, tmp_path: Path) -> None:
    text = "\n".join(trip.read_text(encoding="utf-8").splitlines()[:2000])
    path = tmp_path / "log.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()[:-9])
    result = replayed(path)
    assert result["repairs"] == {"truncated last line left out": [1, 2000]}
    assert result["compared"]["exact_same"] == result["compared"]["exact"] > 1500
    with pytest.raises(InputError, match=r"line 2000: found .* wanted a line with its end"):
        replayed(path, strict=True)
