"""The commands of the serial link: the table that `help` reads out and every line is held against."""

from link_lines import Refused

NAME, ARGUMENTS, LEAST, MOST_WORDS, CHANGES, WHAT = range(6)
TABLE: "tuple[tuple, ...]" = (
    ("help", "[COMMAND or SETTING]", 0, 1, False, "this list, or more about one"),
    ("echo", "WORD", 1, 1, False, "the same word back: a program finds its place again"),
    ("version", "", 0, 0, False, "of the program, its settings, this protocol"),
    ("status", "", 0, 0, False, "what the car is doing, what its sensors read"),
    ("faults", "", 0, 0, False, "what ends or blocks oil now, what is not guarded"),
    ("credited", "", 0, 0, False, "of the season: time on each fuel, volumes of at least so much, purges, trips"),
    ("watch", "TICKS", 1, 1, False, "state and raw inputs every so many ticks of 100 ms, 0 ends it"),
    ("get", "[SETTING]", 0, 1, False, "settings in force, and what was set since"),
    ("set", "SETTING VALUE", 2, 2, True, "for the next save; not on oil"),
    ("save", "", 0, 0, True, "checks all settings, keeps them for the next start; not on oil"),
    ("journal", "[BLOCK]", 0, 1, False, "the trip log from this block on"),
    ("clock", "YYYY-MM-DD HH:MM:SS", 2, 2, True, "date and time of day, UTC, for the trip log"),
    ("test", "OUTPUT", 1, 1, True, "an output for 2 s at most, when the button is pressed; engine off, no oil"),
    ("bench", "on, off, or 10 COUNTS and LEVELS", 1, 11, True, "a desktop stands in for the sensors; key off, no oil"),
)


def row(name: str) -> tuple:
    """The command's row of the table; Refused for a name that is none."""
    for each in TABLE:
        if each[NAME] == name:
            return each
    raise Refused("no such command, help lists them")


def usage(known: tuple) -> str:
    """Name and arguments of a row."""
    return ("%s %s" % (known[NAME], known[ARGUMENTS])).rstrip()
