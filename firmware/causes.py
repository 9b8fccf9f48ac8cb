"""Why the board started: told to the law, shown, and kept in the journal. Append only."""

# A brown-out that resets the chip looks like a power-on (RP2040 datasheet, CHIP_RESET: HAD_POR is set by both).
POWER_ON, WATCHDOG, ASKED, FAULT, INTERRUPTED, NOT_LOADED = range(6)

TEXTS = (
    "power came on",
    "the watchdog ended a program that stood still",
    "a restart was asked for",
    "the program failed in a tick",
    "the host interrupted the program",
    "a file of the program could not be loaded",
)


def unexpected(cause: int) -> bool:
    """Did the last life end in a way that forbids oil until the key was off and on again?"""
    return cause != POWER_ON and cause != ASKED
