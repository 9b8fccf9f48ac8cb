"""The board's log: a CSV with a head, one row a tick. What a board would write, so nothing of the simulated truth stands in it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import changeover
from changeover import messages, reasons, rows
from changeover.settings_file import settings_hash
from changeover.states import STATES
from host_sim.errors import InputError
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES

if TYPE_CHECKING:
    from host_sim.virtual_board import VirtualBoard

FORM = 1
TITLE = "# secondtank log, form "
OUTPUTS = (
    "out_supply", "out_return", "out_heater", "out_run_on", "out_power", "out_buzzer", "lamp_red", "lamp_amber", "lamp_green",
    "state", "reason", "blocked", "forced", "message", "fill_ul", "credit_ul",
)  # fmt: skip
COLUMNS = (
    "t_ms", "boot", "tick_ms",
    *(f"raw_{name}" for name in ANALOG_NAMES),
    *(f"in_{name}" for name in DIGITAL_NAMES),
    *OUTPUTS,
)  # fmt: skip


def firmware_hash() -> str:
    """First 16 hexadecimal digits of the SHA-256 over the law's sources, each as its path, a zero byte, its bytes, a zero byte."""
    folder = Path(changeover.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(folder.glob("*.py")):
        digest.update(f"{folder.name}/{path.name}".encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def head(values: dict[str, int]) -> str:
    """The lines before the first row: form, versions, every setting by value, the id tables, the column names."""
    lines = [
        f"{TITLE}{FORM}",
        f"# version={changeover.VERSION}",
        f"# firmware_hash={firmware_hash()}",
        f"# settings_hash={settings_hash(values)}",
    ]
    lines += [f"# setting {name}={values[name]}" for name in sorted(values)]
    lines += [f"# state {number}={name}" for number, name in enumerate(STATES)]
    lines += [f"# reason {number}={row[rows.NAME]}" for number, row in enumerate(rows.TABLE)]
    lines += [f"# reason {reasons.KEY_OFF + number}={text}" for number, text in enumerate(reasons.TEXTS)]
    lines += [f"# message {number}={words[0]}" for number, words in sorted(messages.ENGLISH.items())]
    return "\n".join(lines) + "\n" + ",".join(COLUMNS) + "\n"


def write_row(file: TextIO, t_ms: int, board: VirtualBoard, tick_ms: int) -> None:
    """One tick: what the board read at `tick_ms` of its own clock and what it commanded."""
    law = board.law
    machine = law.machine
    panel = law.panel
    digital = "".join([",1" if level else ",0" for level in board.signals.digital])
    file.write(
        f"{t_ms},{board.boots},{tick_ms},{','.join(map(str, board.signals.raw))}{digital},{machine.supply_on:d},{machine.return_on:d},"
        f"{law.heater.on:d},{law.run_on:d},{law.power_hold:d},{panel.buzzer},{panel.red},{panel.amber},{panel.green},"
        f"{machine.state},{machine.move_reason},{law.interlocks.blocked},{law.interlocks.forced},{panel.message},"
        f"{machine.lines.fill_ul},{machine.lines.credit_ul}\n"
    )


@dataclass
class Head:
    """A log's head, read back: what `head` wrote. `tables`: of states, reasons and messages, each id with its text."""

    said: dict[str, str] = field(default_factory=dict)
    settings: dict[str, int] = field(default_factory=dict)
    tables: dict[str, dict[int, str]] = field(default_factory=lambda: {"state": {}, "reason": {}, "message": {}})
    columns: list[str] = field(default_factory=list)


def read_head(path: Path, lines: Iterator[str]) -> Head:
    """Takes the head's lines, the column names included, off `lines`. Raises InputError with the line for what it cannot read."""
    found = Head()
    number = 0
    for number, line in enumerate(lines, 1):
        line = line.rstrip("\r\n")
        if number == 1:
            if line != f"{TITLE}{FORM}":
                raise InputError(
                    f"{path}, line 1", line, f"{TITLE}{FORM}: another form is of another version of this program"
                )
        elif line.startswith("#"):
            _head_line(path, number, line, found)
        else:
            found.columns = line.split(",")
            break
    lacking = [name for name in COLUMNS if name not in found.columns and name not in (*OUTPUTS, "t_ms", "boot")]
    if lacking:
        raise InputError(f"{path}, line {number}", ",".join(found.columns), "the columns " + ", ".join(lacking))
    if found.settings and settings_hash(found.settings) != found.said.get("settings_hash"):
        wanted = f"{settings_hash(found.settings)}, the hash of the settings below it"
        raise InputError(f"{path}: settings_hash", found.said.get("settings_hash"), wanted)
    return found


def _head_line(path: Path, number: int, line: str, found: Head) -> None:
    name, equals, value = line.lstrip("# ").partition("=")
    kind, _, key = name.partition(" ")
    try:
        if kind == "setting":
            found.settings[key] = int(value)
        elif kind in found.tables and key:
            found.tables[kind][int(key)] = value
        elif equals:
            found.said[name] = value
    except ValueError:
        raise InputError(f"{path}, line {number}", line, f"# {kind} {key}=VALUE as this program writes it") from None
