"""Settings: ranges and rules, defaults against where they come from, their stored form, their help."""

from __future__ import annotations

import re
import zlib
from hashlib import sha256

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from changeover import settings_file
from changeover.sensing import Thermistor
from changeover.settings import (
    ADVISE,
    AUTOMATIC,
    LOOPED_RETURN,
    NORM_NAMES,
    NTC_NAMES,
    PERMIT,
    ROWS,
    defaults,
    flow_low_ul_s,
    purge_ul,
)
from changeover.settings_help import HELP, meaning
from changeover.validate import highest_authority, undetectable_cdegc, validate
from host_sim import ntc
from host_sim.filter_model import suction_correction
from host_sim.fluids import D341
from tests.law.rig import fitted_out

OIL = D341.from_points(40.0, 40.0, 100.0, 8.6)  # the oil that the defaults are for


SUFFIXES = {
    "choice": "", "flag": "", "count": "_max", "cdegc": "_cdegc", "percent": "_percent", "Pa": "_pa", "permille": "_permille", "mL": "_ml",
    "uL": "_ul", "uL/s": "_ul_s", "mV": "_mv", "s": "_s", "counts": "_counts", "uV/count": "_uv_per_count",
    "Pa/1000 counts": "_pa_per_kcount",
}  # fmt: skip


def named(values: dict[str, int], **changes: object) -> list[str]:
    """Names in the errors of these settings after these changes."""
    return [error[0] for error in validate({**values, **changes})]  # type: ignore[dict-item]


def test_defaults_are_valid_and_advise_only() -> None:
    assert validate(defaults()) == []
    assert defaults()["authority"] == ADVISE
    assert validate(fitted_out()) == []


# where the defaults come from


def test_thermistor_table_is_that_of_the_sensor() -> None:
    """Steinhart-Hart coefficients of a 10 kohm NTC with 5.6 kohm to the reference, as host_sim.ntc has them checked."""
    assert [(int(t_c), counts) for t_c, counts in ntc.table()] == [
        (-40 + 5 * index, defaults()[name]) for index, name in enumerate(NTC_NAMES)
    ]


def test_suction_correction_is_that_of_the_default_oil() -> None:
    """40 mm2/s at 40 degC and 8.6 at 100 degC through ASTM D341; Darcy's law makes suction follow dynamic viscosity."""
    table = suction_correction(OIL)
    assert [t_c for t_c, _ in table] == [20 + 10 * index for index in range(len(NORM_NAMES))]
    assert [permille for _, permille in table] == [defaults()[name] for name in NORM_NAMES]


def test_default_oil_limit_is_not_below_twenty_square_millimetres_a_second() -> None:
    """20 mm2/s: the upper end of what light-diesel injection pumps accept (common practice, no source)."""
    limit_c = defaults()["oil_limit_cdegc"] / 100
    assert OIL.nu(limit_c) <= 20.0
    assert OIL.nu(limit_c - 2.0) > 20.0, "and not needlessly above"
    assert defaults()["oil_exit_cdegc"] >= defaults()["oil_limit_cdegc"] + 500


# Settings that a reading of the Pico's converter is held against, and by how much other temperatures lie beside them.
COMPARED = {
    "oil_entry_cdegc": (0,), "oil_exit_cdegc": (0,), "oil_hot_cdegc": (0, -300), "coolant_entry_cdegc": (0,),
    "coolant_exit_cdegc": (0,), "oil_restart_cdegc": (0,), "heater_off_cdegc": (0, -200),
    "ntc_check_low_cdegc": (0,), "ntc_check_high_cdegc": (0,),
}  # fmt: skip


