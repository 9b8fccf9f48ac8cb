"""Every setting of the law: name, unit, default, lowest, highest. What smaller and larger mean: `settings_help`."""

ADVISE, PERMIT, AUTOMATIC = 0, 1, 2
TANK_RETURN, LOOPED_RETURN = 0, 1
_ANY_CDEGC = -30000  # colder than anything

# Divider of a 10 kohm NTC (Steinhart-Hart 1.129148e-3, 2.34125e-4, 8.76741e-8) with 5.6 kohm to the reference: 16-bit
# counts every 5 K from -40 degC; made by host_sim.ntc.table, compared with it in the tests.
NTC_FIRST_C = -40
NTC_STEP_C = 5
_NTC_COUNTS = (
    64461, 64055, 63523, 62835, 61958, 60860, 59509, 57876, 55940, 53694, 51145, 48316,
    45251, 42009, 38661, 35280, 31943, 28714, 25649, 22787, 20155, 17763, 15614, 13700,
    12006, 10517, 9212, 8073, 7081, 6219, 5469, 4817, 4250, 3757, 3328,
)  # fmt: skip
# Suction at 70 degC over suction at t for the default oil (40 mm2/s at 40 degC, 8.6 at 100), every 10 K from 20 degC;
# made by host_sim.filter_model.suction_correction, compared with it in the tests.
_NORM_PERMILLE = (180, 276, 403, 564, 763, 1000, 1278, 1597, 1957, 2359)
NORM_FIRST_C = 20
NORM_STEP_C = 10


def ntc_name(index: int) -> str:
    """Name of the setting that holds row `index` of the thermistor table."""
    t_c = NTC_FIRST_C + NTC_STEP_C * index
    return "ntc_%s%03d_counts" % ("m" if t_c < 0 else "p", abs(t_c))


def norm_name(index: int) -> str:
    """Name of the setting that holds row `index` of the suction correction."""
    return "suction_norm_%03d_permille" % (NORM_FIRST_C + NORM_STEP_C * index)


NTC_NAMES = [ntc_name(index) for index in range(len(_NTC_COUNTS))]
NORM_NAMES = [norm_name(index) for index in range(len(_NORM_PERMILLE))]

