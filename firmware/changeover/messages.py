"""What the driver is told. Ids 0 .. 31 are the rows of the interlock table, the rest stand here; append only.

One table a language: head (16 characters) and what to do (two lines of 16), as the display shows them.
"""

from changeover import rows

FILLING, ON_OIL, PURGING, PURGE_WAITS, MAY_STOP, OIL_READY = range(32, 38)
PARKED_CLEAN, OIL_LEFT, RUNNING_ON, PURGE_CUT, STANDING, PURGE_NOW, ASK_AGAIN, OIL_WARM = range(38, 46)

NORMAL, NOTICE, WARNING, GRAVE = range(4)

ENGLISH = {
    rows.SETTINGS: ("SETTINGS BAD", "Stay on diesel\nmend settings"),
    rows.STARVED: ("FUEL STARVED", "On diesel now\ncheck filter"),
    rows.SUPPLY_LOW: ("SUPPLY LOW", "Check battery\nand alternator"),
    rows.SUPPLY_VALVE: ("SUPPLY VALVE", "did not follow\nset DIESEL"),
    rows.RETURN_VALVE: ("RETURN VALVE", "did not follow\nset DIESEL"),
    rows.NO_ROOM: ("OIL TANK FULL", "No room for the\npurge"),
    rows.COOLANT_SENSOR: ("COOLANT SENSOR", "not trusted\ncheck wiring"),
    rows.OIL_SENSOR: ("OIL SENSOR", "not trusted\ncheck wiring"),
    rows.SUCTION_SENSOR: ("SUCTION SENSOR", "not trusted\ncheck wiring"),
    rows.OTHER_SENSOR: ("ANOTHER SENSOR", "not trusted\nsee service page"),
    rows.AIR: ("AIR OR NO OIL", "Check tank and\nhose joints"),
    rows.OIL_HOT: ("OIL HOT", "Let it cool\ncheck heater"),
    rows.RESTARTED: ("BOARD RESTARTED", "No oil until\nkey off and on"),
    rows.OVERRUN: ("BOARD LATE", "On diesel\nsee service page"),
    rows.MEMORY: ("MEMORY FAILED", "No oil today\nsee service page"),
    rows.ENGINE: ("ENGINE OFF", "or just started\nwait"),
    rows.OIL_LOW: ("OIL TANK LOW", "Fill the oil\ntank"),
    rows.DIESEL_LOW: ("DIESEL LOW", "Fill the diesel\ntank"),
    rows.LINES: ("OIL IN LINES", "Purge first\nengine running"),
    rows.RESTRICTED: ("FILTER CLOGGED", "Change the oil\nfilter"),
    rows.CHATTER: ("TOO MANY CHANGES", "No oil until\nkey off and on"),
    rows.HEATER: ("HEATER COLD", "Filter heater\ndoes not heat"),
    rows.OIL_COLD: ("OIL COLD", "Wait until it\nis warm"),
    rows.COOLANT_COLD: ("COOLANT COLD", "Wait until it\nis warm"),
    rows.DWELL: ("WAIT", "Shortest time\non diesel"),
    FILLING: ("CHANGING OVER", "to oil"),
    ON_OIL: ("ON OIL", "Purge before a\nlong stop"),
    PURGING: ("PURGING", "Keep the engine\nrunning"),
    PURGE_WAITS: ("PURGE WAITS", "Start the engine\nto finish it"),
    MAY_STOP: ("PURGE COMPLETE", "You may stop"),
    OIL_READY: ("OIL IS READY", "Selector READY\nto change over"),
    PARKED_CLEAN: ("LINES ON DIESEL", "Nothing to do"),
    OIL_LEFT: ("OIL IN LINES", "Start and purge\nbefore it cools"),
    RUNNING_ON: ("PURGING, KEY OFF", "Stay with the\ncar"),
    PURGE_CUT: ("PURGE CUT SHORT", "Start and purge\nbefore it cools"),
    STANDING: ("MAY STAND (min)", "from now on\nas it is"),
    PURGE_NOW: ("PURGE BEFORE", "any stop\nhold the button"),
    ASK_AGAIN: ("OIL IS READY", "Selector DIESEL,\nthen READY"),
    OIL_WARM: ("OIL IS WARM", "Only telling:\nI move no valve"),
}

_COMMON = 1 << rows.ENGINE | 1 << rows.OIL_COLD | 1 << rows.COOLANT_COLD | 1 << rows.DWELL | 1 << rows.LINES
_NOTICES = (PURGE_WAITS, OIL_READY, ASK_AGAIN, OIL_WARM)
_GRAVE = (1 << rows.NO_ROOM) - 1 | 1 << rows.AIR | 1 << rows.MEMORY | 1 << rows.CHATTER


def severity(message: int) -> int:
    """How loudly a message speaks: NORMAL, NOTICE, WARNING or GRAVE."""
    if message < FILLING:
        if _GRAVE >> message & 1:
            return GRAVE
        return NOTICE if _COMMON >> message & 1 else WARNING
    if message == OIL_LEFT or message == PURGE_CUT:
        return GRAVE
    return NOTICE if message in _NOTICES else NORMAL


def uncommon(mask: int) -> int:
    """The rows of `mask` that are told in every state; the others only while waiting on diesel."""
    return mask & ~_COMMON
