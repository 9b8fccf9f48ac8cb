"""The one validator of settings, for board and desktop: all errors at once, each with name, value, range and why."""

from changeover.sensing import Thermistor
from changeover.settings import (
    AUTOMATIC,
    LOOPED_RETURN,
    NORM_NAMES,
    NTC_NAMES,
    PERMIT,
    ROWS,
    TANK_RETURN,
    flow_low_ul_s,
    purge_permille,
    purge_ul,
)

_STEP_COUNTS = (512 * 16, 1536 * 16, 2560 * 16, 3584 * 16)  # where the board's converter has its steps (RP2040-E11)
_STEP_MARGIN_CDEGC = 150
_HYSTERESIS_CDEGC = 200  # several times what a reading trembles by


def undetectable_cdegc(values: dict[str, int]) -> int:
    """The sensor offset that nothing can notice: 5 K until the ice-and-boiling check is recorded, then 2 K."""
    return 200 if values["ntc_check_recorded"] else 500


def highest_authority(values: dict[str, int]) -> int:
    """What the board may at most be trusted with, by what is fitted."""
    guarded = values["fit_supply"] and values["fit_oil_level"] and values["fit_pump_inlet_ntc"]
    if values["layout"] == TANK_RETURN:
        guarded = guarded and values["fit_return_contact"] and values["fit_diesel_level"]
    return AUTOMATIC if guarded else PERMIT


def validate(values: dict[str, int]) -> list[tuple[str, object, str, str]]:
    """Every error as (name, value, what is allowed, why); an empty list means valid."""
    errors = _ranges(values)
    if errors:
        return errors  # the rules below compare settings, which makes sense only once each is in its range
    _tables(values, errors)
    if not errors:
        _temperatures(values, errors)
    _pairs(values, errors)
    _volumes(values, errors)
    return errors


def _ranges(values: dict[str, int]) -> list[tuple[str, object, str, str]]:
    errors: list[tuple[str, object, str, str]] = []
    known = set()
    for name, unit, _, low, high in ROWS:
        known.add(name)
        allowed = "%d to %d %s" % (low, high, unit)
        if name not in values:
            errors.append((name, None, allowed, "is missing"))
            continue
        value = values[name]
        if type(value) is not int:
            errors.append((name, value, allowed, "is not a whole number"))
        elif value < low or value > high:
            no_volume = name == "path_ul" and value <= 0
            why = "a purge of no volume leaves oil in the pump" if no_volume else "is out of range"
            errors.append((name, value, allowed, why))
    for name in sorted(values):
        if name not in known:
            errors.append((name, values[name], "a name from the list of settings", "is not a setting"))
    return errors


def _tables(values: dict[str, int], errors: list[tuple[str, object, str, str]]) -> None:
    for names, sign, word in ((NTC_NAMES, -1, "below"), (NORM_NAMES, 1, "above")):
        for index in range(1, len(names)):
            before = values[names[index - 1]]
            if (values[names[index]] - before) * sign <= 0:
                errors.append(
                    (names[index], values[names[index]], "%s %d" % (word, before), "the table must run one way")
                )