@pytest.mark.parametrize("name", COMPARED)
def test_threshold_within_a_kelvin_and_a_half_of_a_converter_step_is_refused(name: str) -> None:
    """Steps at codes 512, 1536, 2560, 3584 of the RP2040's converter (its erratum RP2040-E11)."""
    low, high = next((row[3], row[4]) for row in ROWS if row[0] == name)
    values = fitted_out(oil_limit_cdegc=3000, oil_entry_cdegc=9200, coolant_entry_cdegc=9000)
    if "entry" in name:
        values |= {"oil_exit_cdegc": 4000, "coolant_exit_cdegc": 3000}
    outcomes = set()
    for value in range(low, high + 1, 20):
        distance = min(
            abs(value + shift - 100 * step) for step in ntc.adc_step_temperatures() for shift in COMPARED[name]
        )
        if abs(distance - 150) < 10:
            continue  # the integer table and the equation differ by a few hundredths of a kelvin
        found = any(error[0] == name and "step" in error[3] for error in validate({**values, name: value}))
        assert found is (distance < 150), value
        outcomes.add(found)
    assert outcomes == {True, False}


def test_trim_moves_the_steps_with_it() -> None:
    step = round(100 * ntc.adc_step_temperatures()[2])  # near 51.8 degC
    values = defaults() | {"oil_restart_cdegc": step + 160}
    assert named(values) == []
    assert named(values, oil_trim_cdegc=100) == ["oil_restart_cdegc"]


# ranges


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_setting_is_refused_just_outside_its_range(row: tuple[str, str, int, int, int]) -> None:
    name, unit, default, low, high = row
    assert low <= default <= high
    for value in (low - 1, high + 1):
        assert [error[:3] for error in validate({**defaults(), name: value})] == [
            (name, value, f"{low} to {high} {unit}")
        ]
    for value in (low, high):  # at the ends some rule may object, the range does not
        assert not any("range" in error[3] for error in validate({**defaults(), name: value}))


@pytest.mark.parametrize("value", [True, 1.0, "7300", None])
def test_value_that_is_no_whole_number_is_refused(value: object) -> None:
    assert validate({**defaults(), "oil_entry_cdegc": value}) == [  # type: ignore[dict-item]
        ("oil_entry_cdegc", value, "4000 to 9500 cdegc", "is not a whole number")
    ]


def test_all_errors_come_at_once_also_missing_and_unknown_names() -> None:
    values = fitted_out(path_ul=0, oil_hot_cdegc=20_000, authority=3)
    del values["oil_tank_ml"]
    values["oil_entry"] = 1
    errors = validate(values)
    assert sorted(error[0] for error in errors) == ["authority", "oil_entry", "oil_hot_cdegc", "oil_tank_ml", "path_ul"]
    assert next(error for error in errors if error[0] == "path_ul")[3] == "a purge of no volume leaves oil in the pump"
    assert all(len(error) == 4 and error[2] and error[3] for error in errors)
    both = fitted_out(oil_limit_cdegc=9000, suction_block_pa=30000, coolant_exit_cdegc=9000)
    assert named(both) == ["oil_exit_cdegc", "oil_entry_cdegc", "coolant_exit_cdegc", "suction_block_pa"]


# rules between settings


def test_entry_and_exit_stay_above_the_oil_limit_by_the_undetectable_offset() -> None:
    for checked, offset in ((0, 500), (1, 200)):
        values = fitted_out(ntc_check_recorded=checked)
        floor = values["oil_limit_cdegc"] + offset
        assert undetectable_cdegc(values) == offset
        assert named(values, oil_exit_cdegc=floor) == []
        assert named(values, oil_exit_cdegc=floor - 1) == ["oil_exit_cdegc"]
        entry = floor + values["line_drop_cdegc"]
        assert entry > floor
        assert named(values, oil_exit_cdegc=floor, oil_entry_cdegc=entry) == []
        both = named(values, oil_exit_cdegc=floor - 1, oil_entry_cdegc=entry - 1)
        assert both == ["oil_exit_cdegc", "oil_entry_cdegc"]


@pytest.mark.parametrize("which", ["oil", "coolant"])
def test_exit_floor_less_than_2_k_below_the_entry_threshold_is_refused(which: str) -> None:
    entry = fitted_out()[which + "_entry_cdegc"]
    assert named(fitted_out(), **{which + "_exit_cdegc": entry - 200}) == []
    assert named(fitted_out(), **{which + "_exit_cdegc": entry - 199}) == [which + "_exit_cdegc"]


