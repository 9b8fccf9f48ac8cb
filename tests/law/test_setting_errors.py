"""Each rule of the validator, word for word: which setting, what was found, what would be right, why."""

from __future__ import annotations

from binascii import crc32

import pytest

from changeover.sensing import Thermistor
from changeover.settings import LOOPED_RETURN, NORM_NAMES, NTC_NAMES, PERMIT
from changeover.settings_file import decode
from changeover.validate import validate
from tests.law.rig import fitted_out

LOW = "what ends oil lies below what blocks it"
TANK = "an empty tank reads less than a full one"
NEEDS = "more needs supply voltage, oil level, pump-inlet NTC and, with a tank return, its contact and diesel level"
OFFSET = "oil_limit_cdegc plus the offset that no rule can notice"
CHATTER = "an exit floor so near the entry would chatter"

# what is changed in a car that is fitted out: every error that follows
RULES: list[tuple[dict[str, int], list[tuple[str, object, str, str]]]] = [
    ({"path_ul": 0}, [("path_ul", 0, "10000 to 3000000 uL", "a purge of no volume leaves oil in the pump")]),
    ({"path_ul": 1}, [("path_ul", 1, "10000 to 3000000 uL", "is out of range")]),
    ({"run_on_s": -1}, [("run_on_s", -1, "0 to 120 s", "is out of range")]),
    ({"tank": 1}, [("tank", 1, "a name from the list of settings", "is not a setting")]),
    ({"oil_exit_cdegc": 6799}, [("oil_exit_cdegc", 6799, "6800 or more", OFFSET)]),
    (
        {"oil_exit_cdegc": 6850, "oil_entry_cdegc": 7299},
        [("oil_entry_cdegc", 7299, "7300 or more", OFFSET + ", plus line_drop_cdegc for the cold lines to the pump")],
    ),
    ({"oil_exit_cdegc": 7201}, [("oil_exit_cdegc", 7201, "at most 7200, 200 below oil_entry_cdegc", CHATTER)]),
    (
        {"coolant_exit_cdegc": 6801},
        [("coolant_exit_cdegc", 6801, "at most 6800, 200 below coolant_entry_cdegc", CHATTER)],
    ),
    (
        {"coolant_exit_cdegc": 6299},
        [
            (
                "coolant_exit_cdegc", 6299, "at least oil_limit_cdegc = 6300",
                "it guards the oil where the two sensors are swapped",
            )
        ],
    ),
    (
        {"suction_block_pa": 30_000},
        [
            (
                "suction_block_pa", 30_000, "below suction_force_pa = 30000",
                "a clogging filter blocks the next entry before it ends this one",
            )
        ],
    ),
    (
        {"suction_force_pa": 30_000, "suction_starved_pa": 30_000},
        [
            (
                "suction_force_pa", 30_000, "below suction_starved_pa = 30000",
                "a clogging filter must be seen before the engine starves",
            )
        ],
    ),
    ({"supply_block_mv": 10_500, "supply_force_mv": 10_500}, [("supply_force_mv", 10_500, "below supply_block_mv = 10500", LOW)]),
    ({"oil_low_force_permille": 80}, [("oil_low_force_permille", 80, "below oil_low_block_permille = 80", LOW)]),
    ({"diesel_low_force_permille": 80}, [("diesel_low_force_permille", 80, "below diesel_low_block_permille = 80", LOW)]),
    ({"oil_level_zero_counts": 62_259}, [("oil_level_zero_counts", 62_259, "below oil_level_full_counts = 62259", TANK)]),
    (
        {"diesel_level_zero_counts": 62_259},
        [("diesel_level_zero_counts", 62_259, "below diesel_level_full_counts = 62259", TANK)],
    ),
    (
        {"flow_measured_ul_s": 28_000},
        [
            (
                "flow_measured_ul_s", 28_000, "below flow_max_ul_s = 28000",
                "the highest flow is not below the measured one",
            )
        ],
    ),
    ({"fit_supply": 0}, [("authority", 2, "at most 1", NEEDS)]),
    (
        {"oil_tank_ml": 4000, "path_ul": 3_000_000, "flow_measured_ul_s": 20_000},
        [
            (
                "oil_tank_ml", 4000, "a larger tank or a smaller purge",
                "a purge of 4500 mL leaves no level at which oil may be used",
            )
        ],
    ),
    (
        {"layout": LOOPED_RETURN, "run_on_s": 1},
        [("run_on_s", 1, "0", "a looped return is purged while driving, not in two minutes")],
    ),
    (
        {
            "path_ul": 3_000_000, "purge_factor_permille": 6000, "flow_measured_ul_s": 600, "oil_tank_ml": 400_000,
        },
        [("flow_measured_ul_s", 600, "more", "a purge would take over ten hours")],
    ),
    ({NTC_NAMES[3]: 63_523}, [(NTC_NAMES[3], 63_523, "below 63523", "the table must run one way")]),
    ({NORM_NAMES[1]: 180}, [(NORM_NAMES[1], 180, "above 180", "the table must run one way")]),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "errors"), RULES, ids=[" ".join(changes) for changes, _ in RULES])
