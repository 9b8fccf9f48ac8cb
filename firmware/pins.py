"""The pin map, once: the driver, the wiring page and the tests read it here. No hardware is touched.

Every output is high when active and has a pull-down outside the board; a pin of the RP2040 is an input with its own
pull-down from reset on (RP2040 datasheet, PADS_BANK0). Switched inputs are contacts to ground under a pull-up: a broken wire is off.
"""

IN, OUT, DIMMED, ANALOG, BUS = range(5)
LOW, HIGH = 0, 1
NO_PULL, PULL_UP, PULL_DOWN = range(3)

# gpio, name, direction, active level, pull, what it is. Inputs and outputs each stand in the order in which they are read
# and driven: the law's contacts, then its commands.
PINS: tuple[tuple[int, str, int, int, int, str], ...] = (
    (0, "key", IN, LOW, PULL_UP, "ignition on, through an isolator"),
    (1, "engine", IN, LOW, PULL_UP, "engine running: alternator lamp or oil pressure, through an isolator"),
    (2, "ready", IN, LOW, PULL_UP, "selector on READY"),
    (3, "button", IN, LOW, PULL_UP, "button 'stopping soon'"),
    (8, "supply_contact", IN, LOW, PULL_UP, "supply valve stands on oil"),
    (9, "return_contact", IN, LOW, PULL_UP, "return valve stands on oil"),
    (10, "brake", IN, LOW, PULL_UP, "parking brake is on"),
    (11, "neutral", IN, LOW, PULL_UP, "gear lever in neutral"),
    (12, "bonnet", IN, LOW, PULL_UP, "bonnet is closed"),
    (13, "lighting", IN, LOW, PULL_UP, "lighting line: dims lamps and display, through an isolator"),
    (14, "supply_valve", OUT, HIGH, PULL_DOWN, "power stage of the supply valve; fed through key and selector"),
    (15, "return_valve", OUT, HIGH, PULL_DOWN, "power stage of the return valve; fed from the held feed"),
    (16, "filter_heater", OUT, HIGH, PULL_DOWN, "relay of the filter heater, behind the engine-running relay"),
    (17, "power_hold", OUT, HIGH, PULL_DOWN, "the board keeps its own feed after key-off"),
    (18, "run_on", OUT, HIGH, PULL_DOWN, "run-on relay, in series with timer relay and switches"),
    (19, "buzzer", OUT, HIGH, PULL_DOWN, "buzzer that sounds by itself"),
    (20, "red", DIMMED, HIGH, PULL_DOWN, "red lamp"),
    (21, "amber", DIMMED, HIGH, PULL_DOWN, "amber lamp"),
    (22, "green", DIMMED, HIGH, PULL_DOWN, "green lamp"),
    (26, "coolant", ANALOG, HIGH, NO_PULL, "coolant thermistor at the feed to the tank, under 5.6 kohm"),
    (27, "oil", ANALOG, HIGH, NO_PULL, "oil thermistor at the filter outlet, under 5.6 kohm"),
    (28, "suction", ANALOG, HIGH, NO_PULL, "suction sensor at the filter outlet"),
    (4, "converter_sda", BUS, LOW, PULL_UP, "data of the converters' bus (I2C 0)"),
    (5, "converter_scl", BUS, LOW, PULL_UP, "clock of the converters' bus (I2C 0)"),
    (6, "display_sda", BUS, LOW, PULL_UP, "data of the display's bus (I2C 1)"),
    (7, "display_scl", BUS, LOW, PULL_UP, "clock of the display's bus (I2C 1)"),
)  # fmt: skip


def gpios(*directions: int) -> list[int]:
    """The pins of these directions, in the table's order."""
    return [row[0] for row in PINS if row[2] in directions]


def gpio(name: str) -> int:
    """The pin of this name."""
    return next(row[0] for row in PINS if row[1] == name)


# The outputs' places in their list.
SUPPLY_VALVE, RETURN_VALVE, FILTER_HEATER, POWER_HOLD, RUN_ON, BUZZER = range(6)
OUTPUTS = [row[1] for row in PINS if row[2] in (OUT, DIMMED)]
