"""Rows of the journal, 32 bytes each, and the lines of text that a reader makes of them.

A row begins with its kind. SAMPLE: how things stand. MOVE: a transition or a refusal and the numbers that decided. MESSAGE: a
warning came up, with its numbers. TEXT: words, 24 at most.
"""

import struct

from changeover import evidence, rows
from changeover.law import Law
from changeover.sensing import BARO, GOOD, SUCTION, SUPPLY

ROW_BYTES = 32
TEXT_BYTES = 24
SAMPLE, MOVE, MESSAGE, TEXT = range(4)
_SAMPLE_FORM, _EVENT_FORM, _TEXT_FORM = "<BBHIBB10hH", "<BBHIBBBBiiIIHH", "<BBHI24s"
_UNITS = ("flag", "reason", "cdegc", "permille", "mV", "Pa", "ms", "count", "uL")
_TENTHS = (SUCTION, SUPPLY, BARO)  # kept in 10 Pa and 10 mV
_BAD = -32768  # plus the reason, in place of a reading that is not trusted; lowest true one -4000

HEADINGS = (
    "# R,oldest,newest,dropped: blocks that there are, rows dropped so far",
    "# B,block,rows,boots,settings_hash,dropped,wear; X,block,damaged",
    "# C,oil_s,diesel_s,oil_ml,purge_ml,purges,trips: totals when the block was written",
    "# S,s,state,trip,contacts_outputs_hex,message,reason,coolant_cdegc,oil_cdegc,suction_pa,oil_tank_cdegc,",
    "# S,  inlet_cdegc,oil_permille,diesel_permille,supply_mv,ambient_cdegc,baro_pa; !n: not trusted, reason n",
    "# M,s,state,trip,contacts_outputs_hex,message,from,reason,measured,limit,unit,blocked_hex,forced_hex,credit_ml",
    "# W,as M, when a warning comes up: from and reason of the last move, numbers of message",
    "# T,s,words",
)


def _bits(law: Law) -> int:
    """Contacts in the law's order from the lowest bit on, then supply, return, heater, run-on, power hold."""
    machine = law.machine
    bits = 0
    for index, contact in enumerate(law.inputs.contact):
        bits |= contact.on << index
    return (
        bits | machine.supply_on << 10 | machine.return_on << 11 | law.heater.on << 12 | law.run_on << 13
        | law.power_hold << 14
    )  # fmt: skip


def put_sample(into: bytearray, at: int, law: Law, time_ds: int, trip: int) -> None:
    """Every reading and output; `time_ds`: tenths of a second since the start."""
    readings = []
    for index, channel in enumerate(law.inputs.channel):
        value = channel.value // 10 if index in _TENTHS else channel.value
        readings.append(value if channel.reason == GOOD else _BAD + channel.reason)
    machine = law.machine
    struct.pack_into(
        _SAMPLE_FORM, into, at, SAMPLE, machine.state, _bits(law), time_ds, law.panel.message, machine.move_reason, *readings,
        trip & 0xFFFF,
    )  # fmt: skip


def put_event(into: bytearray, at: int, law: Law, kind: int, time_ds: int, trip: int) -> None:
    """The law's last move, or the message that stands, with the numbers that decided."""
    machine, found = law.machine, law.evidence
    message, reason = law.panel.message, machine.move_reason
    measured, limit, unit = 0, 0, evidence.FLAG
    if kind == MOVE or message <= rows.DWELL:
        if kind == MOVE:
            found.read(reason, machine.move_from != machine.move_to)
        else:
            found.read(message, law.interlocks.forced >> message & 1 == 1)
        measured, limit, unit = found.measured, found.limit, found.unit
    struct.pack_into(
        _EVENT_FORM, into, at, kind, machine.state, _bits(law), time_ds, message, reason, machine.move_from,
        _UNITS.index(unit), measured, limit, law.interlocks.blocked, law.interlocks.forced,
        machine.lines.credit_ul // 1000, trip & 0xFFFF,
    )  # fmt: skip


def put_text(into: bytearray, at: int, text: str, time_ds: int) -> None:
    """At most TEXT_BYTES letters; what is no printable ASCII becomes a question mark, a comma a semicolon."""
    plain = "".join(letter if " " <= letter <= "~" else "?" for letter in text[:TEXT_BYTES]).replace(",", ";")
    struct.pack_into(_TEXT_FORM, into, at, TEXT, 0, len(plain), time_ds, plain.encode())


def line(data: bytes, at: int) -> str:
    """The row at byte `at`, as in HEADINGS."""
    kind = data[at]
    time_ds = struct.unpack_from("<I", data, at + 4)[0]
    time = "%d.%d" % (time_ds // 10, time_ds % 10)
    if kind == TEXT:
        length = struct.unpack_from("<H", data, at + 2)[0]
        return "T,%s,%s" % (time, bytes(data[at + 8 : at + 8 + length]).decode())
    if kind == SAMPLE:
        fields = struct.unpack_from(_SAMPLE_FORM, data, at)
        shown = "S,%s,%d,%d,%04x,%d,%d" % (time, fields[1], fields[16], fields[2], fields[4], fields[5])
        for index, value in enumerate(fields[6:16]):
            if value < _BAD + 100:
                shown += ",!%d" % (value - _BAD)
            else:
                shown += ",%d" % (value * 10 if index in _TENTHS else value)
        return shown
    fields = struct.unpack_from(_EVENT_FORM, data, at)
    _, state, bits, _, message, reason, came_from, unit, measured, limit, blocked, forced, credit, trip = fields
    return "%s,%s,%d,%d,%04x,%d,%d,%d,%d,%d,%s,%x,%x,%d" % (
        "M" if kind == MOVE else "W", time, state, trip, bits, message, came_from, reason, measured, limit, _UNITS[unit],
        blocked, forced, credit,
    )  # fmt: skip
