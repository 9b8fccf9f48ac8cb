"""Reading logs: time, gaps, what is missing, and what is refused with which line."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.errors import InputError
from host_sim.traces import ASSUMED_AMBIENT_C, OBD_COLUMNS, Column, Trace, ambient_for, read_trace

HEADER = "t_s,engine_rpm,speed_kmh,engine_load_pct,coolant_c,intake_map_kpa,intake_air_c,supply_v"


def row(t_s: object, coolant: float = 30.0, intake: float = 28.0) -> str:
    return f"{t_s},800.5,10,25,{coolant},30,{intake},13.8"


@pytest.fixture
def write(tmp_path: Path):
    def write(*lines: str, header: str = HEADER, end: str = "\n", start: bytes = b"") -> Path:
        path = tmp_path / "log.csv"
        path.write_bytes(start + end.join([header, *lines, ""]).encode())
        return path

    return write


def stamps(write, *times: object, strict: bool = False) -> Trace:
    return read_trace(write(*[row(t) for t in times]), strict)


def test_columns_come_in_our_units(write):
    trace = read_trace(write(row(0), row(1)))
    assert {name: values[0] for name, values in trace.columns.items()} == {
        "t_s": 0.0,
        "rpm": 800.5,
        "speed_kmh": 10.0,
        "load": 0.25,
        "coolant_c": 30.0,
        "intake_air_c": 28.0,
        "supply_v": 13.8,
    }
    assert (trace.lines, trace.missing, trace.repaired, trace.gaps) == (2, (), 0, ())


def test_repeats_are_spread_evenly_within_their_second(write):
    assert list(stamps(write, 0, 0, 0, 0, 1, 1, 3, 3).t_s) == [0, 0.25, 0.5, 0.75, 1, 1.5, 3, 3.5]


def test_repeats_of_finer_stamps_are_spread_up_to_the_next_stamp(write):
    assert list(stamps(write, "0.0", "0.0", "0.5", "0.5", "1.0").t_s) == [0, 0.25, 0.5, 0.75, 1]


def test_gap_is_a_step_of_more_than_two_seconds_and_is_not_filled(write):
    trace = stamps(write, 0, 1, 3, 6, 6, 11)
    assert trace.gaps == ((3.0, 6.0), (6.5, 11.0))
    assert trace.lines == len(trace.t_s) == 6
    assert [trace.in_gap(t) for t in (2.0, 3.0, 4.5, 6.0, 6.2, 8.0, 11.0, 20.0)] == [
        False,
        False,
        True,
        False,
        False,
        True,
        False,
        False,
    ]


def test_values_are_held_and_never_interpolated(write):
    trace = read_trace(write(row(5, coolant=20), row(6, coolant=30), row(11, coolant=80)))
    held = [trace.columns["coolant_c"][trace.at(t)] for t in (0.0, 5.0, 5.99, 6.0, 10.99, 11.0, 99.0)]
    assert held == [20, 20, 20, 30, 30, 80, 80]


def test_a_stray_row_in_the_past_takes_the_newest_stamp(write):
    trace = stamps(write, 10, 11, 3, 12, 13, 14, 15)
    assert trace.repaired == 1
    assert list(trace.t_s) == [10, 11, 11.5, 12, 13, 14, 15]


def test_after_a_clock_was_set_back_time_goes_on_from_where_it_was(write):
    trace = stamps(write, 100, 101, 0, 1, 2, 3, 4, 5)
    assert trace.repaired == 1
    assert list(trace.t_s) == [100, 101, 101.5, 102, 103, 104, 105, 106]
    assert trace.gaps == ()


def test_every_step_back_is_counted(write):
    assert stamps(write, 10, 9, 10, 11, 10, 12, 11, 13, 14, 15).repaired == 3


def test_strict_refuses_time_that_runs_backwards_with_its_line(write):
    with pytest.raises(InputError, match=r"log\.csv, line 5.*9.*10 s or later"):
        stamps(write, 8, 9, 10, 9, 11, strict=True)
    assert stamps(write, 8, 9, 9, 10, strict=True).repaired == 0


@given(st.lists(st.integers(0, 60), min_size=1, max_size=40))
def test_repaired_time_never_runs_backwards_and_loses_no_row(tmp_path_factory, times):
    path = tmp_path_factory.mktemp("any") / "log.csv"
    path.write_text("\n".join([HEADER, *(row(t) for t in times)]))
    trace = read_trace(path)
    assert trace.lines == len(trace.t_s) == len(times)
    assert all(a < b for a, b in pairwise(trace.t_s))
    assert trace.repaired == sum(b < a for a, b in pairwise(times))
    assert trace.t_s[0] == times[0]


def test_byte_order_mark_and_crlf_are_read_as_they_are_meant(write):
    plain = read_trace(write(row(0), row(1), row(1)))
    marked = read_trace(write(row(0), row(1), row(1), end="\r\n", start=b"\xef\xbb\xbf"))
    assert plain.columns == marked.columns
    assert plain.lines == marked.lines == 3


def test_columns_in_another_order_and_further_columns_are_no_matter(write):
    header = "note,supply_v,engine_load_pct,speed_kmh,engine_rpm,t_s"
    trace = read_trace(write("x,12.5,50,20,1500,7", header=header))
    assert trace.columns["rpm"] == (1500.0,)
    assert trace.columns["load"] == (0.5,)
    assert trace.missing == ("coolant_c", "intake_air_c")


def test_optional_column_that_is_not_in_the_log_is_listed_or_refused_as_the_caller_asks(write):
    path = write("0,800,0,25", header="t_s,engine_rpm,speed_kmh,engine_load_pct")
    trace = read_trace(path)
    assert trace.missing == ("coolant_c", "intake_air_c", "supply_v")
    with pytest.raises(InputError, match="a column coolant_c"):
        trace.column("coolant_c")
    with pytest.raises(InputError, match=r"line 1.*a column coolant_c \(degC\)"):
        read_trace(path, need=("coolant_c",))


@pytest.mark.parametrize("name", [name for name, column in OBD_COLUMNS.items() if column.required])
def test_column_that_the_engine_side_needs_is_refused_when_missing(write, name):
    header = OBD_COLUMNS[name].header
    with pytest.raises(InputError, match=rf"line 1.*a column {header} "):
        read_trace(write(row(0), header=HEADER.replace(header, "something")))


def test_other_logs_are_read_by_another_mapping(write):
    columns = {
        "t_s": Column("ms", "ms", 0.001, 0, 1e9, required=True),
        "coolant_c": Column("coolant_cdegc", "0.01 degC", 0.01, -5000, 20000, required=True),
    }
    trace = read_trace(write("0,-250", "1500,8050", header="ms,coolant_cdegc"), columns=columns)
    assert list(trace.t_s) == [0, 1.5]
    assert trace.columns["coolant_c"] == pytest.approx((-2.5, 80.5))


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("1,eight,10,25,30,30,28,13.8", "eight"),
        ("1,,10,25,30,30,28,13.8", "''"),
        ("1,nan,10,25,30,30,28,13.8", "nan"),
        ("1,inf,10,25,30,30,28,13.8", "inf"),
        ("1,1_000,10,25,30,30,28,13.8", "1_000"),
        ("1,-5,10,25,30,30,28,13.8", "-5"),
        ("1,٨٠٠,10,25,30,30,28,13.8", "٨٠٠"),
        ("1,800,10,130,30,30,28,13.8", "130"),
        ("1,800,10,25,-200,30,28,13.8", "-200"),
        ("-1,800,10,25,30,30,28,13.8", "-1"),
        ("1,800,10", "1,800,10"),
        ("1,800,10,25,30,30,28,13.8,7", "7"),
        ('1,"800,10,25,30,30,28,13.8', "unexpected end"),
    ],
)
def test_bad_cell_or_line_is_refused_with_its_line_and_value(write, line, value):
    with pytest.raises(InputError) as caught:
        read_trace(write(row(0), row(0), line))
    assert "line 4" in caught.value.place
    assert value in str(caught.value)
    assert len(caught.value.wanted) > 5


@pytest.mark.parametrize(
    ("blob", "place", "wanted"),
    [
        (b"", "line 1", "the file is empty"),
        (b"\n\n", "line 1", "the file is empty"),
        (HEADER.encode() + b"\n", "line 1", "at least one line of data"),
        (HEADER.encode() + b"\n0,1\0,2\n", "line 2", "NUL"),
        (HEADER.encode() + b"\n" + row(0).encode() + b"\n\xff\xfe", "line 3", "UTF-8"),
        (b"t_s,t_s,engine_rpm\n", "line 1", "each column once"),
        (b"\x89PNG\r\n\x1a\n\0\0", "line 1", "UTF-8"),
    ],
)
def test_what_is_no_log_is_refused(tmp_path, blob, place, wanted):
    path = tmp_path / "log.csv"
    path.write_bytes(blob)
    with pytest.raises(InputError) as caught:
        read_trace(path)
    assert place in caught.value.place
    assert wanted in caught.value.wanted


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "nothing.csv", tmp_path):
        with pytest.raises(InputError, match="a CSV file that can be read"):
            read_trace(path)


def test_ambient_given_stands_before_all_else(write):
    assert ambient_for(read_trace(write(row(0))), -12.0) == (-12.0, "given")


@pytest.mark.parametrize(
    ("coolant", "intake", "ambient"), [(30, 28, 28), (33, 28, 28), (23, 28, 28), (34, 28, None), (22, 28, None)]
)
def test_ambient_is_the_first_intake_air_within_5_k_of_the_first_coolant(write, coolant, intake, ambient):
    value, how = ambient_for(read_trace(write(row(0, coolant, intake), row(1, 90, 50))), None)
    assert value == (ASSUMED_AMBIENT_C if ambient is None else ambient)
    assert ("assumed" in how) == (ambient is None)


def test_ambient_is_assumed_and_said_where_a_column_is_not_in_the_log(write):
    value, how = ambient_for(read_trace(write("0,800,0,25", header="t_s,engine_rpm,speed_kmh,engine_load_pct")), None)
    assert value == ASSUMED_AMBIENT_C
    assert "not in log" in how
    assert "coolant_c" in how
