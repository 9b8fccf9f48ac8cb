"""The board's law once more, here: the same files, stepped with what the board said that it read.

The cable takes one row in some ticks, and no picture at all. This law gives the rest: the display's dots, the numbers behind each
reason, what is left to wait for. Where the board says something else, `in_step` is false and the board is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import host_sim.firmware_files  # noqa: F401  the panel's and the link's own code
from changeover import rows
from changeover.inputs import ENGINE
from changeover.law import Law
from changeover.memory import Record
from changeover.sensing import BARO, GOOD, NO_ANSWER, NOT_FITTED, SUCTION
from changeover.settings import flow_low_ul_s
from changeover.states import PARKED, PURGING, RUN_ON, STATES
from changeover.ticks import MASK_MS, ticks_diff
from changeover.validate import validate
from host_sim.link_client import Telemetry
from link_bench import BenchLaw
from link_lines import quantity
from link_report import SENSORS, faults, wishes
from panel import DRIVING, Panel
from panel_words import REASONS

Inputs = tuple[tuple[int, ...], tuple[bool, ...]]

_TICK_MS = 100
_MOST_TICKS = 100  # made up for between two rows; a longer gap is not
_PATIENCE_MS = 1500  # so long the two may differ: rows come late, and changes between them are seen a little later


@dataclass(frozen=True)
class Reading:
    """One analog input: `text` as the board would say it; `value` in the law's unit, None where it is not trusted or fitted."""

    name: str
    unit: str
    value: int | None
    text: str
    fitted: bool


@dataclass(frozen=True)
class Reason:
    """A row of the interlock table that ends oil or blocks it; `wait_s`: how long it may still stand,
    None where time alone does not end it."""

    row: int
    ends: bool
    text: str
    wait_s: float | None