ROWS = [
    ("authority", "choice", ADVISE, ADVISE, AUTOMATIC),
    ("layout", "choice", TANK_RETURN, TANK_RETURN, LOOPED_RETURN),
    ("fit_oil_tank_ntc", "flag", 0, 0, 1),
    ("fit_pump_inlet_ntc", "flag", 0, 0, 1),
    ("fit_oil_level", "flag", 0, 0, 1),
    ("fit_diesel_level", "flag", 0, 0, 1),
    ("fit_supply", "flag", 0, 0, 1),
    ("fit_ambient", "flag", 0, 0, 1),
    ("fit_supply_contact", "flag", 0, 0, 1),
    ("fit_return_contact", "flag", 0, 0, 1),
    ("fit_heater", "flag", 0, 0, 1),
    ("suction_absolute", "flag", 0, 0, 1),
    ("oil_limit_cdegc", "cdegc", 6300, 3000, 9500),
    ("line_drop_cdegc", "cdegc", 500, 0, 2500),
    ("oil_entry_cdegc", "cdegc", 7400, 4000, 9500),
    ("oil_exit_cdegc", "cdegc", 6900, 3500, 9500),
    ("oil_hot_cdegc", "cdegc", 10000, 8000, 11500),
    ("coolant_entry_cdegc", "cdegc", 7000, 4000, 9000),
    ("coolant_exit_cdegc", "cdegc", 6400, 3000, 9000),
    ("heater_off_cdegc", "cdegc", 8000, 4000, 9500),
    ("ntc_check_recorded", "flag", 0, 0, 1),
    ("ntc_check_low_cdegc", "cdegc", 0, -1000, 3000),
    ("ntc_check_high_cdegc", "cdegc", 10000, 7000, 10500),
    ("coolant_trim_cdegc", "cdegc", 0, -500, 500),
    ("oil_trim_cdegc", "cdegc", 0, -500, 500),
    ("suction_zero_counts", "counts", 2621, -20000, 20000),
    ("suction_pa_per_kcount", "Pa/1000 counts", 1695, 100, 12000),
    ("baro_zero_counts", "counts", -6226, -20000, 20000),
    ("baro_pa_per_kcount", "Pa/1000 counts", 1695, 100, 12000),
    ("suction_block_pa", "Pa", 29000, 2000, 31000),
    ("suction_force_pa", "Pa", 30000, 4000, 32000),
    # the cold front of the oil in the feed line takes 10 kPa more for seconds, and the pump starves at 40
    ("suction_starved_pa", "Pa", 33000, 10000, 33000),
    ("oil_level_zero_counts", "counts", 3277, 0, 65535),
    ("oil_level_full_counts", "counts", 62259, 0, 65535),
    ("diesel_level_zero_counts", "counts", 3277, 0, 65535),
    ("diesel_level_full_counts", "counts", 62259, 0, 65535),
    ("oil_low_block_permille", "permille", 80, 20, 500),
    ("oil_low_force_permille", "permille", 50, 10, 500),
    ("oil_full_permille", "permille", 955, 500, 960),
    ("oil_tank_ml", "mL", 40000, 4000, 400000),
    ("diesel_low_block_permille", "permille", 80, 20, 500),
    ("diesel_low_force_permille", "permille", 30, 10, 500),
    ("supply_uv_per_count", "uV/count", 305, 100, 600),
    ("supply_block_mv", "mV", 11500, 10500, 13000),
    ("supply_force_mv", "mV", 9500, 8000, 11000),
    ("path_ul", "uL", 350000, 10000, 3000000),
    ("flow_measured_ul_s", "uL/s", 8000, 50, 40000),
    ("flow_max_ul_s", "uL/s", 28000, 1000, 60000),
    ("purge_factor_permille", "permille", 3000, 1500, 6000),
    ("dwell_diesel_s", "s", 60, 10, 600),
    ("reverts_max", "count", 4, 1, 20),
    ("run_on_s", "s", 0, 0, 120),
    ("cooling_time_s", "s", 6000, 600, 30000),
    ("oil_restart_cdegc", "cdegc", 5600, 3000, 9000),
    ("ambient_worst_cdegc", "cdegc", -1500, -4000, 3000),
    ("valve_hold_percent", "percent", 100, 40, 100),
]
ROWS.extend((name, "counts", counts, 1, 65535) for name, counts in zip(NTC_NAMES, _NTC_COUNTS))
ROWS.extend((name, "permille", permille, 20, 9000) for name, permille in zip(NORM_NAMES, _NORM_PERMILLE))


def defaults() -> dict[str, int]:
    """A fresh mapping of every setting to its default."""
    return {row[0]: row[2] for row in ROWS}


def purge_ul(values: dict[str, int]) -> int:
    """Purge target in uL, rounded up; worst case 3000 mL x 6000 permille = 18 000 000."""
    return (values["path_ul"] + 999) // 1000 * values["purge_factor_permille"]


def purge_permille(values: dict[str, int]) -> int:
    """What one purge adds to the oil tank's level, rounded up: it has to fit. uL of diesel into mL of tank is permille;
    a loop returns nothing to a tank. Worst case 18 000 000 over 4000."""
    return -(-purge_ul(values) // values["oil_tank_ml"]) if values["layout"] == TANK_RETURN else 0


def pump_entry_cdegc(values: dict[str, int]) -> int:
    """How warm fuel at the pump's inlet must be before oil is let in; only a loop asks.

    There only what is burnt flows, and pump and feed line, while cold, would cool the oil below its limit again. The hot
    oil that follows warms what goes round by 18 K before much of it is oil: the simulated car, -20 to 20 degC.
    """
    return values["oil_limit_cdegc"] - 1800 if values["layout"] == LOOPED_RETURN else _ANY_CDEGC


def flow_low_ul_s(values: dict[str, int]) -> int:
    """Flow that a purge is credited at: four fifths of what the owner measured into a jar at idle."""
    return values["flow_measured_ul_s"] * 4 // 5
