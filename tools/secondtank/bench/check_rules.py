"""The rules of the hardware notes that hands and eyes prove: R1 to R19, each with its bench check."""

from __future__ import annotations

from dataclasses import dataclass, field

from changeover.settings import NTC_NAMES

AMP = "Supply limited to 1 A, lamps of 5 W in place of coils and relays. Stop when anything gets warm or a lamp glows unasked."
CLICKS = "A valve clicks and a heater or relay may act: hands out of the engine bay, fuel lines closed, nothing that burns about."
_FUEL = "Fuel in the air: no spark, doors open. Licensed practice goes first where your country asks for it."
_RUNS = "Hot oil, running engine: outdoors (carbon monoxide), not alone, sleeves away from belts, glasses and gloves."
_WATER = "Water and mains leads do not share a bench."
_SUCTION = ("suction_zero_counts", "suction_pa_per_kcount")
_LEVEL = ("oil_level_zero_counts", "oil_level_full_counts", "oil_full_permille")


@dataclass(frozen=True)
class Rule:
    """`touches`: settings whose change asks for it again; `firmware`: does another program?"""

    title: str
    do: str
    must: str
    caution: str = AMP
    firmware: bool = False
    touches: tuple[str, ...] = field(default=())


RULES = (
    Rule(
        "Springs to diesel",
        "Pull the valve's plug while it is on oil; water on both sides.",
        "it clicks over, water comes from the diesel side",
        f"{CLICKS} {_WATER}",
    ),
    Rule(
        "Pull-downs at the gates",
        "Pull the Pico out of its socket.",
        "every stage's output stays at 12 V, each lamp dark",
    ),
    Rule(
        "Supply valve through key and selector in copper",
        "Short Q1 by a wire.",
        "lamp on with key and READY; off by the key alone, off by DIESEL alone",
    ),
    Rule("Selector has two poles", "READY, with F2 pulled.", "the service page shows READY, the valve's lamp is off"),
    Rule(
        "Return valve on the held feed",
        "Short Q2 by a wire, key off.",
        "its lamp stays on until the board lets its feed go, then it is dark",
    ),
    Rule(
        "Diode at each coil",
        "Switch the real coil 50 times at 14 V.",
        "the drain never shows more than 16 V, the valve always drops within 0.1 s",
    ),
    Rule(
        "Contacts on both valves",
        "Change over on the bench (14 V on the engine line, resistors for warm sensors), contact unplugged.",
        "'did not follow' within 2 s",
        CLICKS,
        True,
        ("fit_supply_contact", "fit_return_contact"),
    ),
    Rule(
        "Heater behind K1, K2, cut-out, fuse",
        "Engine lamp line at 0, 2 and 14 V; warm the cut-out with hot air.",
        "K1 closes at 14 V only; the cut-out opens by 110 degC",
        "The cut-out's metal burns skin.",
    ),
    Rule(
        "Run-on: relay, timer, brake, neutral, bonnet in series",
        "Lamp in place of the solenoid, key off: open each alone.",
        "it goes out each time; all closed, it goes out by 120 s",
        AMP,
        True,
        ("run_on_s",),
    ),
    Rule("A ground wire of its own from each sensor", "Heater, fan and lights on.", "no temperature moves by 0.5 K"),
    Rule(
        "Pull-ups of 5.6 kohm 0.1 %",
        "Precision resistors 32.65 kohm, then 678 ohm in place of each thermistor.",
        "0 degC within 1.5 K, 100 degC within 2.5 K",
        AMP,
        True,
        tuple(NTC_NAMES),
    ),
    Rule(
        "Pull-down at every voltage input",
        "All of part 5, and each contact unplugged.",
        "not trusted within 1 s, contact off",
    ),
    Rule(
        "Suction sensor above its T-piece",
        "Lift water by 1 m in a clear hose at the sensor.",
        "9.8 kPa within 3 kPa",
        _WATER,
        True,
        _SUCTION,
    ),
    Rule(
        "Clamps on suction hoses",
        "Hand pump to 40 kPa below ambient, closed for 5 min.",
        "falls by less than 2 kPa",
        _FUEL,
    ),
    Rule(
        "Path and flow measured",
        "Return into a jar, 60 s at idle, twice; see Calibrate.",
        "twice within 5 %, written to the board",
        _RUNS,
        False,
        ("flow_measured_ul_s", "path_ul"),
    ),
    Rule(
        "Oil tank vented, 5 % left free",
        "Fill with water to 95 %.",
        "the service page says 95 %; nothing drips in any lean",
        _WATER,
        False,
        _LEVEL,
    ),
    Rule(
        "Each circuit its own fuse",
        "Short each coil's feed at the plug.",
        "only its own fuse blows",
        "A short makes a spark: no fuel about, eyes away.",
    ),
    Rule("Hold switch opens by itself", "Key off.", "dark within 10 min; then under 1 mA from the battery", AMP, True),
    Rule(
        "A dark panel means DIESEL at the selector", "On READY, take the board's feed away.", "valves off, lamps dark"
    ),
)
