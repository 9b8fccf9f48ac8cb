"""Plays recorded vectors through the law and writes down every output. Runs under CPython and MicroPython alike.

    python replay.py FIRMWARE VECTORS OUTPUTS

Both files hold a JSON list a line. `["set", NAME, VALUE]` and then `["boot", SLOT, VALID, RESTARTED]` begin a session,
all other settings at their defaults; SLOT is the remembered record in hexadecimal. `["tick", MS, COUNTS, LEVELS, FLASH]`
is one step; FLASH is a word of what came after it: `w` the record was taken to be written, `1` it was stored, `0` not.
`["choose", SLOT, SLOT]` asks what a board with these slots in flash would remember.

MicroPython steps with its heap locked: a step that allocates ends the replay with MemoryError. Only the frame of a
function does without the heap where it must, and goes to the C stack; but what it asked for shows in the Unix port's
`mem_total`. At the end MicroPython prints for each state its steps and the most bytes that one of them asked for.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false

import json
import sys
from binascii import hexlify, unhexlify

sys.path.insert(0, sys.argv[1])
from changeover.law import Law
from changeover.memory import choose, decode
from changeover.settings import defaults
from changeover.states import STATES

try:
    import micropython
except ImportError:
    micropython = None

BLOCK = 65536


def outputs(law: Law) -> list[object]:
    """Everything that leaves the law; the state comes first, then the message."""
    machine, panel, evidence = law.machine, law.panel, law.evidence
    row = [
        machine.state, panel.message, machine.supply_on, machine.return_on, law.heater.on, law.run_on, law.power_hold,
        machine.write_wanted, law.interlocks.blocked, law.interlocks.forced, panel.red, panel.amber, panel.green,
        panel.buzzer, panel.advice_min, machine.moves, machine.move_from, machine.move_to, machine.move_reason,
        machine.lines.credit_ul, machine.lines.fill_ul, law.inputs.suction_pa, law.restriction.mean_pa,
    ]  # fmt: skip
    for forcing in (True, False):
        evidence.read(machine.move_reason, forcing)
        row.extend((evidence.measured, evidence.limit, evidence.unit))
    for channel in law.inputs.channel:
        row.append(channel.value)
        row.append(channel.reason)
    return row


def no_count() -> int:
    """Stands in where a build does not count what is asked of its heap."""
    return 0


class Player:
    """One replay, a block of the vectors at a time."""

    def __init__(self, vectors: str, out: str) -> None:
        self._vectors = open(vectors)  # noqa: SIM115  closed at its end, calls later
        self._out = open(out, "w")  # noqa: SIM115
        self._rest = ""
        self._values = defaults()
        self._law = Law(self._values, choose([]))
        self._asked = getattr(micropython, "mem_total", no_count)
        self._steps = [0] * len(STATES)
        self._most = [0] * len(STATES)

    def more(self) -> bool:
        """Play the next block; false when none was left."""
        block = self._vectors.read(BLOCK)
        lines = (self._rest + block).split("\n")
        self._rest = lines.pop()
        for line in lines:
            self._play(*json.loads(line))
        if block:
            return True
        self._vectors.close()
        self._out.close()
        if micropython:
            for state in range(len(STATES)):
                print(STATES[state], self._steps[state], self._most[state])
        return False

    def _play(self, kind: str, *words) -> None:
        if kind == "set":
            self._values[words[0]] = words[1]
        elif kind == "boot":
            slot = unhexlify(words[0])
            self._law = Law(self._values, decode(slot) or choose([]), words[1], words[2])
            self._values = defaults()
        elif kind == "choose":
            record = choose([unhexlify(word) for word in words])
            self._write(["remembered", record.oil_in_lines, record.sequence, record.trips, record.suction_mean_pa])
        else:
            law = self._law
            self._step(words[0], words[1], words[2])
            row = outputs(law)
            for mark in words[3]:
                if mark == "w":
                    row.append(hexlify(law.write_record()).decode())
                else:
                    law.written(mark == "1")
            self._write(row)

    def _write(self, row: list[object]) -> None:
        self._out.write(json.dumps(row) + "\n")

    def _step(self, now_ms: int, counts: list[int], levels: list[bool]) -> None:
        law = self._law
        if not micropython:
            law.step(now_ms, counts, levels)
            return
        state = law.machine.state
        before = self._asked()
        micropython.heap_lock()
        try:
            law.step(now_ms, counts, levels)
        except MemoryError:
            micropython.heap_unlock()
            raise MemoryError(f"a step in {STATES[state]} allocates, at {now_ms} ms") from None
        micropython.heap_unlock()
        self._steps[state] += 1
        self._most[state] = max(self._most[state], self._asked() - before)


more = Player(sys.argv[2], sys.argv[3]).more
if __name__ == "__main__":
    while more():
        pass
