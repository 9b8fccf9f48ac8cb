"""The interlock table. One row, one interlock; its place is number, priority and message. The gravest stand first.

Columns: name; inputs of which at least one must be fitted, else the row is "not guarded"; blocks entry when; forces
exit when; ms until it blocks; ms until it forces; ms until it clears; where a forced exit ends; latched until key-off;
hazard. The names in the conditions are those of `row_names.NAMES`; the tests evaluate these texts against the code.
"""

from changeover.sensing import DIESEL_LEVEL, OIL_LEVEL, PUMP_INLET, SUPPLY

TO_PURGE, TO_DIESEL = 0, 1
HELD, LATCHED = 0, 1
ALWAYS = 0
# Fitted-input bits: one for each analog channel, then the contacts and the heater.
FIT_SUPPLY_CONTACT, FIT_RETURN_CONTACT, FIT_HEATER = 1 << 10, 1 << 11, 1 << 12
_NEVER = "never"

(
    SETTINGS,
    STARVED,
    SUPPLY_LOW,
    SUPPLY_VALVE,
    RETURN_VALVE,
    NO_ROOM,
    COOLANT_SENSOR,
    OIL_SENSOR,
    SUCTION_SENSOR,
    OTHER_SENSOR,
    AIR,
    OIL_HOT,
    RESTARTED,
    OVERRUN,
    MEMORY,
    ENGINE,
    OIL_LOW,
    DIESEL_LOW,
    LINES,
    RESTRICTED,
    CHATTER,
    HEATER,
    OIL_COLD,
    COOLANT_COLD,
    DWELL,
) = range(25)

TABLE: tuple[tuple, ...] = (
    ("settings not valid", ALWAYS, "settings_bad", "settings_bad", 0, 0, 0, TO_DIESEL, LATCHED, "H7"),
    ("fuel starved", ALWAYS, "suction > starved", "suction > starved", 1500, 1500, 0, TO_PURGE, LATCHED, "H4"),
    (
        "supply low", 1 << SUPPLY, "supply < supply_block", "engine and supply < supply_force",
        3000, 200, 3000, TO_DIESEL, HELD, "H7",
    ),
    (
        "supply valve not followed", FIT_SUPPLY_CONTACT | 1 << PUMP_INLET, "supply_unfollowed", "supply_unfollowed",
        2000, 2000, 0, TO_PURGE, LATCHED, "H9",
    ),
    (
        "return valve not followed", FIT_RETURN_CONTACT, "return_unfollowed", "return_unfollowed",
        2000, 2000, 0, TO_DIESEL, LATCHED, "H9",
    ),
    (
        "no room for a purge", 1 << OIL_LEVEL, "oil_level > oil_room", "oil_level > oil_full",
        5000, 5000, 5000, TO_DIESEL, HELD, "H10",
    ),
    ("coolant sensor not trusted", ALWAYS, "coolant_bad", "coolant_bad", 0, 0, 2000, TO_PURGE, HELD, "H1"),
    ("oil sensor not trusted", ALWAYS, "oil_bad", "oil_bad", 0, 0, 2000, TO_PURGE, HELD, "H1"),
    ("suction sensor not trusted", ALWAYS, "suction_bad", "suction_bad", 0, 0, 2000, TO_PURGE, HELD, "H4"),
    ("another fitted sensor not trusted", ALWAYS, "other_bad", "other_bad", 0, 0, 2000, TO_PURGE, HELD, "H1"),
    ("air leak or empty tank", ALWAYS, "air", "air", 2000, 2000, 0, TO_PURGE, LATCHED, "H4"),
    ("oil hot", ALWAYS, "oil > oil_hot - 300", "oil > oil_hot", 0, 2000, 2000, TO_PURGE, HELD, "H5"),
    ("restarted by the watchdog", ALWAYS, "restarted", _NEVER, 0, 0, 0, TO_PURGE, LATCHED, "H7"),
    ("ticks late", ALWAYS, "late", "late", 0, 0, 5000, TO_PURGE, HELD, "H7"),
    ("memory not writable", ALWAYS, "memory_bad", _NEVER, 0, 0, 0, TO_PURGE, LATCHED, "H7"),
    (
        "engine not running", ALWAYS, "not engine or engine_ms < 3000 or settling", "not engine",
        0, 0, 0, TO_PURGE, HELD, "H10",
    ),
    (
        "oil tank low", 1 << OIL_LEVEL, "oil_level < oil_low_block", "oil_level < oil_low_force",
        5000, 5000, 5000, TO_PURGE, HELD, "H4",
    ),
    (
        "diesel low", 1 << DIESEL_LEVEL, "diesel_level < diesel_low_block", "diesel_level < diesel_low_force",
        5000, 5000, 5000, TO_PURGE, HELD, "H2",
    ),
    ("oil left in the lines", ALWAYS, "lines_dirty", _NEVER, 0, 0, 0, TO_PURGE, HELD, "H2"),
    (
        "filter restricted", ALWAYS, "suction_mean > suction_block or spent", "suction > suction_force",
        0, 10000, 0, TO_PURGE, HELD, "H4",
    ),
    ("too many reverts", ALWAYS, "reverts > reverts_max", _NEVER, 0, 0, 0, TO_PURGE, LATCHED, "H1"),
    ("heater not heating", FIT_HEATER, "heater_failed", _NEVER, 0, 0, 0, TO_PURGE, HELD, "H5"),
    ("oil cold", ALWAYS, "oil_coldest < oil_entry or pump_inlet < pump_entry", "oil < oil_exit", 0, 2000, 2000, TO_PURGE, HELD, "H1"),
    ("coolant cold", ALWAYS, "coolant < coolant_entry", "coolant < coolant_exit", 0, 2000, 2000, TO_PURGE, HELD, "H1"),
    ("shortest time on diesel", ALWAYS, "dwell_ms > 0", _NEVER, 0, 0, 0, TO_PURGE, HELD, "H1"),
)  # fmt: skip

NAME, NEEDS, BLOCKS, FORCES, BLOCK_MS, FORCE_MS, CLEAR_MS, AFTER, LATCH, HAZARD = range(10)
FORBIDS_PURGE = 1 << SETTINGS | 1 << SUPPLY_LOW | 1 << RETURN_VALVE | 1 << NO_ROOM
NOT_IN_LOOP = 1 << RETURN_VALVE | 1 << NO_ROOM  # rows that a looped return cannot break: nothing there goes to a tank
