"""Lines that a link may be sent: good ones, damaged ones, garbage. All from one seed."""

from __future__ import annotations

import random

from changeover.inputs import ENGINE, KEY, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.settings import ROWS
from host_sim.link_client import stamped
from host_sim.signals import from_physical
from link_table import NAME, TABLE
from tests.law.rig import CHANNELS, HOT_ENGINE

PLAIN = (
    "help", "help set", "help oil_hot_cdegc", "help suction_norm_070_permille", "status", "faults", "credited", "get",
    "get path_ul", "journal", "journal 1", "watch 0", "watch 1", "watch 7", "echo x", "bench off",
)  # fmt: skip
ENDS = (b"\n", b"\n", b"\r\n", b"\r")


def warm_bench(oil_c: float, supply: bool = False, back: bool = False) -> str:
    """Bench input of a warm engine that runs, READY chosen: valves move, or the heater is wanted. Contacts as given."""
    counts = [38000] * 10
    for name, value in {**HOT_ENGINE, "oil_c": oil_c}.items():
        counts[CHANNELS[name]] = from_physical(CHANNELS[name], value)
    on = {KEY, ENGINE, READY, *[SUPPLY_CONTACT] * supply, *[RETURN_CONTACT] * back}
    levels = "".join("1" if index in on else "0" for index in range(10))
    return f"bench {' '.join(map(str, counts))} {levels}"


class Attacker:
    """`line` makes the bytes of one line, mostly with an end."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self._warm = [warm_bench(oil_c) for oil_c in (80.0, 80.0, 80.0, 75.5)]
        self._makers = (self._good, self._changing, self._damaged, self._damaged, self._garbage)

    def line(self) -> bytes:
        """One line of any kind."""
        return self.chance.choice(self._makers)()

    def warm(self, supply: bool, back: bool) -> bytes:
        """A good line of bench input, the valves' contacts as given."""
        return stamped(warm_bench(self.chance.choice((80.0, 80.0, 75.5)), supply, back)).encode() + b"\n"

    def _good(self) -> bytes:
        return self.chance.choice(PLAIN).encode() + self.chance.choice(ENDS)

    def _changing(self) -> bytes:
        return stamped(self._change()).encode() + self.chance.choice(ENDS)

    def _change(self) -> str:
        chance = self.chance
        kind = chance.randrange(9)
        if kind == 0:
            return "save"
        if kind == 8:
            return (
                f"clock 20{chance.choice((26, 24))}-{chance.randrange(1, 14):02d}-{chance.randrange(33):02d} 12:00:00"
            )
        if kind == 1:
            return "bench on"
        if kind == 2:
            return "test " + chance.choice(("supply_valve", "return_valve", "horn"))
        if kind <= 4:
            name, _, usual, low, high = chance.choice(ROWS)
            value = chance.choice((usual, low, high, low - 1, high + 1, chance.randint(low, high)))
            return f"set {name} {value}"
        if kind == 5:
            counts = [chance.choice((-1, 0, 20, 65535, chance.randrange(65536))) for _ in range(10)]
            return f"bench {' '.join(map(str, counts))} {chance.getrandbits(10):010b}"
        return self.chance.choice(self._warm)

    def _damaged(self) -> bytes:
        """A good line after something happened to it."""
        chance = self.chance
        line = bytearray(self._good() if chance.random() < 0.3 else self._changing())
        for _ in range(chance.choice((1, 1, 1, 2, 5))):
            at = chance.randrange(len(line) + 1)
            what = chance.randrange(7)
            if what == 0:
                line[at : at + 1] = bytes([chance.randrange(256)])
            elif what == 1:
                del line[at : at + chance.randrange(1, 9)]
            elif what == 2:
                line[at:at] = bytes([chance.randrange(256)])
            elif what == 3:
                line[at:at] = line[chance.randrange(len(line) + 1) :][:40]
            elif what == 4 and at < len(line):
                line[at] ^= 1 << chance.randrange(8)
            elif what == 5:
                line[at:at] = self._good()
            else:
                line = line[:at]
            if not line:
                break
        return bytes(line)

    def _garbage(self) -> bytes:
        chance = self.chance
        kind = chance.randrange(5)
        if kind == 0:
            return chance.randbytes(chance.choice((1, 10, 60, 300)))
        if kind == 1:
            return bytes(chance.choices(range(32, 127), k=chance.choice((3, 30, 119, 120, 121, 500)))) + b"\n"
        if kind == 2:
            words = [
                chance.choice(TABLE)[NAME],
                *(chance.choice(("on", "-1", "*", "9" * 40, "x=1", "%s")) for _ in range(3)),
            ]
            return stamped(" ".join(words)).encode() + b"\n"
        if kind == 3:
            return chance.choice((b"\n", b"\r", b"\r\n", b"\n\n\n", b"\x7f\x08" * 5, b"\0", b"*\n", b" \n", b"* *\n"))
        return bytes([chance.choice(b" *\t-+0aA")]) * chance.choice((1, 5, 130)) + b"\n"
