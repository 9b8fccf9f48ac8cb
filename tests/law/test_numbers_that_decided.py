"""Every reason gives the numbers that decided: what was measured, what it was held against, in which unit."""

from __future__ import annotations

import pytest

from changeover import reasons, rows
from changeover.evidence import Evidence
from changeover.law import Law
from changeover.memory import Record
from changeover.sensing import (
    COOLANT,
    DIESEL_LEVEL,
    FROZEN,
    GOOD,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    OPEN,
    PUMP_INLET,
    SHORT,
    STALE,
    SUPPLY,
    SWAPPED,
)
from tests.law.rig import fitted_out

FLAG = (1, 0, "flag")
SETTINGS = fitted_out()

# reason: (what blocks entry shows, what forces exit shows); texts of the interlock table, units of the settings
ROWS = {
    rows.SETTINGS: (FLAG, FLAG),
    rows.STARVED: ((9100, SETTINGS["suction_starved_pa"], "Pa"),) * 2,
    rows.SUPPLY_LOW: (
        (13_100, SETTINGS["supply_block_mv"], "mV"),
        (13_100, SETTINGS["supply_force_mv"], "mV"),
    ),
    rows.SUPPLY_VALVE: (FLAG, FLAG),
    rows.RETURN_VALVE: (FLAG, FLAG),
    # 150 mL of purge in 40 L are 3.75 permille of level, rounded up
    rows.NO_ROOM: (
        (610, SETTINGS["oil_full_permille"] - 4, "permille"),
        (610, SETTINGS["oil_full_permille"], "permille"),
    ),
    rows.COOLANT_SENSOR: ((GOOD, 0, "reason"),) * 2,
    rows.OIL_SENSOR: ((GOOD, 0, "reason"),) * 2,
    rows.SUCTION_SENSOR: ((GOOD, 0, "reason"),) * 2,
    rows.OTHER_SENSOR: ((GOOD, 0, "reason"),) * 2,
    rows.AIR: ((9100, 5300, "Pa"),) * 2,
    rows.OIL_HOT: (
        (7700, SETTINGS["oil_hot_cdegc"] - 300, "cdegc"),
        (7700, SETTINGS["oil_hot_cdegc"], "cdegc"),
    ),
    rows.RESTARTED: (FLAG, FLAG),
    rows.OVERRUN: (FLAG, FLAG),
    rows.MEMORY: (FLAG, FLAG),
    rows.ENGINE: ((2700, 3000, "ms"),) * 2,
    rows.OIL_LOW: (
        (610, SETTINGS["oil_low_block_permille"], "permille"),
        (610, SETTINGS["oil_low_force_permille"], "permille"),
    ),
    rows.DIESEL_LOW: (
        (410, SETTINGS["diesel_low_block_permille"], "permille"),
        (410, SETTINGS["diesel_low_force_permille"], "permille"),
    ),
    rows.LINES: (FLAG, FLAG),
    rows.RESTRICTED: (
        (16_300, SETTINGS["suction_block_pa"], "Pa"),
        (9100, SETTINGS["suction_force_pa"], "Pa"),
    ),
    rows.CHATTER: ((3, SETTINGS["reverts_max"], "count"),) * 2,
    rows.HEATER: (FLAG, FLAG),
    rows.OIL_COLD: (
        (6600, SETTINGS["oil_entry_cdegc"], "cdegc"),  # the tank outlet is the colder
        (7700, SETTINGS["oil_exit_cdegc"], "cdegc"),
    ),
    rows.COOLANT_COLD: (
        (8800, SETTINGS["coolant_entry_cdegc"], "cdegc"),
        (8800, SETTINGS["coolant_exit_cdegc"], "cdegc"),
    ),
    rows.DWELL: ((17_000, 0, "ms"),) * 2,
    reasons.KEY_OFF: (FLAG, FLAG),
    reasons.KEY_ON: (FLAG, FLAG),
    reasons.ALLOWED: ((6600, SETTINGS["oil_entry_cdegc"], "cdegc"),) * 2,
    reasons.FILLED: ((31_000, 50_000, "uL"),) * 2,
    reasons.PURGED: ((120_000, 150_000, "uL"),) * 2,
    reasons.SELECTOR: (FLAG, FLAG),
    reasons.STOPPING_SOON: (FLAG, FLAG),
    reasons.PURGE_RESUMED: (FLAG, FLAG),
    reasons.RUN_ON_ENDED: (FLAG, FLAG),
}


def everything_known() -> Law:
    """A law whose every number is another one."""
    law = Law(SETTINGS, Record())
    readings = {
        COOLANT: 8800,
        OIL: 7700,
        OIL_TANK: 6600,
        OIL_LEVEL: 610,
        DIESEL_LEVEL: 410,
        SUPPLY: 13_100,
        PUMP_INLET: 4400,
    }
    for index, value in readings.items():
        law.inputs.channel[index].reason = GOOD
        law.inputs.channel[index].value = value
    law.inputs.suction_pa, law.inputs.suction_reason = 9100, GOOD
    law.restriction.mean_pa, law.restriction.low_pa = 16_300, 5300
    law.machine.engine_ms, law.machine.dwell_ms, law.machine.reverts = 2700, 17_000, 3
    law.machine.lines.fill_ul, law.machine.lines.credit_ul = 31_000, 120_000
    law.machine.lines_dirty = False
    return law


def read(evidence: Evidence, reason: int, forcing: bool) -> tuple[int, int, str]:
    evidence.read(reason, forcing)
    return evidence.measured, evidence.limit, evidence.unit


@pytest.mark.parametrize("reason", ROWS)
def test_reason_shows_its_own_numbers(reason: int) -> None:
    evidence = everything_known().evidence
    assert (read(evidence, reason, False), read(evidence, reason, True)) == ROWS[reason]


def test_every_row_and_every_other_reason_is_tried() -> None:
    assert list(ROWS) == [*range(len(rows.TABLE)), *range(32, 32 + len(reasons.TEXTS))]


def test_purge_that_is_owed_shows_its_credit_whatever_moved_the_machine() -> None:
    law = everything_known()
    law.machine.lines_dirty = True
    owed = {reason for reason in ROWS if reason >= 32 and read(law.evidence, reason, True) == (120_000, 150_000, "uL")}
    assert owed == set(range(32, 32 + len(reasons.TEXTS))) - {reasons.ALLOWED, reasons.FILLED}


def test_sensor_rows_show_why_the_sensor_is_not_trusted_and_the_worst_of_several() -> None:
    law = everything_known()
    channel = law.inputs.channel
    channel[COOLANT].reason, channel[OIL].reason, law.inputs.suction_reason = FROZEN, OPEN, STALE
    for row, reason in ((rows.COOLANT_SENSOR, FROZEN), (rows.OIL_SENSOR, OPEN), (rows.SUCTION_SENSOR, STALE)):
        assert read(law.evidence, row, True) == (reason, 0, "reason")
    channel[SUPPLY].reason, channel[OIL_TANK].reason = SHORT, SWAPPED
    assert read(law.evidence, rows.OTHER_SENSOR, True) == (SWAPPED, 0, "reason")
    for index in (PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL):
        channel[index].reason = SWAPPED + 1
        assert read(law.evidence, rows.OTHER_SENSOR, True) == (SWAPPED + 1, 0, "reason")
        channel[index].reason = GOOD


def test_nothing_was_measured_before_anybody_asked() -> None:
    evidence = Law(SETTINGS, Record()).evidence
    assert (evidence.measured, evidence.limit, evidence.unit) == (0, 0, "flag")
