"""What the cells of the fault grid add up to: claims, worst times, counterexamples, as plain data and as lines to print."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import asdict, dataclass, field
from typing import Any

from changeover.settings_file import settings_hash
from changeover.states import STATES
from host_sim.catalogue import BY_ID, CATALOGUE
from host_sim.grid import Cell, Result, reachable
from host_sim.ways import RIGS, settings_of, unreachable
from secondtank.fault_cells import Asked, cell_of, command, made_of
from secondtank.fault_words import UNDETECTABLE, many

_ORDER = {entry.id: number for number, entry in enumerate(CATALOGUE)}


def _order(result: Result) -> tuple[int, int, int, int]:
    cell = cell_of(result)
    return _ORDER[cell.fault], cell.state, cell.phase, RIGS.index(cell.rig)


def _late(seconds: float | None, promised: float | None) -> bool:
    return seconds is not None and promised is not None and seconds > promised


@dataclass(frozen=True)
class Claim:
    """One claim and in how many cells it was due; `broken`: in how many of them it did not hold."""

    text: str
    due: int
    broken: int

    @property
    def line(self) -> str:
        """For people."""
        if not self.due:
            return f"{self.text}: not due in any cell that was run"
        if self.broken:
            return f"{self.text}: did not hold in {self.broken} of {many(self.due, 'cell')}"
        return f"{self.text}: held in {many(self.due, 'cell')}"


@dataclass
class Totals:
    """The planned cells and the results that there are. `ended`: why it is partial, or nothing.

    `drives`: the folder of a cell's report, relative to the page. Raises InputError as `Asked.planned`.
    """

    asked: Asked
    results: list[Result]
    ended: str = ""
    drives: dict[Cell, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.planned = self.asked.planned()
        self.results.sort(key=_order)
        self.unreachable: dict[str, Counter[str]] = defaultdict(Counter)
        for cell in self.planned:
            rule = unreachable(cell.rig, cell.state)
            if rule is not None:
                self.unreachable[rule][f"{cell.rig.name}: {STATES[cell.state]}"] += 1
        planned = {STATES[cell.state] for cell in self.planned}
        self.never = planned - {
            STATES[cell.state] for cell in self.planned if reachable(cell)
        }  # states of no planned rig
        self.by_fault: dict[str, list[Result]] = defaultdict(list)
        for result in self.results:
            self.by_fault[result.fault].append(result)

    @property
    def counterexamples(self) -> list[Result]:
        """Every result that breaks a promise."""
        return [result for result in self.results if not result.held]

    def counts(self) -> dict[str, int]:
        """Planned is run and unreachable and, where the grid is partial, not run."""
        cannot_be = sum(sum(where.values()) for where in self.unreachable.values())
        ran = len(self.results)
        return {
            "planned": len(self.planned), "run": ran, "unreachable": cannot_be,
            "not_run": len(self.planned) - ran - cannot_be,
        }  # fmt: skip

    def claims(self) -> list[Claim]:
        """Claim B in its three parts."""
        reaction, telling, hazard = [], [], []
        for result in self.results:
            entry = BY_ID[result.fault]
            late = _late(result.diesel_s, entry.diesel_s)
            passed = sum(not found["told"] and found["id"] not in entry.may_pass for found in result.hazards)
            untold = len(result.broken) - late - passed
            if result.diesel_s is not None:
                reaction.append(late)
            if result.told_s is not None or untold:
                telling.append(bool(untold))
            hazard.append(bool(passed))
        parts = ("commands are diesel in time", reaction), ("told in time", telling), ("hazards within bounds", hazard)
        return [Claim(f"Claim B (one fault), {text}", len(due), sum(due)) for text, due in parts]

    def worst_times(self) -> list[dict[str, Any]]:
        """For each fault that was run: the longest times beside the promised ones, with the cell that took longest."""
        return [
            {
                "fault": fault, "on_diesel": _longest(results, "diesel_s"), "told": _longest(results, "told_s"),
                "cells": len(results), "broken": sum(not result.held for result in results),
            }
            for fault, results in self.by_fault.items()
        ]  # fmt: skip

    def as_dict(self) -> dict[str, Any]:
        """What `faults.json` holds: the same for the same sources and the same cells, however they were run."""
        return {
            **made_of(),
            "settings_hash": {rig.name: settings_hash(settings_of(rig)) for rig in RIGS},
            "asked": asdict(self.asked),
            "partial": self.ended or None,
            "counts": self.counts(),
            "unreachable": [
                {"rule": rule, "cells": sum(where.values()), "where": dict(sorted(where.items()))}
                for rule, where in sorted(self.unreachable.items())
            ],
            "claims": [{"claim": claim.text, "due": claim.due, "broken": claim.broken} for claim in self.claims()],
            "worst_times": self.worst_times(),
            "undetectable": [
                {"fault": entry.id, "covered_by": entry.covered_by, "may_pass": list(entry.may_pass)}
                for entry in UNDETECTABLE
            ],
            "drives": {command(cell): folder for cell, folder in self.drives.items()},
            "counterexamples": [result.as_dict() for result in self.counterexamples],
            "results": [result.as_dict() for result in self.results],
        }


def _longest(results: list[Result], time: str) -> dict[str, Any] | None:
    """The longest of one of a fault's times; None where nothing is promised."""
    promised = getattr(BY_ID[results[0].fault], time)
    if promised is None:
        return None
    due = [result for result in results if getattr(result, time) is not None]
    if not due:
        return {"worst_s": None, "promised_s": promised}
    worst = max(due, key=lambda result: getattr(result, time))
    place = {name: getattr(worst, name) for name in ("state", "phase", "layout", "authority")}
    return {"worst_s": getattr(worst, time), "promised_s": promised, **place}