def test_rule_says_what_is_wrong_what_would_be_right_and_why(
    changes: dict[str, int], errors: list[tuple[str, object, str, str]]
) -> None:
    assert validate({**fitted_out(), **changes}) == errors


def test_just_within_its_limits_every_rule_is_content() -> None:
    for changes in (
        {"oil_exit_cdegc": 6800}, {"oil_exit_cdegc": 6850, "oil_entry_cdegc": 7300}, {"oil_exit_cdegc": 7200},
        {"coolant_exit_cdegc": 6800}, {"coolant_exit_cdegc": 6300}, {"suction_block_pa": 29_999},
        {"suction_force_pa": 32_000}, {"flow_measured_ul_s": 27_999}, {"fit_supply": 0, "authority": PERMIT},
    ):  # fmt: skip
        assert validate({**fitted_out(), **changes}) == [], changes


@pytest.mark.parametrize(
    ("name", "shift", "trim"),
    [
        ("coolant_entry_cdegc", 0, "coolant_trim_cdegc"), ("oil_restart_cdegc", 0, "oil_trim_cdegc"),
        ("oil_hot_cdegc", -300, "oil_trim_cdegc"), ("heater_off_cdegc", -200, "oil_trim_cdegc"),
        ("ntc_check_low_cdegc", 0, ""),
    ],
)  # fmt: skip
def test_threshold_on_a_converter_step_names_the_step_less_its_shift(name: str, shift: int, trim: str) -> None:
    """Steps at codes 512 (94.4 degC), 1536 (51.8), 2560 (26.6) of 4096; 150 away is enough, 149 is not."""
    code = {"oil_hot_cdegc": 512, "ntc_check_low_cdegc": 2560}.get(name, 1536)
    values = fitted_out(oil_limit_cdegc=3000, coolant_exit_cdegc=3600)
    if trim:
        values[trim] = 7
    step = Thermistor(True, values, values[trim] if trim else 0).convert(16 * code) - shift
    for away, found in ((149, True), (150, False), (-149, True), (-150, False)):
        error = (name, step + away, f"150 away from {step}", "the converter has a step there")
        assert (error in validate({**values, name: step + away})) is found


def test_stored_form_names_what_it_found_and_what_would_be_right() -> None:
    written = "the lines are not the ones that were written"
    unread = "name=whole number"
    body = b"authority=1\n\nrun on=5\npath_ul=12345678901\n=3\nlayout=-\n"
    crc = b"%08x" % (crc32(body) & 0xFFFFFFFF)
    lines = [(number, body.split(b"\n")[number - 1]) for number in (3, 4, 5, 6)]
    errors = [(f"line {number}", line, unread, "cannot be read") for number, line in lines]
    assert decode(body + b"crc=" + crc + b"\n") == ({"authority": 1}, errors)
    assert decode(body)[1][0] == ("last line", b"", f"crc={crc.decode()}", written)
    assert decode(body + b"crc=12\n")[1][0] == ("last line", b"12", f"crc={crc.decode()}", written)
    assert decode(body + b"crc=12\n")[1][1:] == errors


def test_stored_form_takes_nine_digits_a_minus_and_no_line_at_all() -> None:
    for text, values in (
        (b"a=999999999\n", {"a": 999_999_999}), (b"a=-999999999\n", {"a": -999_999_999}), (b"a=0", {"a": 0}), (b"", {}),
    ):  # fmt: skip
        assert decode(text + b"crc=%08x\n" % (crc32(text) & 0xFFFFFFFF)) == (values, [])
    for text in (b"a=1000000000", b"a=-1000000000", b"a=--1", b"a=1-", b"A=1", b"a", b"a=1=2"):
        assert decode(text)[0] == {}