def test_coolants_exit_floor_guards_the_oil_where_the_sensors_are_swapped() -> None:
    assert named(fitted_out(), coolant_exit_cdegc=fitted_out()["oil_limit_cdegc"]) == []
    assert named(fitted_out(), coolant_exit_cdegc=fitted_out()["oil_limit_cdegc"] - 1) == ["coolant_exit_cdegc"]


@pytest.mark.parametrize(
    ("low", "high"),
    [
        ("suction_block_pa", "suction_force_pa"),
        ("suction_force_pa", "suction_starved_pa"),
        ("supply_force_mv", "supply_block_mv"),
        ("oil_low_force_permille", "oil_low_block_permille"),
        ("diesel_low_force_permille", "diesel_low_block_permille"),
        ("oil_level_zero_counts", "oil_level_full_counts"),
        ("diesel_level_zero_counts", "diesel_level_full_counts"),
        ("flow_measured_ul_s", "flow_max_ul_s"),
    ],
)
def test_pair_in_the_wrong_order_is_refused(low: str, high: str) -> None:
    values = fitted_out()
    row = next(row for row in ROWS if row[0] == low)
    meeting = min(values[high], row[4])
    values[high] = meeting
    assert low in named(values, **{low: meeting})
    assert low not in named(values, **{low: meeting - 1})


@pytest.mark.parametrize("table", [NTC_NAMES, NORM_NAMES])
def test_table_that_turns_back_is_refused_and_nothing_is_divided_by_zero(table: list[str]) -> None:
    values = defaults()
    assert named(values, **{table[5]: values[table[4]]})[0] == table[5]
    turned = {name: values[other] for name, other in zip(table, reversed(table), strict=True)}
    assert set(named(values, **turned)) == set(table[1:])


def test_flat_suction_correction_is_allowed_to_be_none_at_all() -> None:
    """Every row of the correction must rise: oil thins as it warms."""
    values = defaults()
    assert named(values, **dict.fromkeys(NORM_NAMES, 1000)) == NORM_NAMES[1:]


@pytest.mark.parametrize(
    "lacking", ["fit_supply", "fit_oil_level", "fit_pump_inlet_ntc", "fit_return_contact", "fit_diesel_level"]
)
def test_authority_beyond_what_is_fitted_is_refused(lacking: str) -> None:
    values = fitted_out(**{lacking: 0})
    assert highest_authority(values) == PERMIT
    assert named(values) == ["authority"]
    assert named(values, authority=PERMIT) == []
    loops = {**values, "layout": LOOPED_RETURN}
    needed = lacking not in ("fit_return_contact", "fit_diesel_level")  # a loop has no return valve and fills no tank
    assert highest_authority(loops) == (PERMIT if needed else AUTOMATIC)


def test_tank_must_have_room_for_a_purge_and_some_oil_besides() -> None:
    values = fitted_out(path_ul=500000, purge_factor_permille=3000)
    room = (955 - 80 - 100) * 1000  # permille of the tank for 1500 mL
    least_ml = 1_500_000 // (room // 1000 + 1) + 1
    assert named(values, oil_tank_ml=least_ml - 10) == ["oil_tank_ml"] or least_ml - 10 < 4000
    assert named(values, oil_tank_ml=4000, path_ul=1_100_000) == ["oil_tank_ml"]
    assert named(values, oil_tank_ml=4000, path_ul=1_000_000) == []
    assert named({**values, "layout": LOOPED_RETURN}, oil_tank_ml=4000, path_ul=3_000_000) == []


def test_looped_return_has_no_run_on() -> None:
    assert named(fitted_out(layout=LOOPED_RETURN), run_on_s=1) == ["run_on_s"]
    assert named(fitted_out(), run_on_s=120) == []


def test_purge_of_more_than_ten_hours_is_refused() -> None:
    endless = fitted_out(path_ul=3_000_000, purge_factor_permille=6000, oil_tank_ml=400_000)
    assert named(endless, flow_measured_ul_s=625) == []  # 500 uL/s, ten hours
    assert named(endless, flow_measured_ul_s=600) == ["flow_measured_ul_s"]


