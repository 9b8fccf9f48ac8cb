"""The names in the conditions of the interlock table, for its readers. Loaded only when somebody asks.

A comparison with a reading that is not fitted or not trusted is false: that sensor's own row acts instead. The other
names, those compared with, are the thresholds of `limits.Limits`.
"""

NAMES = {
    "coolant": "temperature at the coolant sensor, 0.01 degC",
    "oil": "temperature at the filter outlet, 0.01 degC",
    "oil_coldest": "the lower of filter outlet and, where fitted and trusted, tank outlet, 0.01 degC",
    "pump_inlet": "temperature at the injection pump's inlet, 0.01 degC",
    "suction": "pressure below ambient at the filter outlet, Pa",
    "suction_mean": "mean suction while oil is drawn, corrected to oil of 70 degC, of this trip or the last, Pa; 0 while not known",
    "spent": "the filter has ended oil in this trip",
    "supply": "supply voltage, mV",
    "oil_level": "content of the oil tank, permille",
    "diesel_level": "content of the diesel tank, permille",
    "engine": "the engine runs",
    "engine_ms": "for how long it has run, ms",
    "settling": "a fitted sensor has not been read often enough since key-on",
    "coolant_bad": "the coolant sensor is not trusted",
    "oil_bad": "the oil sensor at the filter outlet is not trusted",
    "suction_bad": "the suction sensor, or the ambient pressure it is compared with, is not trusted",
    "other_bad": "a fitted sensor of tank outlet, pump inlet, levels or supply is not trusted",
    "air": "suction is below half of what this filter showed before at this temperature, and that was 4 kPa or more",
    "supply_unfollowed": "the supply valve's contact, or the temperature at the pump inlet, contradicts its command",
    "return_unfollowed": "the return valve's contact contradicts its command",
    "heater_failed": "the filter heater was on for five minutes without effect",
    "settings_bad": "the validator found errors in the settings",
    "restarted": "the watchdog restarted the board since the last key-on",
    "late": "two ticks close together came late",
    "memory_bad": "a record could not be written",
    "lines_dirty": "oil may stand between supply valve and injectors",
    "reverts": "how often oil was left for a reason other than the driver or the engine, this trip",
    "dwell_ms": "what remains of the shortest time on diesel, ms",
    "never": "this row never does",
}
