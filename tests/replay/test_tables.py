"""A logger's table: which column is what, units that are told or asked for, gaps, stale columns, and what is not in log."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from changeover.inputs import Inputs
from changeover.sensing import COOLANT, OIL_LEVEL, SUCTION, SUPPLY
from host_sim.errors import InputError
from host_sim.profile import load_profile
from host_sim.replay_columns import Column, from_flags, from_toml, resolve
from host_sim.replay_tables import Encoder
from tests.replay.conftest import HEAD, Write, replayed, warming


def moved(result: dict) -> list[tuple[float, str]]:
    return [(move["t_ms"] / 1000, move["to"]) for move in result["moves"]]


def test_the_law_reads_what_the_log_says() -> None:
    values = load_profile("full_guard")
    inputs, encoder = Inputs(values), Encoder(values)

    @given(st.integers(-400, 1250))
    def temperatures(tenths: int) -> None:
        read = inputs.channel[COOLANT].convert(encoder.counts("coolant", tenths / 10))
        # a count is 0.1 K wide at -40 degC and 0.02 K at 125, so half of that is what can be asked for
        assert abs(read - 10 * tenths) <= 5

    temperatures()
    for c in range(40, 100):  # where thresholds lie: to a hundredth, and never below the whole degree by more
        assert abs(inputs.channel[COOLANT].convert(encoder.counts("coolant", c)) - 100 * c) <= 1
    assert abs(inputs.channel[SUCTION].convert(encoder.counts("suction", 12_345.0)) - 12_345) <= 2
    assert abs(inputs.channel[SUPPLY].convert(encoder.counts("supply", 11_500.0)) - 11_500) <= 1
    assert abs(inputs.channel[OIL_LEVEL].convert(encoder.counts("oil_level", 500.0)) - 500) <= 1


def test_oil_is_allowed_when_the_coolant_in_the_log_reaches_its_limit(table: Write) -> None:
    # 0.1 K a second from 20 degC: 70 degC after 500 s; blocked for 2 s after the last cold tick (the table's clearing time)
    result = replayed(table(HEAD, warming()))
    assert result["first_allowed_ms"] == pytest.approx(502_000, abs=200)
    assert moved(result)[:2] == [(0.1, "ON_DIESEL"), (pytest.approx(502.2, abs=0.2), "FILLING")]
    assert result["sensor_faults"] == []
    assert result["diverged"]["why"] == "the log does not say which fuel was drawn"
    allowed = next(move for move in result["moves"] if move["to"] == "FILLING")
    assert allowed["side"] == "not in log"  # the oil's temperature has the last word, and is not in this log


def test_what_is_not_in_the_log_is_said_and_not_judged(table: Write) -> None:
    result = replayed(table(HEAD, warming(60)))
    assert {"oil", "suction", "supply", "oil_level", "key", "ready"} <= set(result["missing"])
    assert "coolant" not in result["missing"]
    assert "engine" not in result["missing"]
    lacking = set(result["rows_not_in_log"])
    assert {
        "oil cold",
        "oil sensor not trusted",
        "fuel starved",
        "filter restricted",
        "supply low",
        "ticks late",
    } <= lacking
    assert not {"coolant cold", "coolant sensor not trusted", "engine not running", "settings not valid"} & lacking
    assert "oil not in log: the law reads the coolant in its place and has no limit for it" in result["notes"]
    assert result["series"]["oil_read_c"] == [None] * 60
    assert result["series"]["coolant_read_c"][30] == pytest.approx(23.0, abs=0.1)


def test_every_unit_says_the_same(table: Write) -> None:
    rows = warming(700)
    plain = moved(replayed(table(HEAD, rows)))
    ways = {
        "time [ms],rpm,coolant (°F)": [(1000 * t, rpm, round(c * 1.8 + 32, 4)) for t, rpm, c in rows],
        "t_min,engine_rpm,coolant_cdegc": [(t / 60, rpm, round(100 * c)) for t, rpm, c in rows],
        "t_s,engine [1/min],coolant [K]": [(t, rpm, round(c + 273.15, 4)) for t, rpm, c in rows],
    }
    for head, way in ways.items():
        assert moved(replayed(table(head, way))) == plain, head
    clocks = [(f"{8 + t // 3600}:{t % 3600 // 60:02d}:{t % 60:02d}", *row) for t, *row in rows]
    dates = [(f"2026-11-25 08:{t // 60:02d}:{t % 60:02d}", *row) for t, *row in rows]
    assert moved(replayed(table("When,engine_rpm,coolant_c", clocks), "time=When:clock")) == plain
    assert moved(replayed(table("When,engine_rpm,coolant_c", dates), "time=When:date")) == plain
    semicolons = [(t, rpm, str(c).replace(".", ",")) for t, rpm, c in rows]
    result = replayed(table(HEAD.replace(",", ";"), semicolons, mark=";"))
    assert moved(result) == plain
    assert result["repairs"]["decimal commas read as points"] == [700, 2]


def test_flags_go_before_the_file_and_the_file_before_the_head(table: Write, tmp_path: Path) -> None:
    path = table("Device Time,ECT,ECT 2,coolant_c,engine_rpm", [(t, 60, 70, 80, 900) for t in range(5)])
    heads = path.read_text().splitlines()[0].split(",")

    def mapped(*flags: str) -> dict[str, tuple[str, str]]:
        found = resolve(path, heads, from_toml(path) | from_flags(flags), None)
        return {column.quantity: (column.header, column.unit) for column in found}

    time = "time=Device Time:s"
    assert mapped(time)["coolant"] == ("coolant_c", "degC")
    (tmp_path / "map.toml").write_text('[columns]\ncoolant = { column = "ECT", unit = "degF" }\n', encoding="utf-8")
    assert mapped(time)["coolant"] == ("ECT", "degF")
    assert mapped(time + ",coolant=ECT 2:degC")["coolant"] == ("ECT 2", "degC")
    assert "rpm" not in mapped(time, "rpm=")
    (tmp_path / "log.map.toml").write_text(
        '[columns]\ntime = { column = "Device Time", unit = "s" }\ncoolant = "coolant_c"\n'
    )
    assert mapped() == {"time": ("Device Time", "s"), "coolant": ("coolant_c", "degC"), "rpm": ("engine_rpm", "1/min")}


def test_a_unit_that_nothing_tells_is_asked_for_and_never_guessed(table: Write) -> None:
    path = table("t_s,coolant", [(0, 80), (1, 80)])
    with pytest.raises(
        InputError,
        match=r"line 1: coolant: found 'coolant'; wanted its unit, of degC, degF, .*--map coolant=coolant:degC",
    ):
        replayed(path)
    asked = []

    def answer(question: str, allowed: object) -> str:
        asked.append((question, allowed))
        return "degF"

    columns = resolve(path, ["t_s", "coolant"], {}, answer)
    assert [(column.quantity, column.unit) for column in columns] == [("time", "s"), ("coolant", "degF")]
    assert asked == [(f"{path}: unit of column 'coolant' (coolant)", ("degC", "degF", "K", "cdegC"))]


def test_a_gap_is_counted_apart_never_filled_and_no_fault(table: Write) -> None:
    # the coolant is 30 K warmer behind a gap of 200 s: with time that would have been a jump
    rows = warming(300) + [(t + 200, rpm, c + 30) for t, rpm, c in warming(600)[300:]]
    result = replayed(table(HEAD, rows))
    counters = result["counters"]
    assert (counters["gaps"], counters["gap_ms"], result["gaps"]) == (1, 201_000, [(299_000, 500_000)])
    assert counters["time_ms"] == 299_000 + 299_000 + 2 * 100  # a last row is worth one tick
    assert result["sensor_faults"] == []
    assert not [t for t in result["series"]["t_s"] if 299.2 < t < 500.0]
    jump = replayed(table(HEAD, warming(300) + [(t, rpm, c + 30) for t, rpm, c in warming(600)[300:]]))
    assert [fault["reason"] for fault in jump["sensor_faults"]] == ["jumped"]


def test_a_column_that_goes_stale_is_held_and_counted(table: Write) -> None:
    rows = [(t, 900, 12.0 if t < 100 or t >= 110 else "", 20 + 0.1 * t) for t in range(200)]
    result = replayed(table("t_s,engine_rpm,supply_v,coolant_c", rows))
    # last value at 99 s, the next at 110 s: stale from 2 s on
    assert result["counters"]["stale_ms"] == {"supply": 8000}
    assert result["sensor_faults"] == []
    assert result["repairs"] == {}


def test_a_logger_that_fills_one_column_a_row_is_read(table: Write) -> None:
    rows = []
    for t in range(0, 900):
        rows += [(t, 900, ""), (t + 0.5, "", round(20 + 0.1 * t, 2))]
    assert moved(replayed(table(HEAD, rows)))[1] == (
        pytest.approx(502.2, abs=0.2),
        "FILLING",
    )  # from the first whole row on


def test_a_supply_that_sags_blocks_after_its_hold_time(table: Write) -> None:
    rows = [(t, 900, 85, 10.9 if 50 <= t < 60 else 14.1) for t in range(90)]
    result = replayed(table("t_s,engine_rpm,coolant_c,supply_v", rows))
    low = next(bar for bar in result["strips"]["messages"] if bar[2] == "SUPPLY LOW")
    assert low[0] == pytest.approx(53.0, abs=0.2)  # 3 s below 11.5 V
    assert low[1] == pytest.approx(63.0, abs=0.2)  # 3 s above it


def test_the_valve_in_the_log_is_held_against_the_law(table: Write) -> None:
    # somebody changed over by hand at 40 degC, and back at 90 degC
    rows = [(t, 900, 20 + 0.1 * t, int(200 <= t < 700)) for t in range(900)]
    counters = replayed(table("t_s,engine_rpm,coolant_c,supply_valve", rows))["counters"]
    assert counters["logged_on_oil_ms"] == pytest.approx(500_000, abs=200)
    # the exit floor of 64 degC is reached after 440 s and left behind 2 s later
    assert counters["on_oil_not_allowed_ms"] == pytest.approx(242_000, abs=300)
    assert counters["allowed_not_on_oil_ms"] == pytest.approx(200_000, abs=1300)


def test_a_cold_engine_and_a_still_coolant_sensor_are_found(table: Write) -> None:
    # a running engine that is cold warms by 5 K in 600 s at least: one that stays within half a kelvin is frozen (docs/decisions.md)
    result = replayed(table(HEAD, [(t, 900, 21) for t in range(800)]))
    assert [(fault["sensor"], fault["reason"]) for fault in result["sensor_faults"]] == [("coolant", "frozen")]
    assert result["sensor_faults"][0]["time_s"] == pytest.approx(602, abs=3)
    warm = replayed(table(HEAD, [(t, 900, 80) for t in range(800)]))
    assert warm["sensor_faults"] == []


@given(st.floats(-60, 160), st.sampled_from(["degC", "degF", "K"]))
def test_a_temperature_is_read_in_any_unit_or_refused(c: float, unit: str) -> None:
    said = {"degC": c, "degF": c * 9 / 5 + 32, "K": c + 273.15}[unit]
    column = Column("coolant", "x", 0, unit)
    if -49.999 <= c <= 149.999:
        assert column.read(repr(said)) == pytest.approx(c, abs=1e-6)
    elif c < -50.001 or c > 150.001:
        with pytest.raises(ValueError, match="a number from"):
            column.read(repr(said))


def test_absolute_suction_and_other_settings_read_the_same_quantities(table: Write) -> None:
    rows = [(t, 900, 88, 80, 12.0 if t > 100 else 5.0) for t in range(200)]
    path = table("t_s,engine_rpm,coolant_c,oil_c,suction_kpa", rows)
    absolute, shifted, trimmed = (
        replayed(path, suction_absolute=1), replayed(path, suction_zero_counts=100), replayed(path, oil_trim_cdegc=150),
    )  # fmt: skip
    for result in (absolute, shifted, trimmed):
        assert result["sensor_faults"] == []
        assert result["series"]["suction_read_kpa"][50] == pytest.approx(5.0, abs=0.01)
        assert result["series"]["suction_read_kpa"][150] == pytest.approx(12.0, abs=0.01)
        assert result["series"]["oil_read_c"][50] == pytest.approx(80.0, abs=0.02)
