"""What the link tells: the state in words, what stands against oil, one tick as a program wants it. Reads only."""

import sys

from changeover import rows
from changeover.inputs import ENGINE, KEY, READY
from changeover.law import Law
from changeover.messages import ENGLISH, STANDING
from changeover.sensing import BARO, GOOD, NOT_FITTED, SUCTION
from changeover.states import STATES
from link_bench import BenchLaw
from link_lines import quantity, stamped
from panel_words import REASONS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

SENSORS = (
    ("coolant", "cdegc"), ("oil at the filter", "cdegc"), ("suction", "Pa"), ("oil in its tank", "cdegc"),
    ("fuel at the pump", "cdegc"), ("oil tank", "permille"), ("diesel tank", "permille"), ("supply", "mV"),
    ("ambient", "cdegc"), ("ambient pressure", "Pa"),
)  # fmt: skip


def status(law: Law) -> "Iterator[str]":
    """What the car is doing now, a line a thing."""
    machine = law.machine
    contact = law.inputs.contact
    yield "state %s for %s" % (STATES[machine.state], quantity(machine.state_ms, "ms"))
    head, text = ENGLISH[law.panel.message]
    if law.panel.message == STANDING:
        head = "%s %d" % (head, law.panel.advice_min)
    yield "says %s: %s" % (head, text.replace("\n", " "))
    yield "key %s, engine %s, selector %s" % (
        "on" if contact[KEY].on else "off",
        "running" if contact[ENGINE].on else "stopped",
        "READY" if contact[READY].on else "DIESEL",
    )
    heater, run_on = wishes(law)
    yield "supply valve on %s, return valve on %s, heater %s, run-on %s" % (
        "oil" if machine.supply_on else "diesel",
        "oil" if machine.return_on else "diesel",
        "on" if heater else "off",
        "on" if run_on else "off",
    )
    if machine.lines_dirty:
        yield "oil may be in the lines, %s of %s are purged" % (
            quantity(machine.lines.credit_ul, "uL"),
            quantity(machine.lines.purge_target_ul, "uL"),
        )
    else:
        yield "the lines hold diesel"
    for index in range(10):
        yield "%s: %s" % (SENSORS[index][0], _reading(law, index))


def _reading(law: Law, index: int) -> str:
    channel = law.inputs.channel[index]
    value, reason = channel.value, channel.reason
    if index == SUCTION:
        value, reason = law.inputs.suction_pa, law.inputs.suction_reason
    if reason == GOOD:
        return quantity(value, SENSORS[index][1])
    if reason == NOT_FITTED:
        return "not needed" if index == BARO else "not fitted"
    return "not trusted, %s" % REASONS[reason]


def wishes(law: Law) -> "tuple[bool, bool]":
    """(heater, run-on relay) as the law decided; on the bench no pin follows."""
    if isinstance(law, BenchLaw):
        return law.wants_heater, law.wants_run_on
    return law.heater.on, law.run_on


def faults(law: Law, values: "dict[str, int]") -> "Iterator[str]":
    """Every row of the interlock table that ends oil or blocks it now, with its numbers; then those not guarded."""
    for row in range(len(rows.TABLE)):
        if law.interlocks.forced >> row & 1:
            yield "ends oil: %s" % _because(law, row, True)
        elif law.interlocks.blocked >> row & 1:
            yield "blocks entry: %s" % _because(law, row, False)
    fitted = rows.FIT_HEATER * values["fit_heater"]
    fitted |= rows.FIT_SUPPLY_CONTACT * values["fit_supply_contact"]
    fitted |= rows.FIT_RETURN_CONTACT * values["fit_return_contact"]
    for index in range(10):
        if law.inputs.channel[index].reason != NOT_FITTED:
            fitted |= 1 << index
    for row in rows.TABLE:
        if row[rows.NEEDS] and not row[rows.NEEDS] & fitted:
            yield "not guarded: %s" % row[rows.NAME]


def _because(law: Law, row: int, forcing: bool) -> str:
    evidence = law.evidence
    evidence.read(row, forcing)
    name = rows.TABLE[row][rows.NAME]
    if evidence.unit == "flag":
        return name
    if evidence.unit == "reason":
        return "%s, %s" % (name, REASONS[evidence.measured])
    return "%s, %s against %s" % (
        name,
        quantity(evidence.measured, evidence.unit),
        quantity(evidence.limit, evidence.unit),
    )


def manifest() -> "Iterator[str]":
    """What lies beside a program that `secondtank flash` put there: hashes of its sources. Nothing for another one."""
    try:
        with open(sys.path[0] + "/manifest") as file:
            for line in file:
                yield line.strip()
    except OSError:
        pass


def tick_line(now_ms: int, law: Law) -> str:
    """What the law decided on a tick. `out`: supply, return, heater, run-on, power, then red, amber, green, buzzer."""
    machine, panel = law.machine, law.panel
    heater, run_on = wishes(law)
    return stamped(
        "tick %d %s out=%d%d%d%d%d%d%d%d%d msg=%d why=%d blocked=%x forced=%x fill=%d credit=%d"
        % (
            now_ms, STATES[machine.state], machine.supply_on, machine.return_on, heater, run_on, law.power_hold,
            panel.red, panel.amber, panel.green, panel.buzzer, panel.message, machine.move_reason,
            law.interlocks.blocked, law.interlocks.forced, machine.lines.fill_ul, machine.lines.credit_ul,
        )
    )  # fmt: skip


def raw_line(now_ms: int, counts: "list[int]", levels: "list[bool]", lost: int) -> str:
    """What the law was given on a tick: ten counts, ten levels, in the order of `changeover.inputs`; then how much of
    the telemetry had no room since the start."""
    bits = "".join("01"[on] for on in levels)
    return stamped("raw %d %s in=%s lost=%d" % (now_ms, " ".join(map(str, counts)), bits, lost))