def test_worst_case_products_are_small_integers() -> None:
    """A board of 32 bits counts in steps of one word up to 2**30 - 1; beyond, every product would cost heap."""
    top = {row[0]: row[4] for row in ROWS}
    low = {row[0]: row[3] for row in ROWS}
    worst = {
        "purge": purge_ul(top),
        "tick of a fill": top["flow_max_ul_s"] * 2000 + 999,
        "tick of a purge": flow_low_ul_s(top) * 1000,
        "suction": (65535 + 20000) * top["suction_pa_per_kcount"],
        "suction below": (0 - top["suction_zero_counts"]) * top["suction_pa_per_kcount"],
        "corrected suction": 115_000 * top[NORM_NAMES[0]],
        "its way back": 115_000 * top[NORM_NAMES[0]] // 1000 * 1000,
        "level": 65535 * 1000,
        "supply": 65535 * top["supply_uv_per_count"],
        "thermistor": 500 * 65535,
        "frozen oil": 500 * 600 + (13000 + 4000 + 1000) // 5,
        "standing": top["cooling_time_s"] * 13_862,
        "cooling ratio": (13000 + 4000 + 1000) * 10_000,
    }
    assert all(-(2**30) <= value < 2**30 for value in worst.values()), worst
    assert flow_low_ul_s(low) > 0, "a divisor"
    assert low["oil_tank_ml"] > 0, "a divisor"


# help and the stored form


def test_every_setting_has_its_help_and_nothing_else_has() -> None:
    tables = set(NTC_NAMES) | set(NORM_NAMES)
    assert set(HELP) == {row[0] for row in ROWS} - tables
    for name, unit, *_ in ROWS:
        smaller, larger = meaning(name)
        assert smaller
        assert larger
        assert smaller != larger
        assert re.fullmatch(r"[a-z0-9_]+", name)
        assert name.endswith(SUFFIXES[unit])
    with pytest.raises(KeyError):
        meaning("no_such_setting")


def test_names_of_table_rows_say_their_temperature() -> None:
    assert (NTC_NAMES[0], NTC_NAMES[8], NTC_NAMES[-1]) == ("ntc_m040_counts", "ntc_p000_counts", "ntc_p130_counts")
    assert (NORM_NAMES[0], NORM_NAMES[-1]) == ("suction_norm_020_permille", "suction_norm_110_permille")
    assert Thermistor(True, defaults(), 0).convert(defaults()["ntc_p000_counts"]) == 0


def test_stored_settings_come_back_and_their_hash_is_that_of_their_lines() -> None:
    values = fitted_out(ntc_check_low_cdegc=-5)
    data = settings_file.encode(values)
    assert settings_file.decode(data) == (values, [])
    text = "".join(f"{name}={value}\n" for name, value in sorted(values.items()))
    assert data == f"{text}crc={zlib.crc32(text.encode()):08x}\n".encode()
    assert settings_file.settings_hash(values) == sha256(text.encode()).hexdigest()[:16]


def test_any_changed_byte_of_stored_settings_is_noticed() -> None:
    data = settings_file.encode(fitted_out())
    for place in range(len(data) - 1):  # the last newline says nothing
        broken = data[:place] + bytes([data[place] ^ 1 << place % 8]) + data[place + 1 :]
        assert settings_file.decode(broken)[1], place
        assert settings_file.decode(data[:place])[1], place


def test_line_that_cannot_be_read_is_named_with_its_number() -> None:
    data = b"authority=0\nlayout\nfit_supply=yes\ndwell_diesel_s=--5\n\xff=1\n=3\n"
    values, errors = settings_file.decode(data)
    assert values == {"authority": 0}
    assert [error[0] for error in errors] == ["last line", "line 2", "line 3", "line 4", "line 5", "line 6"]


@given(st.binary(max_size=200))
@example(b"crc=")
@example(b"a=" + b"9" * 5000)
@example(b"a=1\na=2\ncrc=00000000")
def test_garbage_is_an_error_and_never_an_exception(data: bytes) -> None:
    _, errors = settings_file.decode(data)
    assert errors
