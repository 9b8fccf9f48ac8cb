"""The very law over a log, open loop: what it decides, how that compares with what the log says was decided, and how near each limit came.

A log answers only as long as the law does what was done when it was written: the fuel side is what it was because of the valves
of that day. From the first tick on which the law sends a valve elsewhere, rows of the fuel side are not comparable.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from changeover import reasons, rows
from changeover.inputs import ENGINE, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.law import Law
from changeover.memory import Record, choose
from changeover.sensing import (
    BARO,
    COOLANT,
    DIESEL_LEVEL,
    NOT_FITTED,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SETTLING,
    SUCTION,
    SUPPLY,
)
from changeover.settings_file import settings_hash
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON, STATES
from changeover.ticks import MASK_MS
from host_sim import replay_outputs as outputs
from host_sim.board_log import firmware_hash
from host_sim.replay_logs import BOOT, GAP, PLAIN, TICK_MS, RecordedLog
from host_sim.replay_margins import Margins
from host_sim.replay_outputs import LoggedOutputs, reason_words
from host_sim.replay_record import ReplayRecord
from host_sim.replay_tables import TableLog, rows_not_in_log
from host_sim.signals import ANALOG_NAMES

Log = RecordedLog | TableLog
Told = Sequence[str | int]

POLL_TICKS = 5_000
_SETTLE_TICKS = 6  # as many as a contact or a sensor needs at most
_APART_MS = 1000  # where not every tick is known, a valve may be sent a little earlier or later
_LONGEST_MS = 2000  # the watchdog's time: a longer step is none of a running board
_OIL_IN_LINES = (FILLING, ON_OIL, PURGING, RUN_ON)
_SENSORS = {
    rows.COOLANT_SENSOR: (COOLANT,), rows.OIL_SENSOR: (OIL,), rows.SUCTION_SENSOR: (SUCTION, BARO),
    rows.OTHER_SENSOR: (OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY),
}  # fmt: skip
# In the order of the reasons of `changeover.sensing`.
SENSOR_REASONS = (
    "good", "not fitted", "settling", "open", "short", "out of range", "jumped", "no answer", "frozen", "swapped", "ground lifted",
    "irrational",
)  # fmt: skip
_FUEL_SIDE = re.compile(
    r"\b(suction|suction_mean|spent|air|oil|oil_coldest|pump_inlet|oil_level|diesel_level|\w+_unfollowed|heater_failed)\b"
)


def fuel_side(row: int) -> bool:
    """Is this row of the interlock table judged by what depends on which fuel was drawn?"""
    return bool(_FUEL_SIDE.search(f"{rows.TABLE[row][rows.BLOCKS]} {rows.TABLE[row][rows.FORCES]}"))


@dataclass
class Compared:
    """How the law's outputs compare with the logged ones, in ticks and the first difference. `exact`: from a start of the board on, every
    tick in the log; `joined`: behind a gap or a start that is not in the log, where what the board remembered can only be guessed."""

    exact: int = 0
    exact_same: int = 0
    joined: int = 0
    joined_same: int = 0
    first: dict[str, Any] | None = None
    first_joined: dict[str, Any] | None = None


@dataclass
class Counters:
    """Times in ms of the log's own time, gaps left out. `allowed`: nothing blocks entry, or on oil nothing ends it. "On oil" where the
    log tells the fuel is what it tells, else what the law does."""

    ticks: int = 0
    time_ms: int = 0
    engine_ms: int = 0
    on_oil_ms: int = 0
    logged_on_oil_ms: int = 0
    allowed_ms: int = 0
    allowed_not_on_oil_ms: int = 0
    on_oil_not_allowed_ms: int = 0
    starts: int = 0
    joins: int = 0
    trips: int = 0


class Replay:
    """One log under one set of settings. `run` to the end of the log, then `result`."""

    def __init__(self, log: Log, values: dict[str, int], own: bool, shadow: bool = False) -> None:
        """`log`: opened; `values`: the settings; `own`: they are those that the log says were in force; `shadow`: distributions too."""
        self.log = log
        self.values = values
        self.own = own
        self.given = log.law_values(values) if isinstance(log, TableLog) else values
        self.law = Law(self.given, Record())
        self.counters = Counters()
        self.compared = Compared()
        self.moves: list[dict[str, Any]] = []
        self.events: list[dict[str, Any]] = []
        self.sensor_faults: list[dict[str, Any]] = []
        self.diverged: dict[str, Any] | None = None
        self.record = ReplayRecord(self.given, log.missing)
        self.margins = Margins(shadow)
        self.first_allowed_ms: int | None = None
        self.interrupted = False
        self._logged = LoggedOutputs(log.path, log.told, log.tables)
        self._not_in_log = rows_not_in_log(log.missing)
        self._slots = [b"", b""]
        self._kept = [b"", b""]
        self._answer_due = self._answer_waits = False
        self._memory_bad = False
        self._exact = False
        self._logged_supply: bool | None = None
        self._apart: tuple[int, dict[str, Any]] | None = None  # since when, and how, a valve is elsewhere
        self._out: tuple[int, ...] = ()
        self._moves_seen = 0
        self._faults = 0
        self._boots = 0
        self._next_second_ms = 0

    def run(self, poll: Callable[[int], bool]) -> None:
        """Every tick of the log. `poll`: called now and then with the bytes read so far, true stops."""
        counters, compared = self.counters, self.compared
        last_told: Told = ()
        last_ms = until_poll = 0
        same = False
        law = self.law
        for special, line, t_ms, tick_ms, counts, levels, told in self.log.ticks(self.given):
            if special:
                self._special(special, t_ms, tick_ms, counts, levels, self._numbers(told, line))
                last_told = ()
                law = self.law
            elif self._answer_waits:
                self._answer(self._numbers(told, line))
            if self.diverged is not None:
                self._open_loop(levels)
            if told is not None and self._logged.whole and not self._exact:
                law.keep_awake = told[outputs.POWER] in (
                    1,
                    "1",
                )  # a board's journal holds its feed, and is not in the log
            law.step(tick_ms, counts, levels)
            machine, panel, interlocks, lines = law.machine, law.panel, law.interlocks, law.machine.lines
            if self._answer_due or machine.write_wanted:
                self._write()
            out = (
                machine.supply_on, machine.return_on, law.heater.on, law.run_on, law.power_hold, panel.buzzer, panel.red,
                panel.amber, panel.green, machine.state, machine.move_reason, interlocks.blocked, interlocks.forced, panel.message,
                lines.fill_ul, lines.credit_ul,
            )  # fmt: skip
            dt_ms = t_ms - last_ms if special == PLAIN and 0 < t_ms - last_ms <= _LONGEST_MS else TICK_MS
            last_ms = t_ms
            changed = out != self._out
            if changed:
                self._changed(out, line, t_ms, tick_ms)
                last_told = ()
            if told is not None:
                if told != last_told:
                    last_told = told
                    same = self._compare(told, out, line, t_ms, tick_ms)
                if self._exact:
                    compared.exact += 1
                    compared.exact_same += same
                else:
                    compared.joined += 1
                    compared.joined_same += same
                if self._apart is not None and (self._exact or t_ms - self._apart[0] >= _APART_MS):
                    self.diverged, self._apart = self._apart[1], None
            elif self.diverged is None and machine.supply_on and not self.log.told:
                self.diverged = self._place(line, t_ms, tick_ms) | {"why": "the log does not say which fuel was drawn"}
            counters.ticks += 1
            counters.time_ms += dt_ms
            if law.inputs.contact[ENGINE].on:
                counters.engine_ms += dt_ms
            self._count(out, dt_ms, t_ms)
            if t_ms >= self._next_second_ms:
                self._next_second_ms = t_ms + 1000
                self.margins.second(law, self._on_oil(out))
                self.record.second(t_ms, law, self.diverged is None, self.log.speed_kmh)
            until_poll += 1
            if until_poll == POLL_TICKS:
                until_poll = 0
                if poll(self.log.text.position()):
                    self.interrupted = True
                    break
        self.record.close(last_ms / 1000.0)
        self.interrupted = self.interrupted or self.log.interrupted

    def _count(self, out: tuple[int, ...], dt_ms: int, t_ms: int) -> None:
        counters = self.counters
        state = out[outputs.STATE]
        on_oil = bool(out[outputs.SUPPLY]) and state in (FILLING, ON_OIL)
        if on_oil:
            counters.on_oil_ms += dt_ms
        if self._logged_supply is not None:
            on_oil = self._logged_supply
            if on_oil:
                counters.logged_on_oil_ms += dt_ms
        if on_oil or state in (FILLING, ON_OIL):  # what blocks entry means nothing there
            allowed = not out[outputs.FORCED]
        else:
            allowed = state != PARKED and not out[outputs.BLOCKED] | out[outputs.FORCED]
        if allowed:
            counters.allowed_ms += dt_ms
            if not on_oil:
                counters.allowed_not_on_oil_ms += dt_ms
                if self.first_allowed_ms is None:
                    self.first_allowed_ms = t_ms
        elif on_oil:
            counters.on_oil_not_allowed_ms += dt_ms

    def _on_oil(self, out: tuple[int, ...]) -> bool:
        return self._logged_supply if self._logged_supply is not None else out[outputs.STATE] in (FILLING, ON_OIL)

    # -- starts, joins, gaps

    def _numbers(self, told: Told | None, line: int) -> tuple[int, ...] | None:
        return self._logged.numbers(told, line) if told is not None and self._logged.whole else None

    def _special(
        self,
        special: int,
        t_ms: int,
        tick_ms: int,
        counts: list[int],
        levels: list[bool],
        logged: tuple[int, ...] | None,
    ) -> None:
        """The board starts, or is joined while it runs, or the log begins again behind a gap. `logged`: all outputs of this tick."""
        self.record.pause()
        if special == GAP:
            self.law.inputs.restart()  # temperatures have moved meanwhile: the sensors settle anew, as at key-on
            self.law.trust.restart()
            self._happened(t_ms, "gap", "the log goes on; sensors settle anew")
            return
        self._answer_due = self._answer_waits = False
        self._memory_bad = False
        record = choose(self._slots)
        if not self._boots:  # what the filter taught before is not in the log
            record.oil_in_lines = False
            self._slots[record.slot()] = record.encode()
        blocked = 0
        if logged is not None:
            blocked = logged[outputs.BLOCKED]
            record.oil_in_lines = _oil_in_lines(logged)
        self._boots += 1
        self._moves_seen = self._faults = 0
        self.law = Law(self.given, record, not blocked >> rows.SETTINGS & 1, bool(blocked >> rows.RESTARTED & 1))
        self._exact = special == BOOT and self.log.dense and logged is not None
        if special == BOOT:
            self.counters.starts += 1
            return
        self.counters.joins += 1
        for back in range(_SETTLE_TICKS, 0, -1):
            self.law.step((tick_ms - TICK_MS * back) & MASK_MS, counts, levels)
        if logged is not None:
            self._join(levels, logged)
        self._moves_seen = self.law.machine.moves
        said = "the board ran already: holds, dwell and what its sensors did before are not in log"
        self._happened(t_ms, "joined", said)

    def _join(self, levels: list[bool], logged: tuple[int, ...]) -> None:
        """Put the law where the log says that it stood, as far as a row can say it."""
        machine = self.law.machine
        state = machine.state = logged[outputs.STATE]
        reason = machine.move_reason = logged[outputs.REASON]
        machine.lines_dirty = machine.record_dirty = _oil_in_lines(logged)
        machine.write_wanted = False
        machine.lines.fill_ul, machine.lines.credit_ul = logged[-2:]
        if self.law.inputs.contact[ENGINE].on and not logged[outputs.BLOCKED] >> rows.ENGINE & 1:
            machine.engine_ms = max(machine.engine_ms, 3000)
        machine.wishes.ready = levels[READY]
        machine.wishes.granted = state in (FILLING, ON_OIL)
        machine.wishes.stop_held = reason == reasons.STOPPING_SOON and state in (PURGING, ON_DIESEL)
        machine.drive_valves()
        self.law.heater.on = bool(logged[outputs.HEATER])

    def _open_loop(self, levels: list[bool]) -> None:
        """The log's valves are not this law's any more: contacts follow the command, and what only oil would show is left alone."""
        law, machine = self.law, self.law.machine
        levels[SUPPLY_CONTACT] = machine.supply_on
        levels[RETURN_CONTACT] = machine.return_on
        if not self.given["fit_supply_contact"]:
            law.inputs.channel[PUMP_INLET].reason = NOT_FITTED
        if machine.supply_on and not self._logged_supply:
            law.restriction.low_pa = 0  # what is drawn in the log is no oil: its suction is no sign of air

    # -- the record in flash

    def _write(self) -> None:
        """The board writes the record at once and answers a tick later; what the answer was shows in the row after that."""
        if self._answer_due:
            self._answer_due = False
            self._answer_waits = True
        elif not self._answer_waits:
            self._kept = list(self._slots)
            data = self.law.write_record()
            self._slots[self.law.record.slot()] = data
            self._answer_due = True

    def _answer(self, logged: tuple[int, ...] | None) -> None:
        self._answer_waits = False
        refused = False
        if logged is not None:
            bad = bool(logged[outputs.BLOCKED] >> rows.MEMORY & 1)
            refused = bad and not self._memory_bad
            self._memory_bad = bad
        if refused:
            self._slots = self._kept
        self.law.written(not refused)

    # -- what changed

    def _compare(self, told: Told, out: tuple[int, ...], line: int, t_ms: int, tick_ms: int) -> bool:
        """Are the logged outputs those of the law? Keeps the first difference, and the first that sends a valve elsewhere."""
        logged = self._logged.numbers(told, line)
        supply = self._logged.value(logged, outputs.SUPPLY)
        if supply is not None:
            self._logged_supply = bool(supply)
        found = self._logged.difference(logged, out)
        if found is None:
            self._apart = None
            return True
        found = self._place(line, t_ms, tick_ms) | found
        if self._exact:
            self.compared.first = self.compared.first or found
        else:
            self.compared.first_joined = self.compared.first_joined or found
        if self.diverged is None and any(
            self._logged.value(logged, at) not in (None, out[at]) for at in (outputs.SUPPLY, outputs.RETURN)
        ):
            self._apart = self._apart or (t_ms, found | {"why": "the law sends a valve elsewhere than the log says"})
        else:
            self._apart = None
        return False

    def _place(self, line: int, t_ms: int, tick_ms: int) -> dict[str, Any]:
        return {"line": line, "start": self._boots, "tick_ms": tick_ms, "time_s": t_ms / 1000.0}

    def _changed(self, out: tuple[int, ...], line: int, t_ms: int, tick_ms: int) -> None:
        """Some output changed: moves, messages and sensors that lost trust are written down."""
        before, self._out = self._out, out
        if self.law.machine.moves != self._moves_seen:
            self._moved(line, t_ms)
        if not before or before[outputs.STATE] != out[outputs.STATE]:
            self.record.state(t_ms / 1000.0, out[outputs.STATE])
        if not before or before[outputs.MESSAGE] != out[outputs.MESSAGE]:
            self.record.message(t_ms / 1000.0, out[outputs.MESSAGE])
        faults = out[outputs.BLOCKED] | out[outputs.FORCED]
        for row, channels in _SENSORS.items():
            if faults >> row & 1 and not self._faults >> row & 1:
                for index in channels:
                    reason = self.law.inputs.channel[index].reason
                    if reason > SETTLING and ANALOG_NAMES[index] not in self.log.missing:
                        fault = {"sensor": ANALOG_NAMES[index], "reason": SENSOR_REASONS[reason]}
                        self.sensor_faults.append(self._place(line, t_ms, tick_ms) | fault)
                        self._happened(t_ms, "sensor", f"{fault['sensor']} not trusted: {fault['reason']}")
        self._faults = faults
        self.margins.changed(out[outputs.BLOCKED], out[outputs.FORCED], self._on_oil(out))

    def _moved(self, line: int, t_ms: int) -> None:
        machine, evidence = self.law.machine, self.law.evidence
        self._moves_seen = machine.moves
        reason = machine.move_reason
        forced = (
            reason < reasons.KEY_OFF and machine.move_from in (FILLING, ON_OIL) and machine.move_to != machine.move_from
        )
        evidence.read(reason, forced)
        if reason == reasons.KEY_ON and machine.move_from == PARKED:
            self.counters.trips += 1
        row = rows.OIL_COLD if reason == reasons.ALLOWED else reason
        side = "comparable"
        if row in self._not_in_log:
            side = "not in log"
        elif self.diverged is not None and row < reasons.KEY_OFF and fuel_side(row):
            side = "not comparable"
        self.moves.append({
            "t_ms": t_ms, "line": line, "from": STATES[machine.move_from], "to": STATES[machine.move_to], "reason": reason,
            "text": reason_words(reason), "measured": evidence.measured, "limit": evidence.limit, "unit": evidence.unit,
            "forced": forced, "side": side,
        })  # fmt: skip

    def _happened(self, t_ms: int, kind: str, text: str) -> None:
        self.events.append({"time_s": t_ms / 1000.0, "kind": kind, "text": text, "reason": "", "numbers": {}})

    def result(self) -> dict[str, Any]:
        """Everything as plain data: for another process, for JSON and for the report."""
        log = self.log
        gap_ms = sum(end - begin for begin, end in log.gaps)
        lines = self.law.machine.lines
        return {
            "log": str(log.path), "kind": log.kind, "rows": log.rows, "dense": log.dense, "interrupted": self.interrupted,
            "counters": vars(self.counters) | {"gaps": len(log.gaps), "gap_ms": gap_ms, "stale_ms": dict(log.stale_ms)},
            "gaps": log.gaps[:100], "repairs": {what: [n, log.repairs.first[what]] for what, n in log.repairs.count.items()},
            "missing": list(log.missing), "rows_not_in_log": [str(rows.TABLE[row][rows.NAME]) for row in sorted(self._not_in_log)],
            "notes": list(log.notes), "own": self.own, "settings": self.values, "settings_hash": settings_hash(self.values),
            "logged_settings_hash": log.settings_hash, "firmware_hash": firmware_hash(), "logged_firmware_hash": log.firmware_hash,
            "compared": vars(self.compared), "diverged": self.diverged, "first_allowed_ms": self.first_allowed_ms,
            "moves": self.moves, "events": self.events, "sensor_faults": self.sensor_faults, "series": self.record.series,
            "strips": self.record.bars, "targets": [lines.fill_target_ul, lines.purge_target_ul],
            "shadow": self.margins.result(self._not_in_log),
        }  # fmt: skip


def _oil_in_lines(logged: tuple[int, ...]) -> bool:
    return logged[outputs.STATE] in _OIL_IN_LINES or bool(logged[outputs.BLOCKED] >> rows.LINES & 1)