def nearness(result: Result) -> tuple[int, float]:
    """How near a cell came to breaking a promise: broken ones first, then the largest share of any bound."""
    entry = BY_ID[result.fault]
    shares = [result.hazard_share]
    for found, promised in ((result.diesel_s, entry.diesel_s), (result.told_s, entry.told_s)):
        if found is not None and promised is not None:
            shares.append(found / promised)
    return len(result.broken), max(shares)


def worth_a_drive(totals: Totals) -> list[Result]:
    """The cells to look at: each fault's worst; those with a counterexample first, then the nearest to one."""
    worst = [max(results, key=nearness) for results in totals.by_fault.values()]
    return sorted(worst, key=nearness, reverse=True)


def lines(totals: Totals) -> list[str]:
    """What is printed."""
    counts = totals.counts()
    broken = totals.counterexamples
    said = many(len(broken), "counterexample") if broken else "no counterexample"
    partial = f" (partial: {totals.ended})" if totals.ended else ""
    name = "Fault grid, smoke sample" if totals.asked.smoke else "Fault grid"
    told = [f"{name}: {said} in {many(counts['run'], 'cell')}{partial}"]
    told.append("  planned {planned}, run {run}, unreachable {unreachable}, not run {not_run}".format(**counts))
    told += [f"    {sum(where.values())} cannot be: {rule}" for rule, where in sorted(totals.unreachable.items())]
    rigs = {cell_of(result).rig for result in totals.results}
    told.append(f"  Claim A (no fault): no hazard passed its limit in the undisturbed runs of {many(len(rigs), 'rig')}")
    told += [f"  {claim.line}" for claim in totals.claims()]
    told.append("  Claim C (two faults): not tried by this grid, not claimed")
    told.append("  Beyond the cells that were run: no claim")
    for result in broken:
        told.append(f"  ! {cell_of(result).name}: {'; '.join(result.broken)}")
    told += ["", f"  {'worst times beside the promised':34}{'on diesel':>16}{'told':>16}"]
    for row in totals.worst_times():
        if row["on_diesel"] or row["told"]:
            told.append(f"  {row['fault']:34}{_times(row['on_diesel']):>16}{_times(row['told']):>16}")
    undetectable = [entry for entry in UNDETECTABLE if entry.id in totals.by_fault]
    told += ["", "  Undetectable, and what covers it:" if undetectable else "  None of these is undetectable."]
    told += [f"    {entry.id}: {entry.covered_by}" for entry in undetectable]
    return told


def _times(row: dict[str, Any] | None) -> str:
    if row is None:
        return "-"
    return "not due" if row["worst_s"] is None else f"{row['worst_s']:g} of {row['promised_s']:g} s"
