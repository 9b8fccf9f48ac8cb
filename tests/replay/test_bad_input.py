"""What files from the world do to a reader: one clear message with the line, or a repair that is counted. Never a traceback."""

from __future__ import annotations

import pytest

from host_sim.errors import InputError
from tests.replay.conftest import HEAD, Command, Write, replayed, warming

ROWS = [",".join(map(str, row)) for row in warming(300)]


def at(line: int, put: str) -> list[str]:
    """The rows with this one in place of the row that stands in this line of the file (its head is line 1)."""
    return [*ROWS[: line - 2], put, *ROWS[line - 1 :]]


REPAIRED = {
    "lines with NUL bytes left out": (at(100, "98,9\0\0\0,29.8"), 100),
    "broken lines left out": (at(100, "98,900"), 100),
    "cells that are no number left out": (at(100, "98,900,NODATA"), 100),
    "repeated stamps spread": (at(100, "97,900,29.8"), 100),
    "stamps that ran backwards put right": (at(100, "50,900,29.8"), 100),
}


@pytest.mark.parametrize("what", REPAIRED)
def test_repaired_counted_and_refused_when_strict(table: Write, what: str) -> None:
    rows, line = REPAIRED[what]
    path = table(HEAD, rows)
    result = replayed(path)
    assert result["repairs"] == {what: [1, line]}
    assert result["rows"] in (299, 300)
    assert result["sensor_faults"] == []
    assert result["counters"]["gaps"] == 0
    assert result["counters"]["time_ms"] == pytest.approx(299_000, abs=1100)
    with pytest.raises(InputError, match=rf"log\.csv, line {line}: found"):
        replayed(path, strict=True)


@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_windows_ends_a_mark_and_a_truncated_last_line(table: Write, end: str) -> None:
    path = table(HEAD, ROWS, end=end)
    plain = replayed(table(HEAD, ROWS, "plain.csv"))
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert replayed(path, strict=True)["moves"] == plain["moves"]
    path.write_bytes(path.read_bytes()[: -len(end) - 1])  # 49.9 degC became 49., which is a number
    result = replayed(path)
    assert result["repairs"] == {"truncated last line left out": [1, 301]}
    with pytest.raises(InputError, match=r"log\.csv, line 301: found"):
        replayed(path, strict=True)


def test_quotes_that_never_close_are_a_truncated_end(table: Write) -> None:
    path = table(HEAD, [*ROWS, '300,900,"50'])
    path.write_bytes(path.read_bytes().rstrip(b"\n"))
    assert replayed(path)["repairs"] == {"truncated last line left out": [1, 302]}


