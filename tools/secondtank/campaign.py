"""The verb `campaign`: many random trips, their results a line each, their sums, and the worst of them as scenario files."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from changeover import VERSION
from changeover.settings_file import settings_hash
from host_sim import board_log
from host_sim.campaign import Trip, check_spread, draw, scenario_toml, simulation_hash
from host_sim.campaign_totals import Pairs, Record, Totals
from host_sim.drive import Drive
from host_sim.errors import InputError
from host_sim.profile import load_profile, profile_path
from host_sim.scenario import Scenario, load_scenario
from host_sim.spread import Spread
from secondtank.campaign_words import say
from secondtank.campaign_workers import in_order
from secondtank.drive import Interrupt, folder_of, summarise

TRIPS_FILE, HEAD_FILE, SUMMARY_FILE, WORST_FOLDER = "trips.jsonl", "campaign.json", "summary.json", "worst"
LABELS = "ab"
# What a trip's line keeps of the summary of its drive.
_KEPT = (
    "verdict", "hazards", "margins", "time_on_oil_s", "time_on_oil_ideal_s", "engine_s", "distance_km", "false_forced_exits",
    "litres",
)  # fmt: skip


@dataclass(frozen=True)
class CampaignOrder:
    """What the command line asks for."""

    scenario: str
    trips: int
    settings: str | None
    against: str | None
    faults: int
    seed: int
    jobs: int
    out: Path
    as_json: bool
    resume: bool


@dataclass(frozen=True)
class Campaign:
    """What every trip of a campaign is made from; a worker gets it whole with each number."""

    scenario: Scenario
    spread: Spread
    settings: tuple[dict[str, int], ...]
    seed: int
    faults: int

    def trip(self, number: int) -> Trip:
        """Trip `number`."""
        return draw(self.scenario, self.spread, self.seed, number, self.faults)

    def run(self, number: int) -> Record:
        """The record of one trip, run under each of the settings."""
        trip = self.trip(number)
        try:
            runs = [_run(trip, values) for values in self.settings]
        except Exception as error:
            raise RuntimeError(f"trip {number} of seed {self.seed} failed") from error
        return {"trip": number, "faults": list(trip.fault_ids), "runs": runs}


def _run(trip: Trip, values: dict[str, int]) -> Record:
    scenario = trip.scenario
    drive = Drive(scenario, dict(values))
    drive.run()
    summary = summarise(drive, scenario.title, scenario.about, drive.seed, [])
    whole = json.dumps(summary, indent=2) + "\n"
    record = {name: summary[name] for name in _KEPT}
    record["hazards"] = [hazard | {"may_pass": hazard["id"] in trip.may_pass} for hazard in summary["hazards"]]
    # the same number beside the drive's own summary.json shows that a replay is the very same drive
    record["summary_sha256"] = hashlib.sha256(whole.encode()).hexdigest()
    return record


def run_campaign(order: CampaignOrder) -> int:
    """Run, write and print; returns the exit status. Raises InputError before anything is written."""
    campaign, names = _campaign(order)
    folder = folder_of(order.out)
    head = _head(campaign, names)
    lines = folder / TRIPS_FILE
    _open(folder, head, order.resume)
    totals = [Totals() for _ in campaign.settings]
    pairs = Pairs() if order.against else None
    died: list[int] = []

    def take(record: Record) -> None:
        if "runs" not in record:
            died.append(record["trip"])
            return
        for total, run in zip(totals, record["runs"], strict=True):
            total.add(record["trip"], run)
        if pairs is not None:
            pairs.add(*record["runs"])

    done = 0
    for record in _read(lines, order.trips):
        take(record)
        done += 1
    with Interrupt() as interrupt, lines.open("a", encoding="utf-8") as file, _progress(order) as progress:
        task = progress.add_task(campaign.scenario.title, total=order.trips, completed=done)
        try:
            for number, record in in_order(campaign.run, done, order.trips, order.jobs, lambda: interrupt.noted):
                record = record or {"trip": number, "died": True}
                file.write(json.dumps(record) + "\n")
                file.flush()
                take(record)
                done += 1
                progress.advance(task)
                if interrupt.noted and not progress.finished:
                    progress.update(task, description="interrupted: the trips under way come to their end")
        except KeyboardInterrupt:
            interrupt.noted = True
    summary = head | {
        "trips": done,
        "of": order.trips,
        "interrupted": interrupt.noted and done < order.trips,
        "died": died,
        "totals": {LABELS[index]: total.summary() for index, total in enumerate(totals)},
        "against": pairs.summary() if pairs else None,
    }  # fmt: skip
    _write(folder, campaign, totals, summary)
    if order.as_json:
        print(json.dumps(summary, indent=2))
    else:
        print(say(summary, folder))
    if summary["interrupted"]:
        return 130
    if order.faults < 2 and any(total.counterexamples for total in totals):
        return 3
    return 0 if all(total.trips for total in totals) else 4


def _campaign(order: CampaignOrder) -> tuple[Campaign, list[str]]:
    scenario = load_scenario(order.scenario)
    spread = check_spread(scenario, order.scenario)
    names = [order.settings or scenario.profile] + ([order.against] if order.against else [])
    settings = tuple(load_profile(name) for name in names)
    for name, values in zip(names, settings, strict=True):
        if values["layout"] != ("tank_return", "looped_return").index(scenario.layout):
            raise InputError(
                f"settings {name}: layout", values["layout"], f"the scenario's plumbing, {scenario.layout}"
            )
    return Campaign(scenario, spread, settings, order.seed, order.faults), [profile_path(name).stem for name in names]


def _head(campaign: Campaign, names: list[str]) -> Record:
    """What a campaign is made from; two with equal heads are the same one."""
    text = scenario_toml(campaign.scenario)
    return {
        "form": 1,
        "title": campaign.scenario.title,
        "spread": campaign.spread.about,
        "scenario_hash": hashlib.sha256(text.encode()).hexdigest()[:16],
        "settings": names,
        "settings_hashes": [settings_hash(values) for values in campaign.settings],
        "seed": campaign.seed,
        "faults": campaign.faults,
        "version": VERSION,
        "firmware_hash": board_log.firmware_hash(),
        "simulation_hash": simulation_hash(),
    }


def _open(folder: Path, head: Record, resume: bool) -> None:
    """A folder with this campaign's head in it: a new one, or, to resume, the one that is there. Raises InputError."""
    path = folder / HEAD_FILE
    if not resume:
        if path.exists():
            wanted = "a folder without a campaign, or --resume to go on with this one"
            raise InputError(f"--out {folder}", "holds a campaign", wanted)
        (folder / TRIPS_FILE).write_bytes(b"")
        _put(path, json.dumps(head, indent=2) + "\n")
        return
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"--resume: {path}", error.strerror, "the folder of a campaign that was begun") from None
    except ValueError as error:
        raise InputError(f"--resume: {path}", str(error), "the head of a campaign, as this command writes it") from None
    for name, value in head.items():
        if found.get(name) != value:
            raise InputError(f"--resume: {path}: {name}", value, f"{found.get(name)!r}, as the campaign began")