def _temperatures(values: dict[str, int], errors: list[tuple[str, object, str, str]]) -> None:
    floor = values["oil_limit_cdegc"] + undetectable_cdegc(values)
    why = "oil_limit_cdegc plus the offset that no rule can notice"
    if values["oil_exit_cdegc"] < floor:
        errors.append(("oil_exit_cdegc", values["oil_exit_cdegc"], "%d or more" % floor, why))
    floor += values["line_drop_cdegc"]
    if values["oil_entry_cdegc"] < floor:
        why = why + ", plus line_drop_cdegc for the cold lines to the pump"
        errors.append(("oil_entry_cdegc", values["oil_entry_cdegc"], "%d or more" % floor, why))
    for exit_name, entry_name in (("oil_exit_cdegc", "oil_entry_cdegc"), ("coolant_exit_cdegc", "coolant_entry_cdegc")):
        highest = values[entry_name] - _HYSTERESIS_CDEGC
        if values[exit_name] > highest:
            allowed = "at most %d, %d below %s" % (highest, _HYSTERESIS_CDEGC, entry_name)
            errors.append((exit_name, values[exit_name], allowed, "an exit floor so near the entry would chatter"))
    if values["coolant_exit_cdegc"] < values["oil_limit_cdegc"]:
        allowed = "at least oil_limit_cdegc = %d" % values["oil_limit_cdegc"]
        why = "it guards the oil where the two sensors are swapped"
        errors.append(("coolant_exit_cdegc", values["coolant_exit_cdegc"], allowed, why))
    _steps(values, "coolant_trim_cdegc", (("coolant_entry_cdegc", 0), ("coolant_exit_cdegc", 0)), errors)
    _steps(
        values, "oil_trim_cdegc",
        (
            ("oil_entry_cdegc", 0), ("oil_exit_cdegc", 0), ("oil_hot_cdegc", 0), ("oil_hot_cdegc", -300),
            ("oil_restart_cdegc", 0), ("heater_off_cdegc", 0), ("heater_off_cdegc", -200),
        ),
        errors,
    )  # fmt: skip
    _steps(values, "", (("ntc_check_low_cdegc", 0), ("ntc_check_high_cdegc", 0)), errors)


def _steps(
    values: dict[str, int], trim: str, names: tuple[tuple[str, int], ...], errors: list[tuple[str, object, str, str]]
) -> None:
    thermistor = Thermistor(True, values, values[trim] if trim else 0)
    for name, shift in names:
        for counts in _STEP_COUNTS:
            step = thermistor.convert(counts)
            if abs(values[name] + shift - step) < _STEP_MARGIN_CDEGC:
                allowed = "%d away from %d" % (_STEP_MARGIN_CDEGC, step - shift)
                errors.append((name, values[name], allowed, "the converter has a step there"))


def _pairs(values: dict[str, int], errors: list[tuple[str, object, str, str]]) -> None:
    for low, high, why in (
        ("suction_block_pa", "suction_force_pa", "a clogging filter blocks the next entry before it ends this one"),
        ("suction_force_pa", "suction_starved_pa", "a clogging filter must be seen before the engine starves"),
        ("supply_force_mv", "supply_block_mv", "what ends oil lies below what blocks it"),
        ("oil_low_force_permille", "oil_low_block_permille", "what ends oil lies below what blocks it"),
        ("diesel_low_force_permille", "diesel_low_block_permille", "what ends oil lies below what blocks it"),
        ("oil_level_zero_counts", "oil_level_full_counts", "an empty tank reads less than a full one"),
        ("diesel_level_zero_counts", "diesel_level_full_counts", "an empty tank reads less than a full one"),
        ("flow_measured_ul_s", "flow_max_ul_s", "the highest flow is not below the measured one"),
    ):
        if values[low] >= values[high]:
            errors.append((low, values[low], "below %s = %d" % (high, values[high]), why))


def _volumes(values: dict[str, int], errors: list[tuple[str, object, str, str]]) -> None:
    highest = highest_authority(values)
    if values["authority"] > highest:
        why = (
            "more needs supply voltage, oil level, pump-inlet NTC and, with a tank return, its contact and diesel level"
        )
        errors.append(("authority", values["authority"], "at most %d" % highest, why))
    if values["layout"] == TANK_RETURN:
        room = values["oil_full_permille"] - purge_permille(values)
        if room < values["oil_low_block_permille"] + 100:
            why = "a purge of %d mL leaves no level at which oil may be used" % (purge_ul(values) // 1000)
            errors.append(("oil_tank_ml", values["oil_tank_ml"], "a larger tank or a smaller purge", why))
    if values["layout"] == LOOPED_RETURN and values["run_on_s"]:
        why = "a looped return is purged while driving, not in two minutes"
        errors.append(("run_on_s", values["run_on_s"], "0", why))
    if purge_ul(values) // flow_low_ul_s(values) > 36000:
        errors.append(("flow_measured_ul_s", values["flow_measured_ul_s"], "more", "a purge would take over ten hours"))
