"""The log holds enough to run the law again: settings, hashes and id tables in its head, all inputs in its rows."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import tomlkit

import changeover
from changeover import messages, reasons, rows
from changeover.law import Law
from changeover.memory import Record, choose
from changeover.settings_file import lines
from changeover.states import STATES
from host_sim.board_log import COLUMNS
from host_sim.profile import load_profile
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES, FULL_SCALE, NO_ANSWER
from secondtank.drive import DriveOrder, run_drive
from tests.drive.rig import READY, road, stop, story

# To oil on a hot day, a silent part of four seconds, a forgotten purge, a start that makes it good.
SILENT = {"kind": "silent", "onset_s": 690.0, "duration_s": 4.0}
STORY = story(READY, road(13.0), stop(2.0), road(4.0), stop(2.0), ambient_c=35.0, faults=(SILENT,))


@dataclass
class Log:
    """A log as a stranger reads it."""

    head: dict[str, str]
    tables: dict[str, dict[int, str]]
    settings: dict[str, int]
    names: list[str]
    rows: list[dict[str, int]]
    summary: Path

    def each(self, prefix: str, row: dict[str, int]) -> list[int]:
        """The values of one tick whose column names begin so, in the order of the file."""
        return [row[name] for name in self.names if name.startswith(prefix)]


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Log:
    folder = tmp_path_factory.mktemp("log")
    scenario = folder / "scenario.toml"
    scenario.write_text(tomlkit.dumps(STORY.model_dump(exclude_none=True)), encoding="utf-8")
    run_drive(
        DriveOrder(str(scenario), None, None, False, None, False, ("dwell_diesel_s=30",), None, folder / "out", True)
    )
    return read(folder / "out" / "log.csv")


def read(path: Path) -> Log:
    head: dict[str, str] = {}
    tables: dict[str, dict[int, str]] = {"state": {}, "reason": {}, "message": {}}
    settings: dict[str, int] = {}
    with path.open(encoding="utf-8", newline="") as file:
        title = file.readline().rstrip("\n")
        for line in file:
            if not line.startswith("# "):
                break
            name, equals, value = line[2:].rstrip("\n").partition("=")
            assert equals, line
            kind, _, key = name.partition(" ")
            if kind == "setting":
                settings[key] = int(value)
            elif kind in tables:
                tables[kind][int(key)] = value
            else:
                head[name] = value
        else:
            raise AssertionError("no rows")
        names = line.rstrip("\n").split(",")
        body = [dict(zip(names, map(int, cells), strict=True)) for cells in csv.reader(file)]
    head["title"] = title
    return Log(head, tables, settings, names, body, path.with_name("summary.json"))


def test_head_says_what_decided(log: Log) -> None:
    assert log.head["title"] == "# secondtank log, form 1"
    assert log.head["version"] == changeover.VERSION
    assert log.settings == load_profile("full_guard", ["dwell_diesel_s=30"])
    assert log.head["settings_hash"] == hashlib.sha256(lines(log.settings)).hexdigest()[:16]
    sources = Path(changeover.__file__).parent
    whole = b"".join(
        b"changeover/" + path.name.encode() + b"\0" + path.read_bytes() + b"\0" for path in sorted(sources.glob("*.py"))
    )
    assert log.head["firmware_hash"] == hashlib.sha256(whole).hexdigest()[:16]
    summary = log.summary.read_text(encoding="utf-8")
    for name in ("settings_hash", "firmware_hash"):
        assert f'"{name}": "{log.head[name]}"' in summary


def test_head_holds_every_id_that_a_row_may_show(log: Log) -> None:
    assert log.tables["state"] == dict(enumerate(STATES))
    assert log.tables["reason"][rows.OIL_COLD] == "oil cold"
    assert set(log.tables["reason"]) == set(range(len(rows.TABLE))) | set(
        range(reasons.KEY_OFF, reasons.RUN_ON_ENDED + 1)
    )
    assert log.tables["message"] == {number: words[0] for number, words in messages.ENGLISH.items()}
    for row in log.rows:
        assert row["state"] in log.tables["state"]
        assert row["reason"] in log.tables["reason"]
        assert row["message"] in log.tables["message"]


def test_rows_are_the_ticks_and_their_cells_are_whole_numbers_in_range(log: Log) -> None:
    assert tuple(log.names) == COLUMNS
    assert [name[4:] for name in log.names if name.startswith("raw_")] == list(ANALOG_NAMES)
    assert [name[3:] for name in log.names if name.startswith("in_")] == list(DIGITAL_NAMES)
    boots = {row["boot"] for row in log.rows}
    assert boots == {1, 2}
    for boot in boots:
        ticks = [row for row in log.rows if row["boot"] == boot]
        assert [row["tick_ms"] for row in ticks] == [100 * number for number in range(len(ticks))]
        assert [row["t_ms"] - row["tick_ms"] for row in ticks] == [ticks[0]["t_ms"]] * len(ticks)
        assert ticks[-1]["out_power"] == 0
        assert all(row["out_power"] == 1 for row in ticks[:-1])
    for row in log.rows:
        assert all(raw == NO_ANSWER or 0 <= raw <= FULL_SCALE for raw in log.each("raw_", row))
        assert all(cell in (0, 1) for cell in log.each("in_", row) + log.each("out_", row)[:5])
    assert any(row["raw_oil_tank"] == NO_ANSWER for row in log.rows)
    assert all(row["raw_oil"] != NO_ANSWER for row in log.rows)


def outputs(law: Law) -> dict[str, int]:
    machine, panel = law.machine, law.panel
    return {
        "out_supply": int(machine.supply_on), "out_return": int(machine.return_on), "out_heater": int(law.heater.on),
        "out_run_on": int(law.run_on), "out_power": int(law.power_hold), "out_buzzer": panel.buzzer,
        "lamp_red": panel.red, "lamp_amber": panel.amber, "lamp_green": panel.green, "state": machine.state,
        "reason": machine.move_reason, "blocked": law.interlocks.blocked, "forced": law.interlocks.forced,
        "message": panel.message,
        "fill_ul": machine.lines.fill_ul, "credit_ul": machine.lines.credit_ul,
    }  # fmt: skip


def replayed(log: Log) -> Iterator[tuple[dict[str, int], dict[str, int]]]:
    """Each row beside what a law of today makes of its inputs: booted anew at each boot, its records kept in two slots.

    The board answers a write one tick after it was asked for.
    """
    first = Record()
    first.oil_in_lines = False
    written = first.encode()
    slots = [b"", b""]
    slots[first.slot()] = written
    boot = 0
    law = Law(log.settings, choose(slots))
    answer_due = False
    for row in log.rows:
        if row["boot"] != boot:
            boot = row["boot"]
            law = Law(log.settings, choose(slots))
            answer_due = False
        law.step(row["tick_ms"], log.each("raw_", row), [level == 1 for level in log.each("in_", row)])
        if law.machine.write_wanted:
            if answer_due:
                law.written(True)
            else:
                data = law.write_record()
                slots[law.record.slot()] = data
            answer_due = not answer_due
        yield row, outputs(law)


def test_the_logged_inputs_give_the_logged_outputs_bit_for_bit(log: Log) -> None:
    seen: set[int] = set()
    ticks = 0
    for row, again in replayed(log):
        assert {name: row[name] for name in again} == again, f"boot {row['boot']}, tick {row['tick_ms']}"
        seen.add(row["state"])
        ticks += 1
    assert ticks == len(log.rows) > 10_000
    assert {STATES[state] for state in seen} == {"PARKED", "ON_DIESEL", "FILLING", "ON_OIL", "PURGING"}
    assert {row["out_heater"] for row in log.rows} == {0, 1}
    assert rows.OTHER_SENSOR in {row["message"] for row in log.rows}


def test_replay_notices_one_changed_reading(log: Log) -> None:
    at = next(index for index, row in enumerate(log.rows) if row["out_supply"])
    changed = [dict(row) if index >= at else row for index, row in enumerate(log.rows[: at + 100])]
    for row in changed[at:]:
        row["raw_oil"] = FULL_SCALE
    lied = Log(log.head, log.tables, log.settings, log.names, changed, log.summary)
    assert any({name: row[name] for name in again} != again for row, again in replayed(lied))