class Mirror:
    """`take` each row as it comes."""

    def __init__(self, values: dict[str, int], oil_in_lines: bool, bench_ms: int | None = None) -> None:
        """`values`: settings in force; `oil_in_lines`: what the board remembers; `bench_ms`: the board's clock when it granted the
        bench, None where it reads its own sensors."""
        self.bench = bench_ms is not None
        self._began_ms = bench_ms
        self._inputs: Inputs = ((NO_ANSWER,) * 10, (False,) * 10)
        self._fed: list[Inputs] = []
        self._values = values
        self._dirty = oil_in_lines
        self.panel = Panel(values)
        self._begin()

    def _begin(self) -> None:
        valid = validate(self._values) == []
        if self.bench:
            self.law: Law = BenchLaw(self._values, valid)
        else:
            record = Record()
            record.oil_in_lines = self._dirty
            self.law = Law(self._values, record, valid)
        self._last: Telemetry | None = None
        self._differs_ms = 0
        self.in_step = True

    def fed(self, counts: list[int], levels: list[bool]) -> None:
        """The board was fed this, and took it; at which tick, only its rows can tell."""
        self._fed.append((tuple(counts), tuple(levels)))

    def take(self, row: Telemetry) -> None:
        """The board's next row."""
        now: Inputs = row.counts, row.levels
        since = self._came(now)
        if self.bench and self._last is None and not since and now != self._inputs:
            return  # from before the grant
        before_ms = self._last.tick_ms if self._last else self._began_ms
        gap_ms = _TICK_MS if before_ms is None else ticks_diff(row.tick_ms, before_ms)
        if gap_ms <= 0:
            self._begin()  # the board has started anew
            gap_ms = _TICK_MS
        ticks = min(max(gap_ms // _TICK_MS, 1), _MOST_TICKS)
        for tick in range(1, ticks + 1):
            taken = -(-len(since) * tick // ticks)  # the feeds came evenly, the last of them in time for this row
            counts, levels = since[taken - 1] if taken else now
            self._step((row.tick_ms - _TICK_MS * (ticks - tick)) & MASK_MS, list(counts), list(levels))
        self._inputs, self._last = now, row
        self._compare(row, gap_ms)

    def _came(self, now: Inputs) -> list[Inputs]:
        """What was fed since the last row, up to what this row shows; forgets it."""
        for place in range(len(self._fed) - 1, -1, -1):
            if self._fed[place] == now:
                came, self._fed = self._fed[: place + 1], self._fed[place + 1 :]
                return came
        del self._fed[:-_MOST_TICKS]
        return []

    def _step(self, now_ms: int, counts: list[int], levels: list[bool]) -> None:
        law = self.law
        law.step(now_ms, counts, levels)
        if not self.bench and law.machine.write_wanted:
            law.write_record()
            law.written(True)

    def _compare(self, row: Telemetry, gap_ms: int) -> None:
        law = self.law
        out = int(law.machine.supply_on), int(law.machine.return_on), int(wishes(law)[0])
        ours = STATES[law.machine.state], law.panel.message, out
        theirs = row.state, row.message, (row.out["supply"], row.out["return"], row.out["heater"])
        if ours == theirs:
            self._differs_ms = 0
        else:
            self._differs_ms += gap_ms
            if row.state == STATES[PARKED] and law.machine.state != PARKED and self._differs_ms > _PATIENCE_MS:
                self._begin()  # at rest both begin alike
        self.in_step = self._differs_ms < _PATIENCE_MS

    def picture(self) -> bytes:
        """The display's dots, as the board's own panel draws them: 1024 bytes, `panel_canvas` says how."""
        self.panel.draw(self.law, DRIVING)
        return bytes(self.panel.buffer)

    def readings(self) -> list[Reading]:
        """Ten, in the law's order."""
        inputs = self.law.inputs
        found = []
        for index, (name, unit) in enumerate(SENSORS):
            value, reason = inputs.channel[index].value, inputs.channel[index].reason
            if index == SUCTION:
                value, reason = inputs.suction_pa, inputs.suction_reason
            fitted = reason != NOT_FITTED
            if not fitted:
                text = "not needed" if index == BARO else "not fitted"
            else:
                text = quantity(value, unit) if reason == GOOD else f"not trusted: {REASONS[reason]}"
            found.append(Reading(name, unit, value if reason == GOOD else None, text, fitted))
        return found

    def reasons(self, row: Telemetry) -> tuple[list[Reason], list[str]]:
        """What the board says ends oil or blocks it, the gravest first, each with its numbers; then what is not guarded."""
        interlocks = self.law.interlocks
        ours = interlocks.forced | interlocks.blocked
        said: dict[int, str] = {}
        unguarded: list[str] = []
        acting = [index for index in range(len(rows.TABLE)) if ours >> index & 1]
        for line in faults(self.law, self._values):
            kind, _, text = line.partition(": ")
            if kind == "not guarded":
                unguarded.append(text)
            else:
                said[acting[len(said)]] = text
        found = []
        for index in range(len(rows.TABLE)):
            ends = bool(row.forced >> index & 1)
            if ends or row.blocked >> index & 1:
                text = said.get(index, f"{rows.TABLE[index][rows.NAME]} (the board alone knows the numbers)")
                found.append(Reason(index, ends, text, self._wait_s(index, ends)))
        return found, unguarded

    def _wait_s(self, row: int, ends: bool) -> float | None:
        machine, conditions = self.law.machine, self.law.conditions
        if row == rows.DWELL:
            return machine.dwell_ms / 1000
        running = self.law.inputs.contact[ENGINE].on
        if row == rows.ENGINE:
            return max(0.0, 3.0 - machine.engine_ms / 1000) if running else None
        if row == rows.LINES and running and machine.state in (PURGING, RUN_ON):
            return (machine.lines.purge_target_ul - machine.lines.credit_ul) / flow_low_ul_s(self._values)
        over = (
            not (conditions.force if ends else conditions.block) >> row & 1 and rows.TABLE[row][rows.LATCH] == rows.HELD
        )
        return rows.TABLE[row][rows.CLEAR_MS] / 1000 if over else None
