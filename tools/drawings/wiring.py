"""The pin map and what is soldered to each pin, from the firmware's own table."""

from __future__ import annotations

from drawings import networks
from drawings.markdown import table
from drawings.networks import ohm
from pins import ANALOG, BUS, IN, LOW, PINS

# Pins 1 to 40 of the board's two rows (Raspberry Pi Pico data sheet, pinout figure; a test holds it against another drawing).
HEADER = (
    "GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND", "GP6", "GP7",
    "GP8", "GP9", "GND", "GP10", "GP11", "GP12", "GP13", "GND", "GP14", "GP15",
    "GP16", "GP17", "GND", "GP18", "GP19", "GP20", "GP21", "GND", "GP22", "RUN",
    "GP26", "GP27", "AGND", "GP28", "ADC_VREF", "3V3(OUT)", "3V3_EN", "GND", "VSYS", "VBUS",
)  # fmt: skip

_POWER = {
    "AGND": "sensor ground, one point; the clamps' lower end",
    "ADC_VREF": "sensor rail: 3.3 V, 1 %, from a regulator of its own; pull-ups, sensors and bus converters live on it",
    "3V3(OUT)": "pull-ups of contacts, isolators and both buses",
    "VSYS": "5 V from the converter, by a Schottky diode, so that USB and car never feed each other",
    "VBUS": "leave free: 5 V of the USB plug",
    "RUN": "leave free, or a push button to ground: reset",
    "3V3_EN": "leave free",
}


def header_pin(gpio: int) -> int:
    """The board's pin (1 to 40) of this GPIO. Raises ValueError where it is on none."""
    return HEADER.index(f"GP{gpio}") + 1


def kind(direction: int) -> str:
    """What a direction of `pins` means at the soldering iron."""
    if direction == IN:
        return "input"
    if direction == ANALOG:
        return "analog input"
    return "bus" if direction == BUS else "output"


def parts(direction: int, what: str) -> str:
    """The network at a pin."""
    if direction == IN:
        if "isolator" in what:
            line = f"{networks.ZENER_V:g} V Zener and {ohm(networks.ZENER_SERIES_OHM)}"
            if what.startswith("ignition"):  # must be seen while cranking
                line = ohm(networks.ISOLATOR_OHM)
            return f"line, {line}, isolator to ground, {ohm(networks.ISOLATOR_PULLUP_OHM)} to 3V3"
        return f"contact to ground, {ohm(networks.CONTACT_PULLUP_OHM)} to 3V3, {ohm(networks.CONTACT_SERIES_OHM)} in series, 100 nF"
    if direction == ANALOG:
        first = (
            f"{ohm(networks.NTC_PULLUP_OHM)} 0.1 % to ADC_VREF"
            if "thermistor" in what
            else f"{ohm(networks.SIGNAL_PULLDOWN_OHM)} to AGND"
        )
        return f"{first}, {ohm(networks.SERIES_OHM)} in series, {networks.FILTER_UF:g} µF and clamp at the pin"
    if direction == BUS:
        return "4.7 kΩ to 3V3, wires under 0.3 m"
    return f"{ohm(networks.GATE_OHM)} to the gate, {ohm(networks.GATE_PULLDOWN_OHM)} from gate to ground"


def pin_page() -> str:
    """Every pin that the firmware uses, in the order of the board's rows."""
    rows = [
        (
            header_pin(gpio), f"GP{gpio}", f"`{name}`", kind(direction),
            "on when low" if active == LOW and direction == IN else "on when high" if kind(direction) == "output" else "",
            what, parts(direction, what),
        )
        for gpio, name, direction, active, _, what in PINS
    ]  # fmt: skip
    rows += [
        (number, label, "", "power", "", _POWER[label], "") for number, label in enumerate(HEADER, 1) if label in _POWER
    ]
    text = table(
        ["pin", "label", "name", "kind", "sense", "what", "at the pin"],
        ([str(row[0]), *row[1:]] for row in sorted(rows)),
    )
    grounds = [str(number) for number, label in enumerate(HEADER, 1) if label == "GND"]
    return text + f"\nGround of the board: pins {', '.join(grounds)}.\n"


# Inputs of the two bus converters (`firmware/converters.py`): chip at 0x48 first, then 0x49, in the law's order.
def converter_page() -> str:
    """What goes to the eight inputs of the bus converters."""
    divider = f"{ohm(networks.SUPPLY_TOP_OHM)} over {ohm(networks.SUPPLY_BOTTOM_OHM)}, 0.1 %"
    ntc = f"{ohm(networks.NTC_PULLUP_OHM)} 0.1 % to ADC_VREF, {ohm(networks.SERIES_OHM)}, {networks.FILTER_UF:g} µF, clamp"
    level = f"{ohm(networks.SIGNAL_PULLDOWN_OHM)} to AGND, {ohm(networks.SERIES_OHM)}, {networks.FILTER_UF:g} µF, clamp"
    rows = [
        ("oil thermistor at the tank outlet", ntc),
        ("fuel thermistor at the pump inlet", ntc),
        ("oil level", level),
        ("diesel level", level),
        (f"supply voltage, from the held feed (`supply_uv_per_count` = {networks.supply_uv_per_count()})", f"{divider}, 1 µF, clamp"),
        ("ambient thermistor", ntc),
        ("ambient pressure, with an absolute suction sensor", level),
        ("ADC_VREF itself, for the ratio", "-"),
    ]  # fmt: skip
    return table(
        ["address", "input", "what", "network"],
        ([("0x48", "0x49")[place // 4], f"A{place % 4}", what, network] for place, (what, network) in enumerate(rows)),
    )
