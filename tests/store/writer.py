"""Writes records and settings without end, until it is killed. Runs under CPython and MicroPython alike.

    python writer.py FIRMWARE FOLDER

Each line that it prints is a fact by then: `D n` trip n announced, its record read back; `c n` trip n purged, that is about
to be recorded; `C n` recorded; `s n` settings n about to be saved; `S n` saved.
"""

import sys

sys.path.insert(0, sys.argv[1])
import store
from changeover.memory import choose
from changeover.settings import defaults

FOLDER = sys.argv[2]


def say(what: str, number: int) -> None:
    sys.stdout.write(f"{what} {number}\n")
    sys.stdout.flush()


def write(record, oil: bool) -> None:
    record.oil_in_lines = oil
    data = record.encode()
    if not store.write_slot(FOLDER, record.slot(), data):
        raise SystemExit("refused")


def main() -> None:
    record = choose(store.read_slots(FOLDER))
    while True:
        record.trips += 1
        number = record.trips
        for _ in range(3):  # announced, then parked twice
            write(record, True)
            say("D", number)
        say("c", number)
        write(record, False)
        say("C", number)
        say("s", number)
        if not store.save_settings(FOLDER, {name: value + number for name, value in defaults().items()}):
            raise SystemExit("refused")
        say("S", number)


main()