REFUSED = {
    "wrong unit": ("t_s,engine_rpm,oil_c", ["0,900,80", "1,900,500"], "line 3, column oil_c", "500", "a number from -50 to 200 (degC); as"),
    "fahrenheit": (HEAD, ["0,900,80", "1,900,190"], "line 3, column coolant_c", "190", "as degF it would be 87.8 degC: which unit is it?"),
    "no time": ("coolant_c", ["1"], "line 1", "coolant_c", "--map time=COLUMN:s"),
    "no temperature": ("t_s,engine_rpm", ["1,2"], "line 1", "t_s, engine_rpm", "--map coolant=COLUMN:degC"),
    "two of a name": ("t_s,coolant_c,coolant_c", ["1,2,3"], "line 1", "coolant_c", "each column once"),
    "no rows": (HEAD, [], "line 1", "engine_rpm, coolant_c", "rows with a value"),
    "never a number": (HEAD, ["0,900,", "1,900,-"], "line 3", "coolant_c", "there was none to the end"),
    "decimal commas": (HEAD, ["0,0,900,20,5", "1,0,900,20,5"], "line 2", "0,0,900,20,5", "3 cells, as in the head"),
    "no switch": ("t_s,coolant_c,key", ["0,20,maybe"], "line 2, column key", "maybe", "0 or 1"),
    "a clock that stands": (HEAD, ["5,900,20"] * 10_001, "time", "5.0", "a clock that moves"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_refused_with_place_value_and_what_would_be_right(table: Write, what: str) -> None:
    head, rows, place, value, wanted = REFUSED[what]
    with pytest.raises(InputError) as caught:
        replayed(table(head, rows))
    assert place in caught.value.place
    assert value in str(caught.value.value)
    assert wanted in caught.value.wanted


FLAGS = {
    "coolant": "QUANTITY=COLUMN",
    "warmth=coolant_c": "QUANTITY=COLUMN",
    "coolant=nothing": "the name of one column",
    "coolant=coolant_c:kPa": "the name of one column",
}


@pytest.mark.parametrize("flag", FLAGS)
def test_a_mapping_that_fits_nothing_is_refused(table: Write, flag: str) -> None:
    with pytest.raises(InputError) as caught:
        replayed(table(HEAD, ROWS), flag)
    assert caught.value.place.startswith("--map")
    assert FLAGS[flag] in caught.value.wanted


TOMLS = {
    "[columns": "a TOML file that can be read",
    "columns = 3": "a table [columns]",
    '[columns]\nwarmth = "x"': "one of time, coolant",
    '[columns]\ncoolant = { column = "coolant_c", unit = "kPa" }': "one of degC, degF",
    '[columns]\ncoolant = { col = "coolant_c" }': "a table [columns]",
    '[columns]\ncoolant = "ECT"': "the name of one column",
}


@pytest.mark.parametrize("text", TOMLS)
def test_a_mapping_file_that_fits_nothing_is_refused_with_its_name(table: Write, text: str) -> None:
    path = table(HEAD, ROWS)
    path.with_name("map.toml").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        replayed(path)
    assert "map.toml" in caught.value.place
    assert TOMLS[text] in caught.value.wanted


BLOBS = {
    b"": "the file is empty",
    b"\xff\xfet\0_\0s\0": "UTF-8 text",
    b"t_s,coolant_c\n0,20\n1,2\xb0\n": "UTF-8 text",
    b"\x89PNG\r\n\x1a\n\0\0": "UTF-8 text",
    b"# secondtank log, form 2\n": "another form is of another version",
    b"# secondtank log, form 1\n# setting oil_entry_cdegc=warm\n": "VALUE as this program writes it",
    b"# secondtank log, form 1\nt_ms,tick_ms\n": "the columns raw_coolant",
    b"# secondtank log, form 1\n# settings_hash=0\n# setting a=1\nt_ms\n": "the columns",
}


@pytest.mark.parametrize("blob", BLOBS)
def test_what_is_no_log_ends_with_2_and_one_line(table: Write, secondtank: Command, blob: bytes) -> None:
    path = table("x", [])
    path.write_bytes(blob)
    answer = secondtank("replay", path, "--out", path.with_name("out"))
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert answer.err.startswith(f"secondtank: {path}")
    assert BLOBS[blob] in answer.err


def test_a_missing_file_and_a_folder_end_with_2(table: Write, secondtank: Command) -> None:
    path = table("x", [])
    for place in (path.with_name("nothing.csv"), path.parent):
        answer = secondtank("replay", place, "--out", path.with_name("out"))
        assert answer.status == 2
        assert answer.err.count("\n") == 1


def test_a_damaged_head_is_found_by_its_hash(trip, tmp_path) -> None:
    text = trip.read_text(encoding="utf-8")
    path = tmp_path / "log.csv"
    path.write_text(text.replace("# setting oil_entry_cdegc=7300", "# setting oil_entry_cdegc=7400"), encoding="utf-8")
    with pytest.raises(
        InputError, match=r"settings_hash: found .* wanted [0-9a-f]{16}, the hash of the settings below it"
    ):
        replayed(path)
    path.write_text(text + text, encoding="utf-8")
    with pytest.raises(InputError, match=rf"line {text.count(chr(10)) + 1}: .* one log a file"):
        replayed(path)
