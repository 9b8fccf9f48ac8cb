"""What a smaller and a larger value of each setting mean. Loaded only when somebody asks."""

_NTC = ("the sensor is taken to be warmer at this reading", "the sensor is taken to be colder at this reading")
_NORM = ("suction at this temperature counts for less", "suction at this temperature counts for more")
_FLAG = ("0: not fitted, its interlocks are not guarded", "1: fitted, read, and missed when it fails")
_TRIM = ("the sensor is taken to read too high", "the sensor is taken to read too low")
_ZERO = ("reads higher than before", "reads lower than before")
_GAIN = ("every reading is smaller", "every reading is larger")
_FULL = ("the tank seems fuller", "the tank seems emptier")

HELP = {
    "authority": (
        "0 advises and moves nothing, 1 moves when the selector asks",
        "2 moves by itself while the selector is on READY",
    ),
    "layout": ("0: the return goes to a tank", "1: it loops to the pump inlet; a purge takes minutes of driving"),
    "fit_oil_tank_ntc": _FLAG,
    "fit_pump_inlet_ntc": _FLAG,
    "fit_oil_level": _FLAG,
    "fit_diesel_level": _FLAG,
    "fit_supply": _FLAG,
    "fit_ambient": _FLAG,
    "fit_supply_contact": _FLAG,
    "fit_return_contact": _FLAG,
    "fit_heater": _FLAG,
    "suction_absolute": ("0: the sensor measures against ambient", "1: it reads absolute, a second one gives ambient"),
    "oil_limit_cdegc": (
        "thinner oil: it reaches the pump's limit while cooler",
        "thicker oil: entry and exit must rise with it",
    ),
    "line_drop_cdegc": ("short or heated lines to the pump", "oil cools more between filter and pump as it changes over"),
    "oil_entry_cdegc": ("on oil sooner, thicker oil at the pump", "thinner oil at the pump, more diesel bought"),
    "oil_exit_cdegc": ("rides out a cool spell, nearer to the limit", "back on diesel sooner, more changes"),
    "oil_hot_cdegc": ("a warm day may end the oil", "hotter oil ages faster and boils water out in the hose"),
    "coolant_entry_cdegc": ("on oil while the engine still warms", "a cold engine gets diesel for longer"),
    "coolant_exit_cdegc": ("rides out a long descent", "a long descent ends the oil"),
    "heater_off_cdegc": ("saves current, filter cooler", "filter warmer, more current"),
    "ntc_check_recorded": (
        "0: an unseen offset of 5 K is allowed for",
        "1: ice and boiling were checked, 2 K are allowed for",
    ),
    "ntc_check_low_cdegc": ("ice with salt in it", "not ice any more"),
    "ntc_check_high_cdegc": ("boiling at altitude", "boiling at high pressure"),
    "coolant_trim_cdegc": _TRIM,
    "oil_trim_cdegc": _TRIM,
    "suction_zero_counts": _ZERO,
    "suction_pa_per_kcount": _GAIN,
    "baro_zero_counts": _ZERO,
    "baro_pa_per_kcount": _GAIN,
    "suction_block_pa": ("filters are changed early", "filters are used longer, nearer to starving"),
    "suction_force_pa": ("a cold slug may end the oil", "nearer to starving"),
    "suction_starved_pa": ("a hill may end the oil", "the pump draws vapour before anything is done"),
    "oil_level_zero_counts": _ZERO,
    "oil_level_full_counts": _FULL,
    "diesel_level_zero_counts": _ZERO,
    "diesel_level_full_counts": _FULL,
    "oil_low_block_permille": ("uses more of the tank", "leaves more in it"),
    "oil_low_force_permille": ("nearer to drawing air", "leaves more in it"),
    "oil_full_permille": ("room for a purge is asked for earlier", "nearer to spilling"),
    "oil_tank_ml": ("a purge raises the level more", "a purge raises the level less"),
    "diesel_low_block_permille": ("less diesel is kept for the purge", "more is kept"),
    "diesel_low_force_permille": ("less diesel is kept for the purge", "more is kept"),
    "supply_uv_per_count": _GAIN,
    "supply_block_mv": ("oil on a weaker battery", "a weak alternator blocks oil"),
    "supply_force_mv": ("valves may drop out by themselves first", "a dip may end the oil"),
    "path_ul": (
        "shorter fill and purge; too small leaves oil behind",
        "longer fill and purge, more diesel into the oil tank",
    ),
    "flow_measured_ul_s": ("purges take longer", "purges are credited faster; too large leaves oil behind"),
    "flow_max_ul_s": (
        "fills take longer; too small puts oil into the diesel tank",
        "the return changes earlier, more diesel into the oil tank",
    ),
    "purge_factor_permille": ("more oil is left behind", "more diesel for each purge"),
    "dwell_diesel_s": ("changes may follow each other quickly", "waits longer after a return to diesel"),
    "reverts_max": ("locks out sooner", "allows more changes in one trip"),
    "run_on_s": (
        "0: the engine is never held running",
        "the engine may be held on longer after key-off, never in a closed space: carbon monoxide",
    ),
    "cooling_time_s": ("shorter stops are advised", "longer stops are advised"),
    "oil_restart_cdegc": ("longer stops, thicker oil at the restart", "shorter stops"),
    "ambient_worst_cdegc": ("without an ambient sensor: shorter stops are advised", "longer stops are advised"),
    "valve_hold_percent": (
        "less current and heat in the coils after half a second; too small, and they drop out to diesel",
        "100: the coils take their full current",
    ),
}  # fmt: skip


def meaning(name: str) -> tuple[str, str]:
    """(what smaller means, what larger means) of a setting; KeyError for a name that is none."""
    if name.startswith("ntc_") and name.endswith("_counts"):
        return _NTC
    return _NORM if name.startswith("suction_norm_") else HELP[name]