def _read(path: Path, most: int) -> Iterator[Record]:
    """The records of trips done, at most so many, one at a time. A last line that was not finished is cut off. Raises InputError."""
    with path.open("r+b") as file:
        whole = 0
        for number, line in enumerate(file):
            if not line.endswith(b"\n"):
                file.truncate(whole)
                return
            whole += len(line)
            try:
                record = json.loads(line)
                right = record["trip"] == number
            except (ValueError, KeyError, TypeError):
                right = False
            if not right:
                raise InputError(
                    f"{path}, line {number + 1}", line[:60].decode(errors="replace"), f"the record of trip {number}"
                )
            if number >= most:
                raise InputError("--trips", most, f"at least the trips that {path} already holds")
            yield record


def _progress(order: CampaignOrder) -> Progress:
    console = Console(stderr=True)
    return Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("trips"), TimeRemainingColumn(),
        console=console, disable=order.as_json or not console.is_terminal, transient=True,
    )  # fmt: skip


def _put(path: Path, text: str) -> None:
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, path)


def _write(folder: Path, campaign: Campaign, totals: list[Totals], summary: dict[str, Any]) -> None:
    """The summary, and what replays the worst trips: their scenarios and the settings by value."""
    worst = folder / WORST_FOLDER
    worst.mkdir(exist_ok=True)
    for old in worst.glob("trip_*.toml"):
        old.unlink()
    for total in totals:
        for number in {number for kept in (*total.worst.values(), total.worst_use) for _, number in kept.kept}:
            _put(worst / f"trip_{number:06d}.toml", scenario_toml(campaign.trip(number).scenario))
    for label, name, values in zip(LABELS, summary["settings"], campaign.settings, strict=False):
        lines = [f'title = "{name}, as the campaign used it"', "", "[settings]"]
        lines += [f"{setting} = {value}" for setting, value in sorted(values.items())]
        _put(worst / f"settings_{label}.toml", "\n".join(lines) + "\n")
    _put(folder / SUMMARY_FILE, json.dumps(summary, indent=2) + "\n")
