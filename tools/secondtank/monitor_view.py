"""What a person sees of a board, in a terminal or line by line, and what a program gets as JSON."""

from __future__ import annotations

import json
import time
from collections import Counter, deque
from collections.abc import Iterable
from typing import Any

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text

from changeover import reasons, rows
from changeover.messages import ENGLISH, GRAVE, NORMAL, STANDING, severity
from host_sim.signals import DIGITAL_NAMES
from secondtank.monitor_board import Board, Event, Item, Row, Words
from secondtank.monitor_readings import Reading, Readings

_SPARKS = "▁▂▃▄▅▆▇█"
_SPARK_MS, _SPARKS_MOST, _BESIDE = 2000, 60, 70  # a bar; bars at most; columns that the rest of the table takes
_SPAN_LEAST = {"c": 2.0, "kpa": 1.0, "pct": 1.0, "v": 0.5}  # from the lowest bar to the highest: noise stays flat
_OLD_S = 3.0
_EVENTS = 4
_LINE_MS = 1000
_PATTERNS = ("off", "on", "blinking")
_SOUNDS = ("silent", "short", "repeated", "insistent")
_COLOURS = {"red": "red", "amber": "yellow", "green": "green"}
_COUNTED = ("rows", "missed", "damaged", "silence", "cable", "reset")


def message_text(message: int, status: list[str]) -> str:
    """Words of a message; the minutes of an advice stand in the board's own answer to `status`."""
    if message == STANDING:
        for line in status:
            if line.startswith("says MAY STAND"):
                return line.removeprefix("says ")
    if message not in ENGLISH:
        return f"message {message}, which this version does not know"
    return ": ".join(ENGLISH[message]).replace("\n", " ")


def reason_text(reason: int) -> str:
    """Words of a move's reason."""
    if reason < len(rows.TABLE):
        return rows.TABLE[reason][rows.NAME]
    other = reason - reasons.KEY_OFF
    return reasons.TEXTS[other] if 0 <= other < len(reasons.TEXTS) else f"reason {reason}"


class Seen:
    """The latest of everything: `take` an item, then ask."""

    def __init__(self) -> None:
        self.board: Board | None = None
        self.row: Row | None = None
        self.words = Words([], [], {})
        self.readings: list[Reading] = []
        self.events: deque[str] = deque(maxlen=_EVENTS)
        self._convert: Readings | None = None
        self._row_s = 0.0

    def age_s(self) -> float:
        """Of the row, by this machine's clock."""
        return time.monotonic() - self._row_s

    def take(self, item: Item) -> None:
        """Keep it."""
        if isinstance(item, Board):
            self.board = item
            self._convert = Readings(item.values)
        elif isinstance(item, Words):
            self.words = item
            if self._convert is not None:
                self._convert.heard(item.status)
        elif isinstance(item, Event):
            self.events.append(f"{item.kind}: {item.text}")
        elif isinstance(item, Row):
            self.row = item
            self._row_s = time.monotonic()
            if self._convert is not None:
                self.readings = self._convert.read(item.told.counts)

    @property
    def says(self) -> str:
        """The message that stands."""
        return message_text(self.row.told.message, self.words.status) if self.row else ""


class Lines:
    """Plain text: a line a second, one more for each move, message and event."""

    def __init__(self) -> None:
        self._next_ms = 0
        self._stands: tuple[object, ...] = ()

    def told(self, item: Item, seen: Seen) -> list[str]:
        """What to print of this item."""
        if isinstance(item, Event):
            return [f"-- {item.kind}: {item.text}"]
        if isinstance(item, Board):
            return [f"-- {item.port}: {_about(item)}"]
        if not isinstance(item, Row):
            return []
        stands = (item.told.state, item.told.message, item.told.reason)
        if item.t_ms < self._next_ms and stands == self._stands:
            return []
        self._stands = stands
        self._next_ms = item.t_ms // _LINE_MS * _LINE_MS + _LINE_MS
        shown = ", ".join(f"{reading.name} {_shown(reading)}" for reading in seen.readings)
        return [f"{item.t_ms / 1000.0:9.1f} s  {item.told.state}  {seen.says}  |  {shown}"]


def as_json(item: Item, seen: Seen) -> str | None:
    """The item as one JSON object; None for what is none. Readings in the unit that ends their key, null where not trusted."""
    told: dict[str, Any]
    if isinstance(item, Board):
        told = {"kind": "board", **{name: value for name, value in vars(item).items() if name != "values"}}
        told["settings"] = item.values
    elif isinstance(item, Event):
        told = {"kind": item.kind, "text": item.text}
    elif isinstance(item, Words):
        told = {"kind": "words", "status": item.status, "faults": item.faults, "credited": item.credited}
    elif isinstance(item, Row):
        row = item.told
        told = {
            "kind": "row", "t_ms": item.t_ms, "tick_ms": row.tick_ms, "state": row.state,
            "message": row.message, "says": seen.says, "reason": row.reason, "why": reason_text(row.reason),
            "blocked": row.blocked, "forced": row.forced, "fill_ul": row.fill_ul, "credit_ul": row.credit_ul,
            **{f"out_{name}": value for name, value in row.out.items()},
            **{f"in_{name}": int(on) for name, on in zip(DIGITAL_NAMES, row.levels, strict=True)},
            **{reading.key: reading.value for reading in seen.readings},
            "not_trusted": {reading.key: reading.why for reading in seen.readings if reading.why},
        }  # fmt: skip
    else:
        return None
    return json.dumps(told, ensure_ascii=False)


