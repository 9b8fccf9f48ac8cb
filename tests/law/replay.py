"""Plays recorded vectors through the law and writes down every output. Runs under CPython and MicroPython alike.

    python replay.py FIRMWARE VECTORS OUTPUTS

A vector file is lines of words. `set NAME=VALUE` lines and a `boot SLOT SLOT VALID RESTARTED` begin a session, all
other settings at their defaults; `t MS COUNTS LEVELS ANSWER` is one tick. Slots are hexadecimal or `-`, counts are
joined by commas, levels are a word of 0 and 1; ANSWER is `-` for no write, 1 or 0 for a record that was or was not
stored after the tick. MicroPython also prints, for each state, the most bytes that one step took from the heap: in all,
and still held at its end.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false, reportOptionalCall=false

import gc
import sys
from binascii import hexlify, unhexlify

sys.path.insert(0, sys.argv[1])
from changeover.law import Law
from changeover.memory import choose
from changeover.settings import defaults
from changeover.states import STATES

try:
    from micropython import mem_total
except ImportError:
    mem_total = None


def outputs(law: Law) -> str:
    """Everything that leaves the law, as text."""
    machine, panel = law.machine, law.panel
    flags = (machine.supply_on, machine.return_on, law.heater.on, law.run_on, law.power_hold, machine.write_wanted)
    numbers = [
        machine.state, panel.message, law.interlocks.blocked, law.interlocks.forced,
        panel.red, panel.amber, panel.green, panel.buzzer, panel.advice_min,
        machine.moves, machine.move_from, machine.move_to, machine.move_reason, machine.lines.credit_ul,
        machine.lines.fill_ul, law.inputs.suction_pa, law.restriction.high_pa,
    ]  # fmt: skip
    numbers.extend(channel.value for channel in law.inputs.channel)
    numbers.extend(channel.reason for channel in law.inputs.channel)
    law.evidence.read(machine.move_reason, True)
    numbers.extend((law.evidence.measured, law.evidence.limit))
    law.evidence.read(machine.move_reason, False)
    numbers.extend((law.evidence.measured, law.evidence.limit))
    bits = "".join("01"[flag] for flag in flags)
    return " ".join([bits, law.evidence.unit] + [str(number) for number in numbers])


def measured_step(law: Law, now_ms: int, counts: list[int], levels: list[bool], most: list[int]) -> None:
    """One step, and what it took from MicroPython's heap. The reading itself is taken off: two readings in a row."""
    state = law.machine.state
    idle = mem_total()
    idle = mem_total() - idle
    kept = gc.mem_alloc()
    taken = mem_total()
    law.step(now_ms, counts, levels)
    taken = mem_total() - taken - idle
    kept = gc.mem_alloc() - kept
    if taken > most[state]:
        most[state] = taken
    if kept > most[state + 6]:
        most[state + 6] = kept


def main() -> None:
    gc.disable()
    most = [0] * 12
    values = defaults()
    law = Law(values, choose([]))
    with open(sys.argv[2]) as vectors, open(sys.argv[3], "w") as out:
        for line in vectors:
            words = line.split()
            if words[0] == "set":
                name, value = words[1].split("=")
                values[name] = int(value)
            elif words[0] == "boot":
                slots = [b"" if word == "-" else unhexlify(word) for word in words[1:3]]
                law = Law(values, choose(slots), words[3] == "1", words[4] == "1")
                values = defaults()
            else:
                now_ms = int(words[1])
                counts = [int(word) for word in words[2].split(",")]
                levels = [letter == "1" for letter in words[3]]
                if mem_total:
                    if now_ms % 2000 < 100:
                        gc.collect()
                    measured_step(law, now_ms, counts, levels, most)
                else:
                    law.step(now_ms, counts, levels)
                out.write(outputs(law))
                if words[4] != "-":
                    out.write(" " + hexlify(law.write_record()).decode())
                    law.written(words[4] == "1")
                out.write("\n")
    if mem_total:
        for state in range(6):
            print(STATES[state], most[state], most[state + 6])


main()
