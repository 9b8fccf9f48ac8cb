"""The guided checks: what to do, what must happen, what measures it. In the order of the gates and rules of the hardware notes:
sensor plausible, emergency to diesel works, each output really moves, each input really toggles, then the rules that hands prove.

`source` names the gate (G) or rule (R) of the hardware notes that asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import host_sim.firmware_files  # noqa: F401  the link's own names
from changeover.inputs import SUPPLY_CONTACT
from changeover.settings import NTC_NAMES
from host_sim.signals import NTC_CHANNELS
from link_report import SENSORS
from secondtank.bench.check_rules import AMP, CLICKS, RULES
from secondtank.bench.words import CONTACTS

PLAUSIBLE, UNPLUGGED, EMERGENCY, OUTPUT, INPUT, TOLD = "plausible", "unplugged", "emergency", "output", "input", "told"
GROUPS = (
    (PLAUSIBLE, "1 Each sensor reads what is true"),
    (EMERGENCY, "2 Every emergency ends on diesel"),
    (OUTPUT, "3 Each output really moves"),
    (INPUT, "4 Each input really toggles"),
    (UNPLUGGED, "5 Each sensor that fails is found out"),
    (TOLD, "6 What hands and eyes prove"),
)
_FITS = (
    None, None, None, "fit_oil_tank_ntc", "fit_pump_inlet_ntc", "fit_oil_level", "fit_diesel_level", "fit_supply", "fit_ambient",
    "suction_absolute",
)  # fmt: skip
_SCALES = (
    ("coolant_trim_cdegc", *NTC_NAMES), ("oil_trim_cdegc", *NTC_NAMES), ("suction_zero_counts", "suction_pa_per_kcount"), tuple(NTC_NAMES),
    tuple(NTC_NAMES), ("oil_level_zero_counts", "oil_level_full_counts"), ("diesel_level_zero_counts", "diesel_level_full_counts"),
    ("supply_uv_per_count",), tuple(NTC_NAMES), ("baro_zero_counts", "baro_pa_per_kcount"),
)  # fmt: skip


@dataclass(frozen=True)
class Check:
    """One check. `kind`: what measures it; `target`: input, output or way; `fit`: the setting that must be 1 for it to apply;
    `touches`: settings whose change asks for it again; `firmware`: does another program?"""

    id: str
    kind: str
    title: str
    do: str
    must: str
    source: str
    target: str = ""
    caution: str = ""
    fit: str | None = None
    touches: tuple[str, ...] = ()
    firmware: bool = True

    def applies(self, values: dict[str, int]) -> bool:
        """Is what it looks at fitted?"""
        return self.fit is None or values[self.fit] == 1


def _touches(index: int) -> tuple[str, ...]:
    fit = _FITS[index]
    return (*(() if fit is None else (fit,)), *_SCALES[index])


def _sensors() -> list[Check]:
    checks = []
    for index, (name, unit) in enumerate(SENSORS):
        if index in NTC_CHANNELS:
            do, must = (
                "Cold-soaked for hours. Read a thermometer beside the sensor, type it in.",
                "the board reads within 3 K of it",
            )
        elif unit == "Pa":
            do, must = (
                "Hose off the sensor, engine off. Type in the true value: 0 kPa, or the air pressure.",
                "within 3 kPa",
            )
        elif unit == "mV":
            do, must = "Measure the supply at the board with a meter, type it in.", "within 0.3 V"
        else:
            do, must = "Dip the tank, type in how full it is.", "within 5 %"
        checks.append(
            Check(
                f"plausible-{index}",
                PLAUSIBLE,
                f"{name.capitalize()}: plausible",
                do,
                must,
                "G1, G3",
                str(index),
                "",
                _FITS[index],
                _touches(index),
            )
        )
    return checks


def _unplugged() -> list[Check]:
    return [
        Check(
            f"unplugged-{index}", UNPLUGGED, f"{name.capitalize()}: unplugged",
            "Turn the key on, engine off; wait until the sensor is trusted. Pull its plug.", "not trusted within 1 s", "G1, R12",
            str(index), AMP, _FITS[index], _touches(index),
        )
        for index, (name, _) in enumerate(SENSORS[:8])
    ]  # fmt: skip


_WAYS = (
    ("selector", "the selector is turned to DIESEL", 0.5),
    ("key", "the key is turned off", 0.5),
    ("engine", "the engine stops", 1.0),
    ("oil-sensor", "the oil sensor's wire breaks", 0.5),
    ("coolant-sensor", "the coolant sensor's wire breaks", 0.5),
    ("suction-sensor", "the suction sensor's wire breaks", 0.5),
    ("silence", "the desktop says nothing any more", 1.0),
)
WITHIN_S = {way: within for way, _, within in _WAYS}


def _emergencies() -> list[Check]:
    return [
        Check(
            f"emergency-{way}", EMERGENCY, f"To diesel when {what}",
            "Nothing by hand: the bench warms a made-up engine, lets the board change over, then this happens. Watch the supply valve's lamp.",
            f"supply valve without current within {within:g} s; its lamp dark", "G1", way, f"{AMP} {CLICKS}", None,
            ("authority", "layout", "oil_entry_cdegc", "coolant_entry_cdegc"),
        )
        for way, what, within in _WAYS
    ]  # fmt: skip


def _outputs() -> list[Check]:
    contact = {"supply_valve": "fit_supply_contact", "return_valve": "fit_return_contact"}
    return [
        Check(
            f"output-{name}", OUTPUT, f"Output {name.replace('_', ' ')}",
            "Begin, then press the board's button. Look at every lamp, then say what you saw.",
            f"it alone acts, for 2 s at most{'; its contact follows' if name in contact else ''}", "G1", name, f"{AMP} {CLICKS}",
            touches=(contact[name],) if name in contact else (),
        )
        for name in ("supply_valve", "return_valve", "filter_heater", "run_on", "buzzer", "red", "amber", "green")
    ]  # fmt: skip


def _inputs() -> list[Check]:
    checks = []
    for index, name in enumerate(CONTACTS):
        valve = index in (SUPPLY_CONTACT, SUPPLY_CONTACT + 1)
        fit = ("fit_supply_contact", "fit_return_contact")[index - SUPPLY_CONTACT] if valve else None
        do = "Move the valve by its self-test, or its contact by hand." if valve else "Switch it on and off, twice."
        checks.append(
            Check(
                f"input-{index}", INPUT, f"Input: {name}", do, "seen on and off; pulled off its plug it is off", "G1, R12", str(index), "",
                fit, () if fit is None else (fit,),
            )
        )  # fmt: skip
    return checks


def _rules() -> list[Check]:
    return [
        Check(
            f"rule-{number}", TOLD, f"R{number} {rule.title}", rule.do, rule.must, f"R{number}", caution=rule.caution,
            touches=rule.touches, firmware=rule.firmware,
        )
        for number, rule in enumerate(RULES, 1)
    ]  # fmt: skip


CHECKS: tuple[Check, ...] = (*_sensors(), *_emergencies(), *_outputs(), *_inputs(), *_unplugged(), *_rules())
BY_ID = {check.id: check for check in CHECKS}