class Screen:
    """The live table. `add` each row, `drawn` whenever the terminal is to show it."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._past: dict[str, deque[float | None]] = {}
        self._next_ms = 0

    def add(self, seen: Seen) -> None:
        """A row came."""
        if seen.row is None or seen.row.t_ms < self._next_ms:
            return
        self._next_ms = seen.row.t_ms + _SPARK_MS
        for reading in seen.readings:
            self._past.setdefault(reading.key, deque(maxlen=_SPARKS_MOST)).append(reading.value)

    def drawn(self, seen: Seen, counts: Counter[str], log: str) -> Group:
        """Everything that is known."""
        if seen.board is None or seen.row is None:
            return Group(Text("waiting for the board's first row"), *self._events(seen))
        row = seen.row.told
        loud = severity(row.message) if row.message in ENGLISH else NORMAL
        style = "bold red" if loud == GRAVE else "bold" if loud == NORMAL else "bold yellow"
        out = row.out
        lamps = Text("lamps    ")
        for name, colour in _COLOURS.items():
            lamps.append(f"{name} {_PATTERNS[out[name]]}  ", f"bold {colour}" if out[name] else "dim")
        lamps.append(f"buzzer {_SOUNDS[out['buzzer']]}", "bold" if out["buzzer"] else "dim")
        drives = [("supply valve", "supply"), ("return valve", "return")]
        outputs = ", ".join(f"{name} on {'oil' if out[key] else 'diesel'}" for name, key in drives)
        outputs += "".join(f", {name} on" for name, key in (("heater", "heater"), ("run-on", "run_on")) if out[key])
        old = f"NO ROW FOR {seen.age_s():.0f} s: what stands here is old" if seen.age_s() > _OLD_S else ""
        on = [name.replace("_", " ") for name, level in zip(DIGITAL_NAMES, row.levels, strict=True) if level]
        return Group(
            *([Text(old, "bold red")] if old else []),
            Text.assemble((row.state, "bold"), "  ", (seen.says, style)),
            Text(f"         last move: {reason_text(row.reason)}"),
            lamps,
            Text(f"outputs  {outputs}"),
            Text(f"inputs   {', '.join(on) or 'none'}"),
            Text(f"volumes  fill {row.fill_ul / 1000.0:.1f} mL, purge credit {row.credit_ul / 1000.0:.1f} mL"),
            self._table(seen.readings),
            *(Text(line, "red" if line.startswith("ends") else "") for line in seen.words.faults),
            Text("credited " + ", ".join(f"{name} {value}" for name, value in seen.words.credited.items()), "dim"),
            Text(_about(seen.board), "dim"),
            Text("line     " + ", ".join(f"{name} {counts[name]}" for name in _COUNTED) + log, "dim"),
            *self._events(seen),
        )

    def _events(self, seen: Seen) -> list[Text]:
        return [Text(event, "yellow") for event in seen.events]

    def _table(self, readings: list[Reading]) -> Table:
        table = Table("", "now", "against", f"a bar each {_SPARK_MS // 1000} s", box=None, pad_edge=False)
        table.columns[1].justify = "right"
        bars = min(self._console.width - _BESIDE, _SPARKS_MOST) if self._console.encoding.startswith("utf") else 0
        for reading in readings:
            limits = ", ".join(f"{name} {limit:g}" for name, limit in reading.limits.items())
            table.add_row(
                reading.name,
                Text(_shown(reading), "red" if reading.why else "bold"),
                limits,
                spark(list(self._past.get(reading.key, ()))[-bars:], _SPAN_LEAST[reading.kind]) if bars > 0 else "",
            )
        return table


def spark(values: Iterable[float | None], span_least: float) -> str:
    """Numbers as a row of bars from their least to their most, at least `span_least` above; a blank for None."""
    values = list(values)
    known = [value for value in values if value is not None]
    if not known:
        return " " * len(values)
    least = min(known)
    per = (len(_SPARKS) - 1) / max(max(known) - least, span_least)
    return "".join(" " if value is None else _SPARKS[round((value - least) * per)] for value in values)


def _shown(reading: Reading) -> str:
    return f"({reading.why})" if reading.value is None else f"{reading.value:.1f} {reading.unit}"


def _about(board: Board) -> str:
    return f"changeover {board.version}, law {board.law}, settings {board.settings_hash}, start {board.start}"
