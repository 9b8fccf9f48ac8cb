"""What was checked and measured: one JSON file for each sitting, and beside it a page to print. Newer results go before older ones."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

from changeover.settings_file import settings_hash
from host_sim.errors import InputError
from secondtank.bench.check_list import BY_ID, CHECKS, GROUPS, Check

FORM = 1
PAGE = "record.html"


@dataclass(frozen=True)
class Result:
    """One check's or calibration's outcome. `at`: ISO time; `settings`: those that it depends on, by value; `firmware`: the law's hash
    of these files; `board`: what the board said of its version."""

    check: str
    at: str
    passed: bool
    measured: str
    note: str = ""
    settings: dict[str, int] = field(default_factory=dict)
    settings_hash: str = ""
    firmware: str = ""
    board: list[str] = field(default_factory=list)


class Book:
    """The folder of records. `latest`: the newest result of each check or calibration; `added`: how many in this sitting."""

    def __init__(self, folder: Path, firmware: str) -> None:
        """`firmware`: the hash of the law on the board, as far as it is known. Raises InputError for a record that cannot be read, and
        for a folder that cannot be written."""
        self.folder = folder
        self.firmware = firmware
        self.latest: dict[str, Result] = {}
        self.added = 0
        self._sitting: list[Result] = []
        self._name = f"{datetime.now():%Y-%m-%d_%H%M%S}"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            found = sorted(folder.glob("*.json"))
        except OSError as error:
            raise InputError(str(folder), error.strerror, "a folder for records that can be written") from None
        for path in found:
            for result in _read(path):
                self._newest(result)

    def _newest(self, result: Result) -> None:
        before = self.latest.get(result.check)
        if before is None or before.at <= result.at:
            self.latest[result.check] = result

    def add(
        self, check: str, passed: bool, measured: str, values: dict[str, int], board: tuple[str, ...], note: str = "",
        settings: dict[str, int] | None = None,
    ) -> Result:  # fmt: skip
        """Keep a result, on disk before anything else. `settings`: what it depends on, for what is no check of the list."""
        if settings is None:
            settings = {name: values[name] for name in BY_ID[check].touches}
        result = Result(
            check, datetime.now().astimezone().isoformat(timespec="seconds"), passed, measured, note, settings, settings_hash(values),
            self.firmware, list(board),
        )  # fmt: skip
        self._sitting.append(result)
        self.added += 1
        self._newest(result)
        data = {"form": FORM, "results": [asdict(each) for each in self._sitting]}
        self._write(f"{self._name}.json", json.dumps(data, indent=1))
        return result

    def print(self, values: dict[str, int]) -> None:
        """Write the page to print anew. Raises InputError."""
        self._write(PAGE, self.page(values))

    def _write(self, name: str, text: str) -> None:
        unproved = self.folder / f".{name}.new"
        try:
            unproved.write_text(text, encoding="utf-8")
            os.replace(unproved, self.folder / name)
        except OSError as error:
            raise InputError(
                str(self.folder / name),
                error.strerror,
                "a folder for records that can be written; this one is not kept",
            ) from None

    def again(self, check: Check, values: dict[str, int]) -> str:
        """Why a check that was made is asked for again; empty where it is not."""
        result = self.latest.get(check.id)
        if result is None:
            return ""
        changed = [name for name in check.touches if result.settings.get(name) != values[name]]
        if changed:
            more = f" and {len(changed) - 3} more" if len(changed) > 3 else ""
            return f"changed since: {', '.join(changed[:3])}{more}"
        if check.firmware and result.firmware != self.firmware:
            return f"the program changed: {result.firmware or 'unknown'}, now {self.firmware}"
        return ""

    def state(self, check: Check, values: dict[str, int]) -> str:
        """`not fitted`, `open`, `again`, `passed` or `failed`."""
        if not check.applies(values):
            return "not fitted"
        result = self.latest.get(check.id)
        if result is None:
            return "open"
        return "again" if self.again(check, values) else "passed" if result.passed else "failed"

    def page(self, values: dict[str, int]) -> str:
        """All checks with their latest results, to print."""
        rows = []
        for kind, title in GROUPS:
            rows.append(f'<tr><th colspan="4">{escape(title)}</th></tr>')
            rows += [self._row(check, values) for check in CHECKS if check.kind == kind and check.applies(values)]
        rows.append('<tr><th colspan="4">Calibrations</th></tr>')
        rows += [_line(name, "", each, "passed") for name, each in sorted(self.latest.items()) if name not in BY_ID]
        settings = "\n".join(f"{name}={values[name]}" for name in sorted(values))
        return (
            '<!doctype html><html lang="en"><meta charset="utf-8"><title>Record of checks</title><style>'
            "body{font:14px/1.4 system-ui,sans-serif;margin:2em;color:#111;background:#fff}table{border-collapse:collapse;width:100%}"
            "td,th{border:1px solid #999;padding:.2em .5em;text-align:left;vertical-align:top}pre{columns:3;font-size:11px}"
            "tr{break-inside:avoid}.failed,.again{font-weight:bold}</style>"
            f"<h1>Record of checks</h1><p>Written {datetime.now().astimezone():%Y-%m-%d %H:%M %Z}. Settings {settings_hash(values)}, program of "
            f"this desktop {escape(self.firmware)}. A passed bench is no proof for a car: the gates of commissioning follow.</p>"
            f"<table><tr><th>check</th><th>must</th><th>result</th><th>measured, when</th></tr>{''.join(rows)}</table>"
            f"<h2>Settings</h2><pre>{escape(settings)}</pre></html>"
        )

    def _row(self, check: Check, values: dict[str, int]) -> str:
        result = self.latest.get(check.id)
        state = self.state(check, values)
        if result is None:
            return f"<tr><td>{escape(check.title)}</td><td>{escape(check.must)}</td><td>{state}</td><td></td></tr>"
        return _line(check.title, check.must, result, state, self.again(check, values))


def _line(title: str, must: str, result: Result, state: str, again: str = "") -> str:
    told = [
        result.measured,
        result.note,
        f"{'passed' if result.passed else 'failed'} {result.at}",
        f"settings {result.settings_hash}",
    ]
    told += [result.firmware, again]
    cells = (title, must, state, "; ".join(filter(None, told)))
    return f'<tr class="{state}">' + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>"


def _read(path: Path) -> list[Result]:
    try:
        data: Any = json.loads(path.read_text(encoding="utf-8"))
        if data["form"] != FORM:
            raise InputError(f"{path}: form", data["form"], f"{FORM}")
        return [Result(**each) for each in data["results"]]
    except OSError as error:
        raise InputError(str(path), error.strerror, "a record that can be read") from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(str(path), str(error), "a record of the bench, or the file moved away") from None
